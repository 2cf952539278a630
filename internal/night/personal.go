package night

import "fmt"

// Personal counts what is kept of a night that names somebody or holds their
// words.
type Personal struct {
	Orders   int `json:"orders"`
	Messages int `json:"messages"` // to customers
	Texts    int `json:"texts"`    // from customers
	Events   int `json:"events"`
	Helpers  int `json:"helpers"`
}

// None tells whether nothing is kept.
func (p Personal) None() bool { return p == Personal{} }

// String says it for a person.
func (p Personal) String() string {
	return fmt.Sprintf("%d orders, %d texts to customers, %d texts from customers, %d lines of history", p.Orders, p.Messages, p.Texts, p.Events)
}
