package practice_test

import (
	"bytes"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"passbell/adapters/adapterstest"
	"passbell/adapters/practice"
)

// A recorded night can be posted line by line as it stands; the labels beside
// each text are passed over.
func TestRecordedNightCanBePosted(t *testing.T) {
	t.Parallel()
	raw, err := os.ReadFile("../../../shared/corpus/gb-saturday.messages.jsonl")
	if err != nil {
		t.Skip("the corpus is not beside this repository")
	}
	net := open(t, practice.Config{}, practice.Deps{})
	sink := &adapterstest.Sink{}
	h := net.Hook(sink)
	type row struct {
		ID, From, Text string
		At             time.Time
	}
	var want []row
	for line := range bytes.Lines(bytes.TrimSpace(raw)) {
		var r row
		require.NoError(t, json.Unmarshal(line, &r))
		want = append(want, r)
		req := httptest.NewRequest(http.MethodPost, "/hooks/practice", bytes.NewReader(line))
		req.RemoteAddr = "[::1]:4711"
		w := httptest.NewRecorder()
		h.ServeHTTP(w, req)
		require.Equal(t, http.StatusNoContent, w.Code)
	}
	var got []row
	for _, in := range sink.Inbounds() {
		got = append(got, row{ID: in.ID, From: in.From, Text: in.Text, At: in.At})
	}
	require.NotEmpty(t, want)
	require.Equal(t, want, got)
}
