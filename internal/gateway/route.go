package gateway

import (
	"passbell/internal/phone"
)

// sharer is one of the kitchens that share an adapter.
type sharer struct {
	ID      int64
	Region  string
	Number  string // E.164, that its customers write to; "" for none
	Expects bool   // an unfinished order of the sender's, see store.Expecting
}

// copyFor is a text as it is stored in a kitchen.
type copyFor struct {
	Kitchen int64
	Shared  int // see night.Inbound
	Silent  bool
}

// addressed gives the kitchens that a text sent to a number may be for: those
// with that number, or where nobody has it, all.
func addressed(to string, all []sharer) []sharer {
	read := map[string]string{} // by region
	var out []sharer
	for _, k := range all {
		number, ok := read[k.Region]
		if !ok {
			if n, err := phone.Parse(to, k.Region); err == nil {
				number = n.E164
			}
			read[k.Region] = number
		}
		if number != "" && number == k.Number {
			out = append(out, k)
		}
	}
	if len(out) == 0 {
		return all
	}
	return out
}

// route decides in which of the kitchens that a text may be for it is stored. It
// is for the one that is alone, or that alone expects the sender. Else nobody
// knows, and it is stored in all of them: a person decides. A sender who wants
// no more texts means all who write from that number; one of them confirms it.
func route(stop bool, kitchens []sharer) []copyFor {
	others := len(kitchens) - 1
	mine := -1
	for i, k := range kitchens {
		if !k.Expects && others > 0 {
			continue
		}
		if mine >= 0 {
			mine = -1
			break
		}
		mine = i
	}
	if mine >= 0 && !stop {
		return []copyFor{{Kitchen: kitchens[mine].ID}}
	}
	var out []copyFor
	for i, k := range kitchens {
		c := copyFor{Kitchen: k.ID, Shared: others, Silent: i != max(mine, 0)}
		if i == mine {
			c.Shared = 0
		}
		out = append(out, c)
	}
	return out
}
