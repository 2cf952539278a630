package webapi

import (
	"context"
	"errors"
	"maps"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"passbell/adapters"
)

// overlap is how far back of the newest event a round starts: providers do not
// list in order to the second, and what comes twice is stored once.
const overlap = 2 * time.Minute

// longestPause bounds the pause after rounds that failed.
const longestPause = 5 * time.Minute

// pollPlan is a Poll that was found to be sound.
type pollPlan struct {
	url      template
	every    time.Duration
	lookback time.Duration
	headers  map[string]string
	reader   reader
	next     Next
	nextPath paths
	done     *donePlan
}

type donePlan struct {
	method string
	url    template
	json   *jsonTemplate
}

func (c *compiler) poll(key string, p *Poll, k kind) *pollPlan {
	if p == nil {
		return nil
	}
	out := &pollPlan{
		url:      c.url(key+".url", p.URL, pollNames),
		every:    p.Every.Or(30 * time.Second),
		lookback: p.Lookback.Or(24 * time.Hour),
		headers:  p.Headers,
		reader:   c.reader(key, p.Fields, k, false),
		next:     p.Next,
		nextPath: c.paths(key+".next.path", p.Next.Path),
	}
	if out.every < time.Second {
		c.fault(key+".every", "must be 1s or more; a provider may lock out who asks too often")
	}
	for _, name := range slices.Sorted(maps.Keys(p.Headers)) {
		if !token(name) || strings.ContainsAny(p.Headers[name], "\r\n") {
			c.fault(key+".headers", "%q is no HTTP header", name)
		}
	}
	if out.next.MaxPages <= 0 {
		out.next.MaxPages = 50
	}
	uses := func(name string) bool {
		return slices.ContainsFunc(out.url, func(p piece) bool { return p.name == name })
	}
	switch p.Next.Kind {
	case "", "header":
	case "link", "token":
		if out.nextPath == nil {
			c.fault(key+".next.path", "is missing: where the next link or token stands in the answer")
		}
		if p.Next.Kind == "token" && !uses("cursor") {
			c.fault(key+".url", "must hold {cursor}, where the token goes")
		}
	case "page":
		if !uses("page") {
			c.fault(key+".url", "must hold {page}, where the page's number goes")
		}
	default:
		c.fault(key+".next.kind", "%q is not known; there are link, header, token and page", p.Next.Kind)
	}
	if p.Done != nil {
		if p.ID == "" {
			c.fault(key+".done", "needs id, where the event's id stands that the call goes by")
		}
		out.done = c.done(key+".done", *p.Done)
	}
	return out
}

func (c *compiler) done(key string, d Done) *donePlan {
	out := &donePlan{method: strings.ToUpper(d.Method), url: c.url(key+".url", d.URL, doneNames)}
	if out.method == "" {
		out.method = "DELETE"
	}
	if !token(out.method) || out.method == "GET" {
		c.fault(key+".method", "must be DELETE, POST, PUT or PATCH")
	}
	if d.JSON != "" {
		t, err := parseJSONTemplate(d.JSON, doneNames)
		if err != nil {
			c.fault(key+".json", "%w", err)
		}
		out.json = &t
	}
	return out
}

// Receive fetches what is described under poll, each kind in rounds of its own,
// until ctx is done. With nothing described it waits for that.
func (a *Adapter) Receive(ctx context.Context, sink adapters.Sink) error {
	var wg sync.WaitGroup
	for _, p := range a.plan.polls {
		wg.Go(func() { a.newPoller(p).run(ctx, sink) })
	}
	<-ctx.Done()
	wg.Wait()
	return ctx.Err()
}

// poller is one poll at work.
type poller struct {
	a      *Adapter
	p      *pollPlan
	since  time.Time
	cursor string
	failed int // rounds in a row
}

func (a *Adapter) newPoller(p *pollPlan) *poller {
	return &poller{a: a, p: p, since: a.now().Add(-p.lookback)}
}

func (p *poller) run(ctx context.Context, sink adapters.Sink) {
	for ctx.Err() == nil {
		pause := p.pause(p.round(ctx, sink))
		select {
		case <-ctx.Done():
		case <-p.a.after(pause):
		}
	}
}

// pause is the time to the next round: longer after each one that failed, and
// at least what the provider asked for.
func (p *poller) pause(err error) time.Duration {
	if err == nil {
		p.failed = 0
		return p.p.every
	}
	p.a.log.Warn("fetching from the provider failed; it will be tried again", "why", err)
	p.failed = min(p.failed+1, 10)
	pause := max(min(p.p.every<<(p.failed-1), longestPause), p.p.every)
	var se *adapters.SendError
	if errors.As(err, &se) {
		pause = max(pause, se.Wait)
	}
	return pause
}

// round fetches all pages once. It keeps its place, the cursor and since, only
// as far as everything before is stored.
func (p *poller) round(ctx context.Context, sink adapters.Sink) error {
	if !p.p.next.Keep {
		p.cursor = ""
	}
	newest, address := p.since, p.address(1)
	seen := map[string]bool{}
	for page := 1; page <= p.p.next.MaxPages; page++ {
		seen[address] = true
		doc, err := p.a.get(ctx, address, p.p.headers)
		if err != nil {
			return err
		}
		evs, err := p.p.reader.collect(doc.body, doc.header.Get, p.a.now())
		if err != nil {
			return err
		}
		if err := p.store(ctx, sink, evs, &newest); err != nil {
			return err
		}
		next, more, err := p.following(doc, address, page, evs.listed)
		if err != nil {
			return err
		}
		if !more || seen[next] {
			break
		}
		address = next
	}
	if at := newest.Add(-overlap); at.After(p.since) {
		p.since = at
	}
	return nil
}

func (p *poller) address(page int) string {
	return p.p.url.fill(map[string]string{
		"since": p.since.UTC().Format(time.RFC3339), "since_unix": strconv.FormatInt(p.since.Unix(), 10),
		"cursor": p.cursor, "page": strconv.Itoa(page),
	}, percent)
}

// store hands a page's events to the sink and acknowledges each that it took.
func (p *poller) store(ctx context.Context, sink adapters.Sink, evs events, newest *time.Time) error {
	later := func(at time.Time) {
		// A clock that runs ahead at the provider must not hide what comes next.
		if at.After(*newest) && !at.After(p.a.now()) {
			*newest = at
		}
	}
	for _, in := range evs.inbound {
		if sink.Inbound(ctx, in) != nil {
			return errNotStored
		}
		later(in.At)
		p.acknowledge(ctx, in.ID)
	}
	for _, r := range evs.receipts {
		if sink.Receipt(ctx, r) != nil {
			return errNotStored
		}
		later(r.At)
		p.acknowledge(ctx, r.ID)
	}
	p.a.tellUnsorted(evs)
	if evs.unreadable > 0 {
		p.a.log.Warn("the provider listed events that lack the fields which the description names", "count", evs.unreadable)
	}
	return nil
}

// acknowledge tells the provider that an event is stored. Where that fails the
// event comes again, is stored once all the same, and is acknowledged then.
func (p *poller) acknowledge(ctx context.Context, id string) {
	d := p.p.done
	if d == nil {
		return
	}
	values := map[string]string{"id": id}
	body := ""
	if d.json != nil {
		raw, err := d.json.fill(values)
		if err != nil {
			p.a.log.Warn("an event could not be acknowledged", "why", "its body cannot be put together")
			return
		}
		body = string(raw)
	}
	if _, err := p.a.call(ctx, d.method, d.url.fill(values, percent), body, p.p.headers); err != nil {
		p.a.log.Warn("an event that is stored could not be acknowledged; it will come again", "why", err)
	}
}

var errStrangeLink = errors.New("the provider's next page is on another host; its link was not followed")

// following finds the next page. A token moves the cursor.
func (p *poller) following(doc document, address string, page, count int) (next string, more bool, err error) {
	switch p.p.next.Kind {
	case "link":
		return p.link(p.p.nextPath.first(doc.place()), address)
	case "header":
		return p.link(relNext(doc.header.Values("Link")), address)
	case "token":
		token := p.p.nextPath.first(doc.place())
		if token == "" || token == p.cursor {
			return "", false, nil
		}
		p.cursor = token
		return p.address(page + 1), count > 0 || !p.p.next.Keep, nil
	case "page":
		return p.address(page + 1), count > 0, nil
	}
	return "", false, nil
}

// link resolves a next link. It must stay with the host that the sign-in is for.
func (p *poller) link(link, from string) (string, bool, error) {
	if link == "" {
		return "", false, nil
	}
	base, err := url.Parse(from)
	if err != nil {
		return "", false, errStrangeLink
	}
	u, err := base.Parse(link)
	if err != nil || u.Host != base.Host || u.Scheme != base.Scheme || u.User != nil {
		return "", false, errStrangeLink
	}
	return u.String(), true, nil
}

// relNext finds the target of rel=next in Link headers (RFC 8288 §3).
func relNext(headers []string) string {
	for _, h := range headers {
		for {
			_, rest, ok := strings.Cut(h, "<")
			if !ok {
				break
			}
			target, params, ok := strings.Cut(rest, ">")
			if !ok {
				break
			}
			mine, _, _ := strings.Cut(params, "<")
			for _, param := range strings.FieldsFunc(mine, func(c rune) bool { return c == ';' || c == ',' }) {
				name, value, _ := strings.Cut(strings.TrimSpace(param), "=")
				if strings.EqualFold(strings.TrimSpace(name), "rel") &&
					slices.Contains(strings.Fields(strings.ToLower(strings.Trim(value, `" `))), "next") {
					return target
				}
			}
			h = params
		}
	}
	return ""
}
