package gateway

import (
	"fmt"
	"net/http"
	"runtime"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"passbell/internal/store/storetest"
)

// TestAHundredKitchens starts a hundred kitchens in one process and opens each
// one's pages.
func TestAHundredKitchens(t *testing.T) {
	t.Parallel()
	kitchens := map[string]string{}
	for i := range 100 {
		name := fmt.Sprintf("kitchen%03d", i)
		kitchens[name] = aKitchen(t, name, fmt.Sprintf("07700 900%03d", i), "")
	}
	c := hostFiles(t, storetest.FreshFile(t), kitchens)
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	began := time.Now()
	r := runHost(t, c)
	took := time.Since(began)
	runtime.GC()
	runtime.ReadMemStats(&after)
	for i := range 100 {
		name := fmt.Sprintf("kitchen%03d", i)
		status, _, page := r.ask(http.MethodGet, name+".example", "/sign-in", nil, "")
		require.Equal(t, http.StatusOK, status)
		assert.Contains(t, page, name+" kitchen")
	}
	t.Logf("100 kitchens: started in %s, %d MB of memory in use", took.Round(time.Millisecond), (after.HeapAlloc-before.HeapAlloc)>>20)
}
