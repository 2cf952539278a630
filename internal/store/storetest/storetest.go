// Package storetest is the one suite that the store must pass on every kind of
// database.
package storetest

import (
	"testing"
	"time"

	"passbell/internal/store"
)

// now is the moment at which the suite's nights are worked on.
var now = time.Date(2026, 12, 4, 16, 0, 0, 0, time.UTC)

// Run checks every rule on databases that open gives, a fresh one each time.
func Run(t *testing.T, open func(t *testing.T) *store.Store) {
	t.Helper()
	tests := map[string]func(t *testing.T, s *store.Store){
		"a night comes back as it was stored":                        nightRoundTrip,
		"a second night on a date is refused":                        secondNight,
		"an order comes back as it was stored":                       orderRoundTrip,
		"an order that somebody else changed is not overwritten":     staleOrder,
		"a failed transaction leaves nothing":                        rollback,
		"a message exists once for each order that it covers":        messageOnce,
		"messages about orders, with and without the answers":        messagesAbout,
		"a claim puts the attempt on record and is taken once":       claimOnce,
		"eight claimers share the due messages without a double":     claimersShare,
		"a settle of an old attempt counts for nothing":              oldAttempt,
		"an attempt given up in doubt may still report":              lateReport,
		"a late acceptance stops a second try that did not begin":    lateAcceptance,
		"an attempt whose lease ran out is found":                    abandoned,
		"many settle at once as each would alone":                    settledMany,
		"many messages are added at once, each once":                 addedMany,
		"many orders move on at once":                                movedMany,
		"a message that is tried later is not due before":            retryLater,
		"what goes at once waits for nobody's clock":                 atOnce,
		"a wait that was dated by a clock ahead begins now":          misdated,
		"a dropped message makes room for a new one":                 droppedMakesRoom,
		"a withdrawn message that was never tried is forgotten":      withdrawn,
		"what left the house is not forgotten with the next try":     earlier,
		"what was never tried has its turn among what was":           untried,
		"a receipt moves a message forward only":                     receiptForward,
		"receipts that came early are given once":                    earlyReceipts,
		"the same inbound twenty times at once is one":               inboundOnce,
		"an inbound keeps its orders in the order of likelihood":     inboundOrders,
		"opting out and in":                                          optOut,
		"events are in order and can't be changed":                   events,
		"ticks and settles at once are never refused as busy":        busy,
		"another kitchen's ids lead nowhere":                         walled,
		"a session is found until it expires":                        sessions,
		"a number in another case finds the order":                   refCase,
		"people under one number are one household, others are not":  household,
		"a kitchen that changed its number stays the same kitchen":   sameKitchen,
		"what an order book last said is kept beside what is now":    booked,
		"a message of a person's choice is sent again, others never": sendAgain,
		"a helper's link is found by its hash until it ends":         helpers,
		"a key of the kitchen is made once":                          secret,
		"a kitchen's own words are saved, replaced and taken back":   ownTexts,
		"one holds the lease, and a new term begins with another":    lease,
		"a wiped night names nobody and still counts":                wipe,
		"a wipe leaves alone what is on its way":                     wipeInFlight,
		"what ended is forgotten after its time":                     cleanUp,
		"eight ask for a lease at once and one gets it":              leaseOnce,
		"texts that come at once are stored once each, in order":     inboundsAtOnce,
		"texts that were read at once are saved if they are fresh":   inboundsSaved,
		"orders are saved at once, all or none":                      ordersAtOnce,
		"a round of texts is written at once, all or nothing":        roundAtOnce,
		"changes of orders are counted":                              orderChanges,
		"what a round goes by is kept in memory until it changes":    termsInMemory,
		"messages are taken back at once, those that are due":        withdrawnAtOnce,
		"a text of any bytes is kept":                                anyBytes,
		"kitchens that expect a customer are found":                  expecting,
		"the kitchen that sent a part is found":                      senders,
		"kitchens in which something waits are found":                astir,
		"a text for several kitchens is in all of them or in none":   eachOrNone,
		"eight texts for several kitchens at once are one each":      eachAtOnce,
		"a receipt that is nobody's yet is no kitchen's to see":      earlyForNobody,
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			test(t, open(t))
		})
	}
}
