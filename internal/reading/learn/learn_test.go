package learn

import (
	"math"
	"slices"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Two classes that one word each tells apart.
func examples() []Example {
	a, b, both := Hash("here"), Hash("thanks"), Hash("the")
	return []Example{
		{Features: []uint32{a, both}, Class: 0, Weight: 1}, {Features: []uint32{b, both}, Class: 1, Weight: 1},
		{Features: []uint32{a}, Class: 0, Weight: 1}, {Features: []uint32{b}, Class: 1, Weight: 1},
	}
}

var options = Options{Rounds: 20, Rate: 0.2, Decay: 1e-4, Drop: 0.1, Least: 1, Seed: 1}

func TestTrain(t *testing.T) {
	t.Parallel()
	m := Train(examples(), 2, options)
	scores := make([]float32, 2)
	for _, ex := range examples() {
		m.Score(ex.Features, scores)
		assert.Greater(t, scores[ex.Class], scores[1-ex.Class])
	}
	assert.Equal(t, m.Bytes(), Train(examples(), 2, options).Bytes(), "training again gives the same")
}

// Each of many words is found again, and none that was never seen.
func TestEveryFeatureCounts(t *testing.T) {
	t.Parallel()
	const words = 30_000
	word := func(i int) uint32 { return Hash("word", strconv.Itoa(i)) }
	var seen []Example
	for i := range words {
		seen = append(seen, Example{Features: []uint32{word(i)}, Class: i % 3, Weight: 1})
	}
	m, err := Parse(Train(seen, 3, Options{Rounds: 2, Rate: 0.2, Least: 1, Seed: 1}).Bytes())
	require.NoError(t, err)
	scores := make([]float32, 3)
	for i := range words {
		m.Score([]uint32{word(i)}, scores)
		require.Equal(t, i%3, slices.Index(scores, slices.Max(scores)), i)
	}
	m.Score([]uint32{Hash("never seen")}, scores)
	require.Equal(t, []float32{0, 0, 0}, scores)
}

func TestChances(t *testing.T) {
	t.Parallel()
	s := []float32{0, float32(math.Log(3))}
	Chances(s)
	assert.InDelta(t, 0.25, s[0], 1e-6)
	assert.InDelta(t, 0.75, s[1], 1e-6)
}

// FNV-1a of one string and the byte that ends it; the value of "a" alone is
// 0xe40c292c (the algorithm's published test vectors, from memory).
func TestHash(t *testing.T) {
	t.Parallel()
	const fnvA, prime = uint32(0xe40c292c), uint32(16777619)
	want := (fnvA ^ 0xff)
	want *= prime
	assert.Equal(t, want, Hash("a"))
	assert.NotEqual(t, Hash("ab", "c"), Hash("a", "bc"))
}

func TestBytesAndBack(t *testing.T) {
	t.Parallel()
	m := Train(examples(), 2, options)
	back, err := Parse(m.Bytes())
	require.NoError(t, err)
	assert.Equal(t, m, back)
}

func FuzzParse(f *testing.F) {
	f.Add(Train(examples(), 2, options).Bytes())
	f.Add([]byte{})
	f.Add([]byte{1, 0, 0, 0, 0, 0, 0, 0, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 1, 1})
	f.Fuzz(func(t *testing.T, b []byte) {
		m, err := Parse(b)
		if err != nil {
			require.ErrorIs(t, err, ErrBroken)
			return
		}
		m.Score([]uint32{0, 1 << 31}, make([]float32, m.classes))
	})
}
