package webapi

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"passbell/adapters"
)

type lookupPlan struct {
	url    template
	field  paths
	refuse []string
}

type checkPlan struct {
	url     template
	balance paths
	low     float64
}

func (c *compiler) lookup(l *Lookup) *lookupPlan {
	if l == nil {
		return nil
	}
	p := &lookupPlan{
		url:    c.url("lookup.url", l.URL, lookupNames),
		field:  c.paths("lookup.field", l.Field),
		refuse: l.Refuse,
	}
	if p.field == nil || len(p.refuse) == 0 {
		c.fault("lookup", "field says where the kind of line stands, refuse which kinds take no text; both are needed")
	}
	return p
}

func (c *compiler) check(k *Check) *checkPlan {
	if k == nil {
		return nil
	}
	return &checkPlan{
		url:     c.url("check.url", k.URL, nil),
		balance: c.paths("check.balance", k.Balance),
		low:     k.Low,
	}
}

// lookupsKept bounds what lookups are remembered: a night has some hundred.
const lookupsKept = 10_000

// cannotTake asks the provider about a number, once, and says which kind of
// line it is where that kind takes no texts. A lookup that fails says nothing:
// the send itself will show.
func (a *Adapter) cannotTake(ctx context.Context, number string) (kind string, no bool) {
	l := a.plan.lookup
	if l == nil {
		return "", false
	}
	a.mu.Lock()
	kind, known := a.kinds[number]
	a.mu.Unlock()
	if !known {
		doc, err := a.get(ctx, l.url.fill(map[string]string{
			"to": number, "to_digits": strings.TrimPrefix(number, "+"),
		}, percent), nil)
		if err != nil {
			a.log.Warn("a number could not be looked up; the text is sent all the same")
			return "", false
		}
		kind = l.field.first(doc.place())
		a.mu.Lock()
		if len(a.kinds) >= lookupsKept {
			clear(a.kinds)
		}
		a.kinds[number] = kind
		a.mu.Unlock()
	}
	return kind, slices.Contains(l.refuse, kind)
}

// credit reads the balance out of a check's answer.
func (c *checkPlan) credit(doc document) adapters.Finding {
	f := adapters.Finding{What: "credit"}
	v := c.balance.first(doc.place())
	n, err := strconv.ParseFloat(v, 64)
	switch {
	case err != nil:
		f.Note = "the provider's answer holds no amount at check.balance"
	case n <= c.low:
		f.Note = fmt.Sprintf("%v left: top it up before the night", n)
	default:
		f.OK, f.Note = true, fmt.Sprintf("%v left", n)
	}
	return f
}

// document is what a GET brought.
type document struct {
	body   any
	header http.Header
}

func (d document) place() place { return place{body: d.body, event: d.body, header: d.header.Get} }

// pageLimit bounds one fetched document.
const pageLimit = 8 << 20

// get fetches a JSON document with the kitchen's sign-in. Its error is a
// *SendError, worded and sorted as that of a send, though nothing was sent.
func (a *Adapter) get(ctx context.Context, address string, headers map[string]string) (document, error) {
	return a.call(ctx, http.MethodGet, address, "", headers)
}

func (a *Adapter) call(ctx context.Context, method, address, body string, headers map[string]string) (document, error) {
	ctx, cancel := context.WithTimeout(ctx, a.plan.timeout)
	defer cancel()
	fail := func(account bool, reason string, cause error) (document, error) {
		_, err := a.refuse(adapters.Temporary, account, reason, cause)
		return document{}, err
	}
	req, err := http.NewRequestWithContext(ctx, method, address, strings.NewReader(body))
	if err != nil {
		return fail(true, "the address in the description does not fit", nil)
	}
	req.Header.Set("Accept", "application/json")
	req.Header.Set("User-Agent", "passbell")
	if body != "" {
		req.Header.Set("Content-Type", "application/json")
	}
	for name, v := range headers {
		req.Header.Set(name, v)
	}
	a.plan.auth(req)
	res, err := a.client.Do(req)
	if err != nil {
		return fail(true, unreachedReason(err), quiet(err))
	}
	defer res.Body.Close()
	raw, err := io.ReadAll(io.LimitReader(res.Body, pageLimit+1))
	if res.StatusCode < 200 || res.StatusCode > 299 {
		r := byStatus(res.StatusCode)
		_, err := a.refuse(adapters.Temporary, r.account, r.reason, nil)
		var refusal *adapters.SendError
		if errors.As(err, &refusal) {
			refusal.Wait = retryAfter(res.Header, a.now())
		}
		return document{}, err
	}
	if err != nil || len(raw) > pageLimit {
		return fail(false, "the provider's answer broke off or is too long", quiet(err))
	}
	if method != http.MethodGet {
		return document{header: res.Header}, nil
	}
	doc, err := decode(raw)
	if err != nil {
		return fail(false, "the provider answered with something that is not JSON", nil)
	}
	return document{body: doc, header: res.Header}, nil
}
