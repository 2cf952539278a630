package phone

import (
	"sync"

	"github.com/nyaruka/phonenumbers"
)

// nationals are the forms that were asked for lately: a page shows every customer's
// number each time that it is made, and to work one out is dear.
var nationals = struct {
	sync.Mutex
	of map[string]string
}{of: map[string]string{}}

// nationalsRoom is how many forms are remembered; then all are forgotten.
const nationalsRoom = 4096

// National writes a number as people of its country do; what is no number stays
// as it is.
func National(e164 string) string {
	nationals.Lock()
	defer nationals.Unlock()
	if known, ok := nationals.of[e164]; ok {
		return known
	}
	n, err := phonenumbers.Parse(e164, "")
	if err != nil {
		return e164
	}
	if len(nationals.of) == nationalsRoom {
		clear(nationals.of)
	}
	form := phonenumbers.Format(n, phonenumbers.NATIONAL)
	nationals.of[e164] = form
	return form
}
