package book

import (
	"fmt"
	"regexp"
	"strings"
)

var (
	goneStatus    = regexp.MustCompile(`\b(cancel\w*|refunded|void\w*|failed|declined|rejected|deleted|trash|abandoned|draft|checkout draft|expired|charged? ?back|reembolsad[oa]|anulad[oa]|devuelt[oa]|fallid[oa]|rechazad[oa])\b`)
	partStatus    = regexp.MustCompile(`\bpart(?:ial(?:ly)?|ly)?\b.*\brefund|\breembolso parcial`)
	openStatus    = regexp.MustCompile(`\b(pending|on hold|unpaid|awaiting|not paid|authorized|pendiente|sin pagar)\b`)
	notGone       = regexp.MustCompile(`\b(?:not|never|no|non) (?:cancel|refund|void)`)
	totalsCell    = regexp.MustCompile(`^(?:grand |sub ?|order )?(?:totals?|sums?|summe|suma|gesamt|count)(?: (?:orders|items|general))?$`)
	testName      = regexp.MustCompile(`^(?:test|testing|tester|prueba|test (?:test|order|customer|user|person|account|name|mctest\w*|testing|tester|testson)|(?:my|a|the) test|\w+ test order|asdf\w*|xxx+)(?: \d+)?$`)
	testWords     = regexp.MustCompile(`\b(?:test order|order test|testing (?:the|my|this|checkout|payment)|this is a test|just a test|just testing|only testing|please ignore|ignore this|do not make|dont make|pedido de prueba)\b`)
	testRef       = regexp.MustCompile(`^test[ 0-9]*$|^test `)
	emptyYes      = regexp.MustCompile(`^(?:no|false|0|n|none|not cancelled|na|n a|-)?$`)
	exportedWords = regexp.MustCompile(`\b(?:exported|printed|generated|report|page \d+|downloaded|end of|orders? (?:total|count)|total orders)\b`)
)

// aside tells why a row's order is not to be made or texted; "" where it is.
func (x line) aside() string {
	for _, s := range x.status {
		w := fold(s)
		switch {
		case partStatus.MatchString(w), notGone.MatchString(w):
		case goneStatus.MatchString(w):
			return fmt.Sprintf("its status is %q", s)
		}
	}
	if w := fold(x.cancel); !emptyYes.MatchString(w) {
		return "it was cancelled"
	}
	return ""
}

// isTest tells whether somebody tried the shop out.
func (x line) isTest() bool {
	if w := fold(x.test); w != "" && !emptyYes.MatchString(w) {
		return true
	}
	if testName.MatchString(fold(x.name)) || testRef.MatchString(fold(x.ref)) {
		return true
	}
	for _, n := range x.notes {
		if w := fold(n); testWords.MatchString(w) || w == "test" || w == "testing" {
			return true
		}
	}
	return testName.MatchString(fold(x.product)) && x.product != ""
}

// givenBack reads a column of money given back: all of it, part of it, or how
// much is not known.
func (x line) givenBack() (whole, part bool) {
	w := fold(x.refund)
	if emptyYes.MatchString(w) {
		return false, false
	}
	amount, ok := money(x.refund)
	if !ok {
		return !partStatus.MatchString(w) && !strings.HasPrefix(w, "part"), true
	}
	if amount < 0 {
		amount = -amount
	}
	if amount == 0 {
		return false, false
	}
	total, ok := money(x.total)
	if !ok || total <= 0 {
		return false, true
	}
	return amount >= total-0.005, amount < total-0.005
}

// furniture tells whether a row is part of the sheet and no order: a sum, the
// heading again, a line of the program that wrote it.
func (l *layout) furniture(r row, head row) string {
	var filled []string
	same := 0
	for i, c := range r.cells {
		if c == "" {
			continue
		}
		filled = append(filled, c)
		if l.headRow >= 0 && fold(c) == fold(head.at(i)) {
			same++
		}
	}
	if same == len(filled) && same > 1 {
		return "it repeats the heading"
	}
	first := fold(filled[0])
	if totalsCell.MatchString(first) || strings.HasPrefix(first, "total ") && len(filled) <= 4 {
		return "it adds up the others"
	}
	if len(filled) == 1 && (exportedWords.MatchString(first) || strings.HasPrefix(filled[0], "*") || strings.HasPrefix(filled[0], "--")) {
		return fmt.Sprintf("there is no order in it, only %q", filled[0])
	}
	return ""
}
