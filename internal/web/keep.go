package web

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"net/http"
)

// Where the address is safe (https, or this machine), a worker in the browser
// keeps the night's pages for a reload without a line: templates/static/sw.js.
// Each page that may be kept says in keepHeader whose it is and for how many
// seconds; an answer that ends a sign-in or a link says that nothing may be kept
// any more. What another owner left on the device is dropped at once.
const keepHeader = "Passbell-Keep"

// owner names, without telling anything about them, whose page an answer is: the
// kitchen's, this sign-in's, and of the night that the device has chosen.
func (s *site) owner(ctx context.Context) string {
	sum := sha256.Sum256(fmt.Appendf(nil, "%d %s %t %d", s.Kitchen.ID, s.sessions.Token(ctx), s.limited(ctx), chosenNight(ctx)))
	return hex.EncodeToString(sum[:8])
}

// keepNothing has a device drop what it kept.
func keepNothing(w http.ResponseWriter) { w.Header().Set(keepHeader, "none 0") }
