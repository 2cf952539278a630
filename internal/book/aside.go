package book

import (
	"fmt"
	"strings"
)

var (
	goneStatus    = pattern(`\b(cancel\w*|refunded|void\w*|failed|declined|rejected|deleted|trash|abandoned|draft|checkout draft|expired|charged? ?back|reembolsad[oa]|anulad[oa]|devuelt[oa]|fallid[oa]|rechazad[oa])\b`)
	partStatus    = pattern(`\bpart(?:ial(?:ly)?|ly)?\b.*\brefund|\breembolso parcial`)
	openStatus    = pattern(`\b(pending|on hold|unpaid|awaiting|not paid|authorized|pendiente|sin pagar)\b`)
	notGone       = pattern(`\b(?:not|never|no|non) (?:cancel|refund|void)`)
	totalsCell    = pattern(`^(?:grand |sub ?|order )?(?:totals?|sums?|summe|suma|gesamt|count)(?: (?:orders|items|general))?$`)
	testName      = pattern(`^(?:test|testing|tester|prueba|test (?:test|order|customer|user|person|account|name|mctest\w*|testing|tester|testson)|(?:my|a|the) test|\w+ test order|asdf\w*|xxx+)(?: \d+)?$`)
	goneNote      = pattern(`^(?:order |now |has been |was )*(?:cancelled|canceled|refunded|void|voided|cancelado|cancelada|anulado|anulada)(?: (?:by phone|by text|order|today|and refunded))*$`)
	testWords     = pattern(`\b(?:test order|order test|testing (?:the|my|this|checkout|payment)|this is a test|just a test|just testing|only testing|please ignore|ignore this|do not make|dont make|pedido de prueba)\b`)
	testRef       = pattern(`^test[ 0-9]*$|^test `)
	emptyYes      = pattern(`^(?:no|false|0|n|none|not cancelled|na|n a|-)?$`)
	exportedWords = pattern(`\b(?:exported|printed|generated|report|page \d+|downloaded|end of|orders? (?:total|count)|total orders)\b`)
)

// aside tells why a row's order is not to be made or texted; "" where it is.
func (x *line) aside() string {
	for _, s := range x.status {
		w := fold(s)
		switch {
		case partStatus().MatchString(w), notGone().MatchString(w):
		case goneStatus().MatchString(w):
			return fmt.Sprintf("its status is %q", s)
		}
	}
	for _, n := range x.notes {
		if len(n) < 40 && mayHold(n, "cancel", "refund", "void", "anulad") && goneNote().MatchString(fold(n)) {
			return fmt.Sprintf("its note says %q", n)
		}
	}
	if x.cancel == "" {
		return ""
	}
	if w := fold(x.cancel); !emptyYes().MatchString(w) {
		return "it was cancelled"
	}
	return ""
}

// isTest tells whether somebody tried the shop out.
func (x *line) isTest() bool {
	if w := fold(x.test); w != "" && !emptyYes().MatchString(w) {
		return true
	}
	if mayTest(x.name) && testName().MatchString(fold(x.name)) || mayTest(x.ref) && testRef().MatchString(fold(x.ref)) {
		return true
	}
	for _, n := range x.notes {
		if !mayTest(n) {
			continue
		}
		if w := fold(n); testWords().MatchString(w) || w == "test" || w == "testing" {
			return true
		}
	}
	return mayTest(x.product) && testName().MatchString(fold(x.product))
}

// mayTest tells quickly whether a text can hold any of the words of a test.
func mayTest(s string) bool {
	return mayHold(s, "test", "asdf", "xxx", "prueba", "please ignore", "ignore this", "do not make", "don't make", "don’t make", "dont make")
}

// mayHold tells whether one of some words stands in a text, in capitals or not.
func mayHold(s string, words ...string) bool {
	for i := range len(s) {
		c := s[i] | 0x20
		for _, w := range words {
			if w[0] == c && len(s)-i >= len(w) && strings.EqualFold(s[i:i+len(w)], w) {
				return true
			}
		}
	}
	return false
}

// givenBack reads a column of money given back: all of it, part of it, or how
// much is not known.
func (x *line) givenBack() (whole, part bool) {
	if x.refund == "" {
		return false, false
	}
	w := fold(x.refund)
	if emptyYes().MatchString(w) {
		return false, false
	}
	amount, ok := money(x.refund)
	if !ok {
		return !partStatus().MatchString(w) && !strings.HasPrefix(w, "part"), true
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
func (b *builder) furniture(r row, head row) string {
	filled, first := 0, ""
	same := b.lay.headRow >= 0
	for i, c := range r.cells {
		if c == "" {
			continue
		}
		if filled++; filled == 1 {
			first = c
		}
		same = same && strings.EqualFold(c, head.at(i))
	}
	switch {
	case same && filled > 1:
		return "it repeats the heading"
	case first[0] >= '0' && first[0] <= '9', filled > 1 && filled > len(r.cells)*2/3 && len(r.cells) > 3 && !sums(first):
		return ""
	}
	words := fold(first)
	if totalsCell().MatchString(words) || strings.HasPrefix(words, "total ") && filled <= 4 {
		return "it adds up the others"
	}
	if filled == 1 && (exportedWords().MatchString(words) || strings.HasPrefix(first, "*") || strings.HasPrefix(first, "--")) {
		return fmt.Sprintf("there is no order in it, only %q", first)
	}
	return ""
}

// sums tells quickly whether a cell may be the title of a sum.
func sums(first string) bool {
	return len(first) < 24 && strings.IndexByte("tTsSgGoOcC", first[0]) >= 0
}
