package desk

import (
	"slices"
	"strings"

	"passbell/internal/night"
	"passbell/internal/phone"
)

// Route is one way out and what goes by it. Empty lists take everything.
type Route struct {
	Adapter string
	// Mail is set for an adapter that carries mail: it takes addresses and no
	// numbers, the others numbers and no addresses.
	Mail      bool
	Countries []string // ISO 3166-1 alpha-2 of the number
	Lines     []phone.Line
	Kinds     []night.MessageKind
}

// Routes are a kitchen's ways out, the preferred one first.
type Routes []Route

// First gives the adapter that a message to an address goes by: the first that
// takes its kind, else the first that takes its address; "" where there is
// none.
func (r Routes) First(to string, kind night.MessageKind) string {
	anyKind := ""
	for _, way := range r {
		switch {
		case !way.reaches(to):
		case way.carries(kind):
			return way.Adapter
		case anyKind == "":
			anyKind = way.Adapter
		}
	}
	return anyKind
}

// lead tells whether the way by an adapter reaches an address.
func (r Routes) lead(adapter, to string) bool {
	return slices.ContainsFunc(r, func(way Route) bool { return way.Adapter == adapter && way.reaches(to) })
}

// noWay gives the addresses of orders that no route reaches.
func (r Routes) noWay(orders []night.Order) map[string]bool {
	out := map[string]bool{}
	for _, o := range orders {
		to := o.Address(r.mail())
		if to != "" && len(r) > 0 && !slices.ContainsFunc(r, func(way Route) bool { return way.reaches(to) }) {
			out[to] = true
		}
	}
	return out
}

// Next gives the way that a message takes when the one it took has failed: the
// next in order that takes it, by mail where the order names an address. A
// message falls once; ok is false where there is no other way.
func (r Routes) Next(m night.Message, orders []night.Order) (fall night.Fall, ok bool) {
	if m.Fallen {
		return fall, false
	}
	from := slices.IndexFunc(r, func(way Route) bool { return way.Adapter == m.Adapter })
	for _, way := range r[from+1:] {
		to := m.To
		if way.Mail && len(orders) > 0 {
			to = orders[0].Email
		}
		if to != "" && way.reaches(to) && way.carries(m.Kind) {
			return night.Fall{Adapter: way.Adapter, To: to}, true
		}
	}
	return fall, false
}

func (r Routes) mail() bool {
	return slices.ContainsFunc(r, func(way Route) bool { return way.Mail })
}

func (way Route) carries(kind night.MessageKind) bool {
	return len(way.Kinds) == 0 || slices.Contains(way.Kinds, kind)
}

func (way Route) reaches(to string) bool {
	if mail := strings.Contains(to, "@"); mail || way.Mail {
		return mail && way.Mail
	}
	if len(way.Countries) == 0 && len(way.Lines) == 0 {
		return true
	}
	const any = "GB" // a number with its country code means the same everywhere
	n, err := phone.Parse(to, any)
	return err == nil &&
		(len(way.Countries) == 0 || slices.Contains(way.Countries, n.Region)) &&
		(len(way.Lines) == 0 || slices.Contains(way.Lines, n.Line))
}
