package store

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"passbell/internal/night"
)

// A server that took another one's place may be behind it, and count the same numbers
// once more for other changes.
func TestTermsOfACountThatComesAgain(t *testing.T) {
	t.Parallel()
	s := &Store{terms: map[int64]*terms{}}
	of := func(life, changes int64) *terms { return &terms{count: night.Count{Life: life, Changes: changes}} }
	lost := s.termsOf(1, of(3, 7))
	assert.Same(t, lost, s.termsOf(1, of(3, 7)))
	assert.NotSame(t, lost, s.termsOf(1, of(4, 7)), "in another life")
	assert.NotSame(t, lost, s.termsOf(1, of(3, 7)))
	assert.NotSame(t, s.termsOf(1, of(4, 7)), s.termsOf(2, of(4, 7)), "another kitchen's")
}
