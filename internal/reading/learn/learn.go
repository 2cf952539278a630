// Package learn is a small linear model: multinomial logistic regression over
// hashed features. It is trained from labelled nights by `make train`, always
// with the same result, and is small enough to stand in the program.
package learn

import (
	"encoding/binary"
	"errors"
	"math"
	"math/bits"
	"math/rand/v2"
	"slices"
)

// Model holds the weights of the features that it knows, eight bits each. It reads
// them where they are written: in a program that it stands in they take no memory
// of its own.
type Model struct {
	classes int
	scale   float32
	rows    []byte  // as Bytes writes them
	shelves []shelf // by the first bits of a feature
}

// shelf is where the rows of features with the same first bits begin.
type shelf struct {
	at     int32  // in bytes, and one: 0 where there are none
	before uint32 // the feature before the first of them
}

// shelfBits is by how many bits rows are shelved: some six are looked through for
// a feature.
const shelfBits = 13

// Example is one text as features, and its class.
type Example struct {
	Features []uint32
	Class    int
	Weight   float32 // how much it counts; 1 as a rule
}

// Score adds up the weights of features into out, one figure a class: the
// logarithm of the odds, but for a constant.
func (m *Model) Score(features []uint32, out []float32) {
	clear(out)
	for _, f := range features {
		has, weights := m.row(f)
		for ; has != 0; has &= has - 1 {
			out[bits.TrailingZeros64(has)] += float32(int8(weights[0]))
			weights = weights[1:]
		}
	}
	k := m.scale * share(len(features))
	for c := range out {
		out[c] *= k
	}
}

// share is how much each of n features counts: a long text must not seem surer
// than a short one because it has more of them.
func share(n int) float32 { return float32(10 / math.Sqrt(float64(n+20))) }

// row finds the weights of a feature that are not zero, and which they are: none
// where the model doesn't know it.
func (m *Model) row(f uint32) (has uint64, weights []byte) {
	shelf := m.shelves[f>>(32-shelfBits)]
	if shelf.at == 0 {
		return 0, nil
	}
	key := shelf.before
	for b := m.rows[shelf.at-1:]; len(b) > 0; {
		step, n := binary.Uvarint(b)
		has, k := binary.Uvarint(b[n:])
		b, key = b[n+k:], key+uint32(step)
		switch {
		case key == f:
			return has, b
		case key > f:
			return 0, nil
		}
		b = b[bits.OnesCount64(has):]
	}
	return 0, nil
}

// shelve notes where the row of a feature begins.
func (m *Model) shelve(f, before uint32, at int) {
	if shelf := &m.shelves[f>>(32-shelfBits)]; shelf.at == 0 {
		shelf.at, shelf.before = int32(at)+1, before
	}
}

// Chances turns scores into chances that add up to one, in place.
func Chances(scores []float32) {
	top := slices.Max(scores)
	var sum float32
	for i, s := range scores {
		scores[i] = float32(math.Exp(float64(s - top)))
		sum += scores[i]
	}
	for i := range scores {
		scores[i] /= sum
	}
}

// Options say how to train.
type Options struct {
	Rounds int     // passes over the examples
	Rate   float64 // step size of the first pass
	Decay  float64 // pull of the weights towards zero
	Drop   float64 // share of the features that each pass leaves out, so that none is relied on alone
	Least  int     // a feature counts when at least so many examples have it
	Seed   uint64  // decides the order of the examples and what is left out
}

// Train fits a model by stochastic gradient descent with a step size for each
// weight (AdaGrad), and averages the weights of the second half of the passes.
// The same examples and options give the same model.
func Train(examples []Example, classes int, o Options) *Model {
	keys, rows := known(examples, o.Least)
	t := trainer{
		Options: o, classes: classes, scores: make([]float32, classes),
		weights: make([]float64, len(keys)*classes), squares: make([]float64, len(keys)*classes),
	}
	sums := make([]float64, len(t.weights))
	draw := rand.New(rand.NewPCG(o.Seed, o.Seed))
	for round := range o.Rounds {
		for _, i := range draw.Perm(len(examples)) {
			t.step(rows[i], &examples[i], draw)
		}
		if round >= o.Rounds/2 {
			for i, w := range t.weights {
				sums[i] += w
			}
		}
	}
	for i := range sums {
		sums[i] /= float64(o.Rounds - o.Rounds/2)
	}
	return pack(keys, sums, classes)
}

// known gives the features that count, ascending, and each example's as positions
// among them, in the order of its features.
func known(examples []Example, least int) (keys []uint32, rows [][]int32) {
	count := make(map[uint32]int)
	for i := range examples {
		for _, f := range examples[i].Features {
			count[f]++
		}
	}
	for f, n := range count {
		if n >= least {
			keys = append(keys, f)
		}
	}
	slices.Sort(keys)
	rows = make([][]int32, len(examples))
	for i := range examples {
		for _, f := range examples[i].Features {
			if at, ok := slices.BinarySearch(keys, f); ok {
				rows[i] = append(rows[i], int32(at))
			}
		}
	}
	return keys, rows
}

type trainer struct {
	Options
	classes          int
	scores           []float32
	weights, squares []float64
	kept             []int32
}

// step moves the weights towards the class of an example with these rows.
func (t *trainer) step(rows []int32, ex *Example, draw *rand.Rand) {
	t.kept = t.kept[:0]
	clear(t.scores)
	for _, row := range rows {
		if draw.Float64() < t.Drop {
			continue
		}
		t.kept = append(t.kept, row)
		for c, w := range t.weights[int(row)*t.classes:][:t.classes] {
			t.scores[c] += float32(w)
		}
	}
	k := share(len(t.kept))
	for c := range t.scores {
		t.scores[c] *= k
	}
	Chances(t.scores)
	t.scores[ex.Class]--
	k *= ex.Weight
	for _, row := range t.kept {
		at := int(row) * t.classes
		for c := range t.classes {
			g := float64(t.scores[c]*k) + t.Decay*t.weights[at+c]
			t.squares[at+c] += g * g
			t.weights[at+c] -= t.Rate * g / (1e-6 + math.Sqrt(t.squares[at+c]))
		}
	}
}

// pack rounds the weights to eight bits.
func pack(keys []uint32, weights []float64, classes int) *Model {
	top := 1e-9
	for _, w := range weights {
		top = max(top, math.Abs(w))
	}
	m := &Model{classes: classes, scale: float32(top / 127), shelves: make([]shelf, 1<<shelfBits)}
	before := uint32(0)
	for row, f := range keys {
		m.shelve(f, before, len(m.rows))
		m.rows = binary.AppendUvarint(m.rows, uint64(f-before))
		before = f
		var has uint64
		var some []byte
		for c, w := range weights[row*classes:][:classes] {
			if w := int8(math.Round(w / top * 127)); w != 0 {
				has |= 1 << c
				some = append(some, byte(w))
			}
		}
		m.rows = append(binary.AppendUvarint(m.rows, has), some...)
	}
	return m
}

// Bytes writes the model: classes, scale, then for each feature how far it lies
// behind the one before, which of its weights are not zero, and those.
func (m *Model) Bytes() []byte {
	out := binary.LittleEndian.AppendUint32(nil, uint32(m.classes))
	out = binary.LittleEndian.AppendUint32(out, math.Float32bits(m.scale))
	return append(out, m.rows...)
}

// ErrBroken says that bytes are no model.
var ErrBroken = errors.New("learn: these bytes are no model")

// Parse reads what Bytes wrote. The model keeps b, which must not change.
func Parse(b []byte) (*Model, error) {
	if len(b) < 8 || len(b) > math.MaxInt32 {
		return nil, ErrBroken
	}
	m := &Model{
		classes: int(binary.LittleEndian.Uint32(b)), scale: math.Float32frombits(binary.LittleEndian.Uint32(b[4:])),
		rows: b[8:], shelves: make([]shelf, 1<<shelfBits),
	}
	if m.classes < 1 || m.classes > 63 {
		return nil, ErrBroken
	}
	before := uint64(0)
	for b = m.rows; len(b) > 0; {
		at := len(m.rows) - len(b)
		step, n := binary.Uvarint(b)
		if n <= 0 || step == 0 && at > 0 || step > math.MaxUint32-before {
			return nil, ErrBroken
		}
		has, k := binary.Uvarint(b[n:])
		if k <= 0 || has>>m.classes != 0 || bits.OnesCount64(has) > len(b)-n-k {
			return nil, ErrBroken
		}
		m.shelve(uint32(before+step), uint32(before), at)
		b, before = b[n+k+bits.OnesCount64(has):], before+step
	}
	return m, nil
}

// Mix makes a feature of a feature and a number.
func Mix(h uint32, n uint64) uint32 {
	for range 8 {
		h = (h ^ uint32(n&0xff)) * 16777619
		n >>= 8
	}
	return h
}

// Hash makes a feature of strings (FNV-1a, 32 bits).
func Hash(parts ...string) uint32 {
	h := uint32(2166136261)
	for _, p := range parts {
		for i := range len(p) {
			h = (h ^ uint32(p[i])) * 16777619
		}
		h = (h ^ 0xff) * 16777619
	}
	return h
}
