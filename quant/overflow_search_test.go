package quant

import (
	"math/rand/v2"
	"slices"
	"testing"
)

// An attack holds the inputs for some steps at each of a few patterns.
const (
	attackPatterns = 3
	attackHold     = 12 // steps; fast units reach the end of their range in these
)

// shadow repeats the sums of every row in 64 bits beside the real Step.
type shadow struct {
	net   *Network
	state *State
	view  []int32
	y     []int32
	// per row: largest magnitude of the accumulator, rounding included, as a share of the bound
	reach map[*Matrix][]float64
	worst int64 // largest magnitude of all rows
}

func newShadow(net *Network) *shadow {
	s := &shadow{net: net, state: net.NewState(), view: make([]int32, net.Layers[0].Units),
		y: make([]int32, len(net.Outputs)), reach: map[*Matrix][]float64{}}
	for _, m := range net.Matrices() {
		s.reach[m] = make([]float64, m.Rows)
	}
	return s
}

// run drives the network with an attack and returns how far the recurrent row got towards its bound
// in the given direction, as a share of it.
func (s *shadow) run(t *testing.T, attack [][]int32, row int, direction int64) float64 {
	s.state.Reset()
	layer := s.net.Layers[0]
	goal := 0.0
	for _, x := range attack {
		for range attackHold {
			copy(s.view, s.state.Hidden(0))
			s.net.Step(s.state, x, s.y)
			s.sums(t, layer.Input, x)
			sums := s.sums(t, layer.Recurrent, s.view)
			goal = max(goal, float64(direction*sums[row])/float64(layer.Recurrent.Bound[row]))
			for o, sum := range s.sums(t, s.net.head().Weights, s.state.Hidden(0)) {
				if sum != int64(s.y[o]) {
					t.Fatalf("output %d is %d, 64 bits give %d", o, s.y[o], sum)
				}
			}
		}
	}
	return goal
}

// sums computes the rows of a matrix and compares each with its bound.
func (s *shadow) sums(t *testing.T, m *Matrix, v []int32) []int64 {
	all := make([]int64, m.Rows)
	for r := range all {
		sum := int64(m.Bias[r])
		for c, w := range m.W[r*m.Cols : (r+1)*m.Cols] {
			sum += int64(w) * int64(v[c])
		}
		all[r] = sum
		size := max(sum, -sum)
		if m.Rescaled() {
			size += int64(1) << (m.Shift[r] - 1)
		}
		if size > m.Bound[r] {
			t.Fatalf("%s, row %d: the accumulator reaches %d, its bound is %d", m.Name, r, size,
				m.Bound[r])
		}
		s.worst = max(s.worst, size)
		s.reach[m][r] = max(s.reach[m][r], float64(size)/float64(m.Bound[r]))
	}
	return all
}

// nearBound is the share of its bound that the attacks must drive some recurrent
// row to: with less, the search would prove little.
const nearBound = 0.9

// TestNoInputSequenceBreaksTheBound looks for the worst inputs: for every row of
// the recurrent matrix and either sign it climbs, input by input, to the attack
// with the largest accumulator, through the real Step. On the way the sums of
// all rows of all matrices are held to their bounds.
func TestNoInputSequenceBreaksTheBound(t *testing.T) {
	demoJob, _, slowJob := jobs(t)
	for name, net := range map[string]*Network{
		"demo, int8":    demoJob.fixed(t, 8, 8, 16, AtStateHalf),
		"slow, int16":   slowJob.fixed(t, 16, 16, 32, Compensated),
		"random, int16": randomNetwork(t, 41, 6, 8, 2, Widths(16, 16, 16, 16)),
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := newShadow(net)
			random := rand.New(rand.NewPCG(42, 0))
			recurrent := net.Layers[0].Recurrent
			for row := range recurrent.Rows {
				s.climb(t, random, row, 1)
				s.climb(t, random, row, -1)
			}
			for _, m := range net.Matrices() {
				t.Logf("%s: rows reach %.1f %% to %.1f %% of their bound", m.Name,
					100*slices.Min(s.reach[m]), 100*slices.Max(s.reach[m]))
			}
			t.Logf("largest accumulator: %.3f of the int32 limit",
				float64(s.worst)/AccumulatorLimit)
			if nearest := slices.Max(s.reach[recurrent]); nearest < nearBound {
				t.Errorf("the attacks only reach %.2f of the bound of a recurrent row, want %.2f",
					nearest, nearBound)
			}
		})
	}
}

// climb improves a random attack on one row, one input of one pattern at a time.
func (s *shadow) climb(t *testing.T, random *rand.Rand, row int, direction int64) {
	ends := []int32{minInt16, 0, maxInt16}
	attack := make([][]int32, attackPatterns)
	for i := range attack {
		attack[i] = make([]int32, len(s.net.Features))
		for k := range attack[i] {
			attack[i][k] = ends[random.IntN(len(ends))]
		}
	}
	best := s.run(t, attack, row, direction)
	for _, x := range attack {
		for k := range x {
			kept := x[k]
			for _, v := range ends {
				if v == kept {
					continue
				}
				x[k] = v
				if reached := s.run(t, attack, row, direction); reached > best {
					best, kept = reached, v
				}
			}
			x[k] = kept
		}
	}
}
