package book

import (
	"regexp"
	"sync"
)

// pattern gives a regular expression that is made when it is first asked for: a
// program on which nobody loads an order book has no use for its memory.
func pattern(expression string) func() *regexp.Regexp {
	return sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(expression) })
}
