package model

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// TestGatesFollowTheEquations computes each gate row by row, in plain sums, and the state from the
// gates.
func TestGatesFollowTheEquations(t *testing.T) {
	const seed, inputs, units = 3, 4, 6
	sigmoid := func(a float64) float64 { return 1 / (1 + math.Exp(-a)) }
	for _, kind := range everyKind {
		t.Run(kind.String(), func(t *testing.T) {
			n := randomNetwork(seed, inputs, []layerSize{{kind, units}}, []denseSize{{Identity, 2}})
			l, run, y := n.Recurrent[0], n.NewRun(), make([]float64, 2)
			random := rand.New(rand.NewPCG(seed, 1))
			run.Step(normal(random, inputs), y)
			h, c := slices.Clone(run.State(0)), slices.Clone(run.Cell(0))
			x := normal(random, inputs)
			run.Step(x, y)
			input := func(gate, u int) float64 { return rowSum(l.W, l.B, x, gate*units+u) }
			hidden := func(gate, u int) float64 { return rowSum(l.U, l.D, h, gate*units+u) }
			expect := func(what string, u int, got, want float64) {
				t.Helper()
				if !(math.Abs(got-want) <= 1e-14) {
					t.Errorf("seed %d, unit %d: %s is %v, want %v", seed, u, what, got, want)
				}
			}
			for u := range units {
				var state float64
				switch kind {
				case GRUResetAfter, GRUResetBefore:
					r, z, candidate := run.Gate(0, 0)[u], run.Gate(0, 1)[u], run.Gate(0, 2)[u]
					expect("r", u, r, sigmoid(input(0, u)+hidden(0, u)))
					expect("z", u, z, sigmoid(input(1, u)+hidden(1, u)))
					inner := r * hidden(2, u)
					if kind == GRUResetBefore {
						kept := slices.Clone(h)
						for j := range kept {
							kept[j] *= run.Gate(0, 0)[j]
						}
						inner = rowSum(l.U, l.D, kept, 2*units+u)
					}
					expect("n", u, candidate, math.Tanh(input(2, u)+inner))
					state = (1-z)*candidate + z*h[u]
				case LSTM:
					i, f, g, o := run.Gate(0, 0)[u], run.Gate(0, 1)[u], run.Gate(0, 2)[u],
						run.Gate(0, 3)[u]
					expect("i", u, i, sigmoid(input(0, u)+hidden(0, u)))
					expect("f", u, f, sigmoid(input(1, u)+hidden(1, u)))
					expect("g", u, g, math.Tanh(input(2, u)+hidden(2, u)))
					expect("o", u, o, sigmoid(input(3, u)+hidden(3, u)))
					expect("cell", u, run.Cell(0)[u], f*c[u]+i*g)
					state = o * math.Tanh(f*c[u]+i*g)
				case ElmanTanh:
					state = math.Tanh(input(0, u) + hidden(0, u))
					expect("gate", u, run.Gate(0, 0)[u], state)
				case ElmanReLU:
					state = math.Max(0, input(0, u)+hidden(0, u))
					expect("gate", u, run.Gate(0, 0)[u], state)
				}
				expect("state", u, run.State(0)[u], state)
			}
		})
	}
}

// rowSum returns one row of a matrix times x, plus the row's bias.
func rowSum(w, bias, x []float64, row int) float64 {
	sum := bias[row]
	for j, v := range x {
		sum += w[row*len(x)+j] * v
	}
	return sum
}

func TestResetMakesARunNew(t *testing.T) {
	const seed = 4
	layers := []layerSize{{LSTM, 5}, {GRUResetBefore, 4}, {ElmanReLU, 3}}
	n := randomNetwork(seed, 3, layers, []denseSize{{Tanh, 3}, {Identity, 2}})
	x, first, again := []float64{1, -2, 0.5}, make([]float64, 2), make([]float64, 2)
	run := n.NewRun()
	run.Step(x, first)
	run.Step(x, again)
	if slices.Equal(first, again) {
		t.Fatalf("seed %d: the second step gave the result of the first, so the state does "+
			"not matter", seed)
	}
	run.Reset()
	for l := range layers {
		if !allZero(run.State(l)) || !allZero(run.Cell(l)) {
			t.Errorf("layer %d: state %v, cell %v after the reset, want zeros", l, run.State(l),
				run.Cell(l))
		}
	}
	run.Step(x, again)
	if !slices.Equal(first, again) {
		t.Errorf("seed %d: got %v after the reset, want %v", seed, again, first)
	}
}

func allZero(values []float64) bool {
	return !slices.ContainsFunc(values, func(v float64) bool { return v != 0 })
}

func TestCellOfOtherKindsIsNil(t *testing.T) {
	for _, kind := range everyKind {
		run := randomNetwork(1, 2, []layerSize{{kind, 3}}, []denseSize{{Identity, 1}}).NewRun()
		if got := run.Cell(0) != nil; got != kind.HasCell() {
			t.Errorf("%v: cell is there: %v, want %v", kind, got, kind.HasCell())
		}
	}
}

func TestDenseActivations(t *testing.T) {
	// The values of the definitions at -ln 3, 0 and ln 3: tanh is 4/5 there because (3 - 1/3) / (3
	// + 1/3) = 4/5.
	ln3 := math.Log(3)
	for _, c := range []struct {
		activation Activation
		text       string
		want       [3]float64
	}{
		{Identity, "identity", [3]float64{-ln3, 0, ln3}},
		{ReLU, "ReLU", [3]float64{0, 0, ln3}},
		{Tanh, "tanh", [3]float64{-0.8, 0, 0.8}},
		{Logistic, "logistic", [3]float64{0.25, 0.5, 0.75}},
	} {
		if got := c.activation.String(); got != c.text {
			t.Errorf("got %q, want %q", got, c.text)
		}
		n := randomNetwork(1, 2, []layerSize{{ElmanTanh, 3}},
			[]denseSize{{c.activation, 3}, {c.activation, 3}})
		copy(n.Dense[0].B, []float64{-ln3, 0, ln3})
		clear(n.Dense[0].W)
		clear(n.Dense[1].W)
		copy(n.Dense[1].B, []float64{ln3, -ln3, 0})
		run, y := n.NewRun(), make([]float64, 3)
		run.Step([]float64{1, 2}, y)
		if last := [3]float64{c.want[2], c.want[0], c.want[1]}; !near(y, last[:]) ||
			!near(run.Dense(1), last[:]) {
			t.Errorf("%v: last layer gave %v and kept %v, want %v", c.activation, y, run.Dense(1),
				last)
		}
		if !near(run.Dense(0), c.want[:]) {
			t.Errorf("%v: first layer kept %v, want %v", c.activation, run.Dense(0), c.want)
		}
	}
}

func near(got, want []float64) bool {
	return slices.EqualFunc(got, want, func(g, w float64) bool { return math.Abs(g-w) <= 1e-15 })
}

func TestStepAllocatesNothing(t *testing.T) {
	for _, kind := range everyKind {
		n := randomNetwork(1, 5, []layerSize{{kind, 7}, {kind, 6}},
			[]denseSize{{Tanh, 4}, {Logistic, 2}})
		run, x, y := n.NewRun(), make([]float64, 5), make([]float64, 2)
		if count := testing.AllocsPerRun(100, func() { run.Step(x, y) }); count != 0 {
			t.Errorf("%v: a step allocates %v times", kind, count)
		}
	}
}
