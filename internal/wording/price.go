package wording

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"golang.org/x/text/currency"
)

// Price is what a provider asks for one part.
type Price struct {
	// PerPart is in thousandths of the currency's minor unit, so that 3.95
	// pence is 3950. Zero means that no price is known.
	PerPart  int64
	Currency string // ISO 4217, such as "GBP"
}

// ParsePrice reads a price for one part, "0.0395 GBP": an amount in the
// currency's main unit, and its code.
func ParsePrice(s string) (Price, error) {
	amount, code, _ := strings.Cut(strings.TrimSpace(s), " ")
	unit, err := currency.ParseISO(strings.TrimSpace(code))
	if err != nil {
		return Price{}, fmt.Errorf("%q is not a price: write it as 0.04 GBP, with a currency's three letters", s)
	}
	v, err := strconv.ParseFloat(amount, 64)
	if err != nil || !(v >= 0 && v <= 1e6) { // so put, NaN is refused too
		return Price{}, fmt.Errorf("%q is not a price: write it as 0.04 GBP", s)
	}
	perPart := math.Round(v * 1000 * math.Pow10(digits(unit)))
	return Price{PerPart: int64(perPart), Currency: unit.String()}, nil
}

// Cost is the price of so many parts in the currency's minor unit, rounded up.
func (p Price) Cost(parts int) int64 {
	return (p.PerPart*int64(parts) + 999) / 1000
}

// Money writes an amount in minor units, "3.20 GBP".
func Money(minor int64, code string) string {
	places := 2
	if unit, err := currency.ParseISO(code); err == nil {
		places = digits(unit)
	}
	return strconv.FormatFloat(float64(minor)/math.Pow10(places), 'f', places, 64) + " " + code
}

// digits is how many decimal places a currency has.
func digits(unit currency.Unit) int {
	scale, _ := currency.Standard.Rounding(unit)
	return scale
}
