# passbell: `make help` lists what there is.
.DEFAULT_GOAL := help
SHELL := /bin/bash
GO ?= go

PEERS := $(CURDIR)/testdata/peers
export PASSBELL_NODE_DIR := $(PEERS)
export NODE_PATH := $(PEERS)/node_modules
export AXE_CORE = $(wildcard $(PEERS)/node_modules/axe-core/axe.min.js)

.PHONY: help build test prepare lint unit e2e kills cross looks picture figures nights simulate model fuzz train try bench fmt

help: ## list the targets
	@grep -hE '^[a-z-]+:.*##' $(MAKEFILE_LIST) | sed -E 's/:.*## /\t/' | expand -t 14

build: ## the binary, bin/passbell
	CGO_ENABLED=0 $(GO) build -trimpath -ldflags '-s -w' -o bin/passbell ./cmd/passbell

test: prepare ## everything that must hold before a change lands
	@$(MAKE) --no-print-directory lint unit e2e

prepare: ## what the tests need: a browser (as root), and the peers to compare with
	@.ci/prepare

lint: ## formatting, vet, staticcheck
	@out=$$(gofmt -l .); if [ -n "$$out" ]; then echo "not gofmt-clean: $$out"; exit 1; fi
	$(GO) vet ./...
	$(GO) vet -tags e2e ./cmd/passbell
	$(GO) tool staticcheck ./...

# The embedded database is C put into Go: the compiler's check of pointers, which
# comes with the race detector, costs a third of its time. It stays on for our code.
RACED := '-gcflags=modernc.org/...=-d=checkptr=0'

unit: ## all tests with the race detector; what that makes slow and sees nothing in, without it
	$(GO) test -race $(RACED) -timeout 20m ./...
	$(GO) test -timeout 20m ./internal/web ./internal/simulation ./internal/rehearsal

e2e: ## the built binary, killed and started again in the middle of a night
	$(GO) test -count=1 -tags e2e -run TestKilled ./cmd/passbell

kills: ## two instances on one PostgreSQL through a night of ORDERS (500), killed KILLS times (300), drawn from SEED (1)
	$(GO) test -count=1 -timeout 3h -tags e2e -run 'TestKilledOnAServer$$' -v ./cmd/passbell -kills $(or $(KILLS),300) -orders $(or $(ORDERS),500) -seed $(or $(SEED),1)

cross: ## the binary for the systems that cooks have, without cgo
	@for t in linux/amd64 linux/arm64 darwin/arm64 windows/amd64; do \
		echo $$t; CGO_ENABLED=0 GOOS=$${t%/*} GOARCH=$${t#*/} $(GO) build -o /dev/null ./cmd/passbell || exit 1; done

figures: ## how soon the pass and an arrival are on a screen, ARRIVALS (50) measured beside plain files
	$(GO) test -count=1 -v ./internal/web -run 'TestFigures$$' -figures $(or $(ARRIVALS),50)

nights: ## N invented nights rehearsed to their ends (500)
	$(GO) test -count=1 -timeout 3h ./internal/rehearsal -run TestNights -nights $(or $(N),500)

simulate: ## N nights (10000) on which everything goes wrong that can, up to MOST orders (60), from the seed FIRST on
	$(GO) test -count=1 -timeout 24h ./internal/simulation -run 'TestSimulation$$' -nights $(or $(N),10000) -most $(or $(MOST),60) -first $(or $(FIRST),0)

looks: ## every page in both languages, widths and colours, by every rule of axe-core; the pictures go to SHOTS (shots)
	@mkdir -p $(or $(SHOTS),shots)
	SHOTS=$(abspath $(or $(SHOTS),shots)) $(GO) test -count=1 -timeout 30m ./internal/web -run 'PageFitsAndIsAccessible$$'

picture: ## take the README picture of the pass from the demo anew
	@.ci/picture

model: ## the protocol of the outbox in every order of events (spin, gcc)
	@.ci/model

fuzz: ## each fuzz target for FUZZTIME (5m)
	@.ci/fuzz $(or $(FUZZTIME),5m)

# Nights that the rules were tuned on: what the rules make of them is no evidence.
TUNED := gb-saturday,us-friday,ie-thursday,us-wednesday,au-sunday,gb-friday,h-gb-friday,h-us-tuesday,h-au-thursday,h-ie-saturday,k-ca-saturday,k-gb-monday,k-us-sunday,k-gb-thursday,utterances.tsv,m-gb-wednesday,m-us-thursday,n-au-saturday,n-ca-monday,o-gb-sunday,o-gb-tuesday,o-us-monday,p-au-thursday,p-ca-sunday,p-us-friday,q-au-wednesday,q-gb-friday,q-ie-saturday,r-gb-sunday,r-gb-wednesday,r-us-saturday,m-ie-sunday,o-us-saturday,p-ie-friday,u-gb-thursday,u-us-wednesday,w-gb-saturday,w-us-tuesday,x-au-friday,x-gb-thursday,x-us-saturday,y-ca-wednesday,y-gb-sunday,y-us-tuesday,z-gb-monday,z-ie-saturday,z-us-friday,v-au-thursday,v-gb-saturday,v-us-sunday,t-gb-wednesday,t-ie-sunday,t-us-thursday,k2-au-sunday,k2-ca-saturday,k2-gb-friday,u2-gb-tuesday,u2-ie-friday,u2-us-sunday,w2-au-wednesday,w2-gb-saturday,w2-us-friday,m3-ca-friday,m3-gb-thursday,m3-us-saturday,j3-au-saturday,j3-gb-friday,j3-us-sunday,ca-friday,gb-sunday,us-saturday,n-gb-saturday,p4-us-wednesday,q4-ca-thursday,q4-gb-sunday
LABELLED := testdata/train testdata/nights testdata/train/single.tsv internal/reading/testdata/utterances.tsv

train: ## the learned part of the reader anew from the labelled nights
	$(GO) run ./internal/corpus/train -out $(or $(OUT),internal/reading/intents.model) -tuned $(TUNED) $(LABELLED)

try: ## how each labelled night is read by what is learned from the others
	$(GO) run ./internal/corpus/train -try -tuned $(TUNED) $(LABELLED)

bench: ## the work of a night beside named baselines, as a table; ONLY=name for one line, TIMES=3 for the spread
	@cd internal/bench && $(GO) test -count=1 -timeout 60m . -v -only "$(ONLY)" -times $(or $(TIMES),1) $(ARGS) | grep -v '^ *[=-]\|^PASS\|^ok'

fmt: ## gofmt everything
	gofmt -w cmd internal adapters migrations templates
