# passbell: `make help` lists what there is.
.DEFAULT_GOAL := help
SHELL := /bin/bash
GO ?= go

.PHONY: help build test lint unit e2e cross fmt verify

help: ## list the targets
	@grep -hE '^[a-z-]+:.*##' $(MAKEFILE_LIST) | sed -E 's/:.*## /\t/' | expand -t 14

build: ## the binary, bin/passbell
	CGO_ENABLED=0 $(GO) build -trimpath -ldflags '-s -w' -o bin/passbell ./cmd/passbell

test: lint unit e2e ## everything that must hold before a change lands

lint: ## formatting, vet, staticcheck
	@out=$$(gofmt -l .); if [ -n "$$out" ]; then echo "not gofmt-clean: $$out"; exit 1; fi
	$(GO) vet ./...
	$(GO) tool staticcheck ./...

unit: ## all tests with the race detector
	$(GO) test -race ./...

e2e: ## the built binary, killed and started again in the middle of a night
	$(GO) test -count=1 -tags e2e ./cmd/passbell/...

cross: ## the binary for the systems that cooks have, without cgo
	@for t in linux/amd64 linux/arm64 darwin/arm64 windows/amd64; do \
		echo $$t; CGO_ENABLED=0 GOOS=$${t%/*} GOARCH=$${t#*/} $(GO) build -o /dev/null ./cmd/passbell || exit 1; done

fmt: ## gofmt everything
	gofmt -w cmd internal adapters migrations templates
