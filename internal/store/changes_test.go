package store

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// A server that took another one's place may be behind it, and count the same numbers
// once more for other changes.
func TestTermsOfACountThatComesAgain(t *testing.T) {
	t.Parallel()
	s := &Store{terms: map[int64]*terms{}}
	lost := s.termsOf(1, &terms{count: 7})
	assert.Same(t, lost, s.termsOf(1, &terms{count: 7}))
	before := s.termsOf(1, &terms{count: 5})
	assert.NotSame(t, lost, before)
	assert.NotSame(t, lost, s.termsOf(1, &terms{count: 7}))
	assert.NotSame(t, s.termsOf(1, &terms{count: 7}), s.termsOf(2, &terms{count: 7}), "another kitchen's")
}
