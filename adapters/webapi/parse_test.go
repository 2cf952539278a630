package webapi

import (
	"encoding/json"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func noHeader(string) string { return "" }

func TestPaths(t *testing.T) {
	t.Parallel()
	doc, err := decode([]byte(`{
		"a": {"b": [{"c": 1}, {"c": 2.50}, {"d": 3}], "x.y": "dotted", "k[0]": "odd", "t": true, "n": null, "e": ""},
		"list": [[1,2],[3]], "big": 12345678901234567890}`))
	require.NoError(t, err)
	tests := []struct {
		path string
		want []string
	}{
		{path: "a.b[].c", want: []string{"1", "2.50"}},
		{path: "a.b[1].c", want: []string{"2.50"}},
		{path: "a.b[9].c"},
		{path: "list[][]", want: []string{"1", "2", "3"}},
		{path: "list[1][0]", want: []string{"3"}},
		{path: `a.x\.y`, want: []string{"dotted"}},
		{path: "a.t", want: []string{"true"}},
		{path: "a.n"},
		{path: "a.e"},
		{path: "a.e | a.t", want: []string{"true"}},
		{path: "a.b"},
		{path: "big", want: []string{"12345678901234567890"}},
		{path: "header:X-Id", want: []string{"h"}},
		{path: "a.b.c"},
		{path: "", want: nil},
	}
	header := http.Header{"X-Id": {"h"}}
	for _, tt := range tests {
		t.Run(tt.path, func(t *testing.T) {
			t.Parallel()
			ps, err := parsePaths(tt.path)
			require.NoError(t, err)
			require.Equal(t, tt.want, ps.strings(place{body: doc, event: doc, header: header.Get}))
		})
	}
	t.Run("from the whole body", func(t *testing.T) {
		t.Parallel()
		ps, err := parsePaths("$.a.t")
		require.NoError(t, err)
		require.Equal(t, "true", ps.first(place{body: doc, event: "elsewhere", header: noHeader}))
	})
}

func TestTemplates(t *testing.T) {
	t.Parallel()
	values := map[string]string{"to": "+44", "text": `a "b" {c}`, "n": "007", "m": "7"}
	names := []string{"to", "text", "n", "m", "none"}
	tpl, err := parseTemplate("{{x}} {to}: {text} { to } {}", names)
	require.NoError(t, err)
	require.Equal(t, `{x} +44: a "b" {c} { to } {}`, tpl.fill(values, plain))

	js, err := parseJSONTemplate(`{"a":["{to}","{none}"],"b":"{n:number}","c":"{m:number}","d":"{none:number}","e":"{none}",
		"f":"<{text}>","g":1.50,"h":null,"i":true}`, names)
	require.NoError(t, err)
	got, err := js.fill(values)
	require.NoError(t, err)
	// 007 is no number in JSON (RFC 8259 §6), so it stays a string.
	require.JSONEq(t, `{"a":["+44"],"b":"007","c":7,"f":"<a \"b\" {c}>","g":1.50,"h":null,"i":true}`, string(got))
}

func FuzzPath(f *testing.F) {
	for _, s := range []string{"a.b[].c", `a\.b | c[0][]`, "[]", "header:X", "$.a", "a[", "]", ".."} {
		f.Add(s, `{"a":{"b":[{"c":1}]}}`)
	}
	f.Fuzz(func(t *testing.T, s, body string) {
		ps, err := parsePaths(s)
		if err != nil {
			return
		}
		doc, err := decode([]byte(body))
		if err != nil {
			return
		}
		for _, v := range ps.strings(place{body: doc, event: doc, header: noHeader}) {
			if v == "" {
				t.Error("an empty value")
			}
		}
		if vs, found := ps.list(doc); len(vs) > 0 && !found {
			t.Error("a list that was not found")
		}
	})
}

// FuzzHook checks that no call makes the reader fall over, that what it reads is
// fit to be stored, and that the same call reads the same twice.
func FuzzHook(f *testing.F) {
	f.Add([]byte(`{"events":[{"type":"x","id":"1","from":"447700900101","text":"here","at":1773421200,"status":"sent"}]}`))
	f.Add([]byte(`{"events":[[],{},null,1,"x",{"id":{"a":1},"from":["b"],"status":"DELIVRD"}]}`))
	f.Add([]byte("id=1&from=+447700900101&text=Zo%EB&at=2026-03-13&status=failed&reason=x"))
	f.Add([]byte("%zz&&=;=\x00"))
	now := time.Date(2026, 3, 13, 15, 0, 0, 0, time.UTC)
	var readers []reader
	for _, form := range []bool{false, true} {
		for _, k := range []kind{kindInbound, kindReceipt} {
			c := &compiler{secrets: &secrets{}}
			fields := Fields{Each: "events[]", ID: "id", From: "from", To: "to", Text: "text", At: "at", Status: "status", Reason: "reason"}
			if form {
				fields.Each = ""
			}
			readers = append(readers, c.reader("x", fields, k, form))
			require.Empty(f, c.faults)
		}
	}
	f.Fuzz(func(t *testing.T, body []byte) {
		for _, r := range readers {
			evs, err := r.read(body, noHeader, now)
			again, _ := r.read(body, noHeader, now)
			require.Equal(t, evs, again)
			if err != nil {
				require.NotContains(t, err.Error(), "447700900101")
			}
			for _, in := range evs.inbound {
				require.NotEmpty(t, in.From)
				require.True(t, printable(in.ID, 200), "id %q", in.ID)
			}
			for _, rc := range evs.receipts {
				require.True(t, printable(rc.ID, 200), "id %q", rc.ID)
				require.NotEmpty(t, rc.Status)
			}
		}
	})
}

// FuzzAnswer checks that no answer to a send makes the judge fall over, and that
// one that is not 2xx never counts as taken over.
func FuzzAnswer(f *testing.F) {
	f.Add(200, []byte(`{"results":[{"id":"a","error":{"code":"1","text":"x"}}]}`), "7")
	f.Add(429, []byte(`{}`), "Fri, 13 Mar 2026 15:00:07 GMT")
	f.Add(200, []byte("OK 4711"), "")
	now := time.Date(2026, 3, 13, 15, 0, 0, 0, time.UTC)
	c := &compiler{secrets: &secrets{}}
	plans := []answerPlan{
		c.answer(Answer{ID: "results[].id", ErrorCode: "results[].error.code", ErrorMessage: "results[].error.text"}),
		c.answer(Answer{Pattern: `OK (\S+)`, ErrorPattern: `ERR (\d+)`}),
		c.answer(Answer{OKField: "ok", OKValues: []string{"true"}}),
		c.answer(Answer{}),
	}
	require.Empty(f, c.faults)
	f.Fuzz(func(t *testing.T, status int, body []byte, retry string) {
		if status < 200 || status > 599 {
			return // net/http hands over no others
		}
		for i := range plans {
			r := plans[i].judge(answer{status: status, header: http.Header{"Retry-After": {retry}}, body: body}, now)
			if status > 299 && r.outcome == "" {
				t.Errorf("status %d was taken for a yes", status)
			}
			if r.wait < 0 || r.wait > longestWait {
				t.Errorf("a wait of %v", r.wait)
			}
			for _, id := range r.ids {
				require.True(t, printable(id, 200))
			}
		}
	})
}

// FuzzJSONTemplate checks that whatever a customer is called, the body is JSON
// and carries the text whole.
func FuzzJSONTemplate(f *testing.F) {
	js, err := parseJSONTemplate(`{"text":"{text}","ref":"a-{text}"}`, []string{"text"})
	require.NoError(f, err)
	f.Add(`Zoë "Z" \ {to} <b> `)
	f.Fuzz(func(t *testing.T, text string) {
		raw, err := js.fill(map[string]string{"text": text})
		require.NoError(t, err)
		var back map[string]string
		require.NoError(t, json.Unmarshal(raw, &back))
		want := strings.ToValidUTF8(text, "\uFFFD")
		if text == "" {
			require.NotContains(t, back, "text")
			return
		}
		if strings.ToValidUTF8(text, "") == text {
			require.Equal(t, want, back["text"])
			require.Equal(t, "a-"+want, back["ref"])
		}
	})
}
