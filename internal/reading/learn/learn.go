// Package learn is a small linear model: multinomial logistic regression over
// hashed features. It is trained from labelled nights by `make train`, always
// with the same result, and is small enough to stand in the program.
package learn

import (
	"encoding/binary"
	"errors"
	"math"
	"math/rand/v2"
)

// Buckets is how many weights there are for each class. Features share them by
// their hash.
const Buckets = 1 << 15

// Model holds the weights, eight bits each, by bucket and then by class.
type Model struct {
	classes int
	scale   float32
	weights []int8
}

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
		row := m.weights[int(f%Buckets)*m.classes:][:m.classes]
		for c, w := range row {
			out[c] += float32(w)
		}
	}
	for c := range out {
		out[c] *= m.scale
	}
}

// Chances turns scores into chances that add up to one, in place.
func Chances(scores []float32) {
	top := scores[0]
	for _, s := range scores {
		top = max(top, s)
	}
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
	Seed   uint64  // decides the order of the examples
}

// Train fits a model by stochastic gradient descent with a step size for each
// weight (AdaGrad). The same examples and options give the same model.
func Train(examples []Example, classes int, o Options) *Model {
	weights := make([]float64, Buckets*classes)
	squares := make([]float64, Buckets*classes)
	order := rand.New(rand.NewPCG(o.Seed, o.Seed))
	scores := make([]float32, classes)
	for range o.Rounds {
		for _, i := range order.Perm(len(examples)) {
			ex := examples[i]
			clear(scores)
			for _, f := range ex.Features {
				row := weights[int(f%Buckets)*classes:][:classes]
				for c, w := range row {
					scores[c] += float32(w)
				}
			}
			Chances(scores)
			scores[ex.Class]--
			for _, f := range ex.Features {
				at := int(f%Buckets) * classes
				for c := range classes {
					g := float64(scores[c]*ex.Weight) + o.Decay*weights[at+c]
					squares[at+c] += g * g
					weights[at+c] -= o.Rate * g / (1e-6 + math.Sqrt(squares[at+c]))
				}
			}
		}
	}
	return pack(weights, classes)
}

// pack rounds the weights to eight bits.
func pack(weights []float64, classes int) *Model {
	top := 1e-9
	for _, w := range weights {
		top = max(top, math.Abs(w))
	}
	m := &Model{classes: classes, scale: float32(top / 127), weights: make([]int8, len(weights))}
	for i, w := range weights {
		m.weights[i] = int8(math.Round(w / top * 127))
	}
	return m
}

// Bytes writes the model: classes, scale, then the weights that are not zero as
// runs, since most are.
func (m *Model) Bytes() []byte {
	out := binary.LittleEndian.AppendUint32(nil, uint32(m.classes))
	out = binary.LittleEndian.AppendUint32(out, math.Float32bits(m.scale))
	for i := 0; i < len(m.weights); {
		skip := 0
		for i+skip < len(m.weights) && m.weights[i+skip] == 0 {
			skip++
		}
		i += skip
		run := 0
		for i+run < len(m.weights) && m.weights[i+run] != 0 {
			run++
		}
		out = binary.AppendUvarint(out, uint64(skip))
		out = binary.AppendUvarint(out, uint64(run))
		for _, w := range m.weights[i : i+run] {
			out = append(out, byte(w))
		}
		i += run
	}
	return out
}

// ErrBroken says that bytes are no model.
var ErrBroken = errors.New("learn: these bytes are no model")

// Parse reads what Bytes wrote.
func Parse(b []byte) (*Model, error) {
	if len(b) < 8 {
		return nil, ErrBroken
	}
	m := &Model{classes: int(binary.LittleEndian.Uint32(b)), scale: math.Float32frombits(binary.LittleEndian.Uint32(b[4:]))}
	if m.classes < 1 || m.classes > 64 {
		return nil, ErrBroken
	}
	m.weights = make([]int8, Buckets*m.classes)
	b = b[8:]
	for i := 0; len(b) > 0; {
		skip, n := binary.Uvarint(b)
		if n <= 0 {
			return nil, ErrBroken
		}
		b = b[n:]
		run, n := binary.Uvarint(b)
		if n <= 0 || uint64(len(b[n:])) < run || skip > uint64(len(m.weights)-i) || run > uint64(len(m.weights)-i)-skip {
			return nil, ErrBroken
		}
		b, i = b[n:], i+int(skip)
		for _, w := range b[:run] {
			m.weights[i] = int8(w)
			i++
		}
		b = b[run:]
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
