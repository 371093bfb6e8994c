package model

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// TestGradientsAgreeWithAutograd compares with derivatives that torch's autograd computed in
// float64; see testdata/vectors/README.md.
func TestGradientsAgreeWithAutograd(t *testing.T) {
	for _, name := range []string{"gru_grad", "lstm_grad", "gru_2layer_grad", "rnn_tanh_grad"} {
		t.Run(name, func(t *testing.T) {
			tensors := readNPZ(t, name)
			n := fromTorch(t, tensors, gradientSpec(name))
			input, target := tensors["input"], tensors["target"]
			sequences, steps := input.Shape[0], input.Shape[1]
			g := n.NewGradient()
			g.Inputs = make([]float64, steps*n.Inputs())
			tape := n.NewTape(steps)
			change := make([]float64, steps*n.Outputs())
			// The loss is a mean over all elements.
			weights := slices.Repeat([]float64{1 / float64(len(target.Data))}, n.Outputs())
			loss := 0.0
			worst := 0.0
			near := func(what string, got, want []float64) {
				t.Helper()
				for i, w := range want {
					// The difference is relative to the size of the whole array, because single
					// entries may cancel to almost nothing.
					difference := math.Abs(got[i]-w) / largestOf(want)
					worst = math.Max(worst, difference)
					if !(difference <= 1e-9) {
						t.Fatalf("%s[%d] is %v, autograd gives %v", what, i, got[i], w)
					}
				}
			}
			part := func(name string, sequence, size int) []float64 {
				return tensors[name].Data[sequence*size : (sequence+1)*size]
			}
			for s := range sequences {
				for l, layer := range n.Recurrent {
					at := (l*sequences + s) * layer.Units
					copy(tape.Run().State(l), tensors["h0"].Data[at:])
					if layer.Kind.HasCell() {
						copy(tape.Run().Cell(l), tensors["c0"].Data[at:])
					}
				}
				y := tape.Forward(part("input", s, steps*n.Inputs()), nil)
				near("output_seq", y, part("output_seq", s, len(y)))
				loss += SquaredError(y, part("target", s, len(y)), weights, change)
				tape.Backward(change, g)
				near("grad.input", g.Inputs, part("grad.input", s, len(g.Inputs)))
				for l, layer := range n.Recurrent {
					at := (l*sequences + s) * layer.Units
					near("grad.h0", g.States[l], tensors["grad.h0"].Data[at:at+layer.Units])
					if layer.Kind.HasCell() {
						near("grad.c0", g.Cells[l], tensors["grad.c0"].Data[at:at+layer.Units])
					}
				}
			}
			near("loss", []float64{loss}, tensors["loss"].Data)
			compared := 0
			for weight, got := range ToTorch(g.Weights) {
				want := tensors["grad."+torchName(weight)]
				if want == nil {
					t.Fatalf("no derivative by %s among the vectors", torchName(weight))
				}
				near("grad."+weight, got.Data, want.Data)
				compared++
			}
			if want := 4*len(n.Recurrent) + 2*len(n.Dense); compared != want {
				t.Errorf("%d tensors compared, want %d", compared, want)
			}
			t.Logf("worst difference %.1e", worst)
		})
	}
}

// torchName returns the name of a tensor in the vectors, whose modules are called "rnn", "dense"
// and "head" for every kind.
func torchName(name string) string {
	switch {
	case name[:4] == "gru.":
		return "rnn." + name[4:]
	case name[:6] == "dense0":
		return "dense" + name[6:]
	}
	return name
}

func gradientSpec(name string) Spec {
	rnn, head := LayerSpec{Name: "rnn"}, LayerSpec{Name: "head"}
	switch name {
	case "gru_2layer_grad":
		return Spec{Layers: []LayerSpec{rnn, {Name: "dense", Activation: "relu"}, head}}
	case "rnn_tanh_grad":
		rnn.Cell = "elman-tanh"
	}
	return Spec{Layers: []LayerSpec{rnn, head}}
}

func largestOf(values []float64) float64 {
	top := 0.0
	for _, v := range values {
		top = math.Max(top, math.Abs(v))
	}
	return top
}

// TestGradientsAgreeWithDifferences checks every kind, alone, stacked and under dense layers, and
// both losses, against (L(w+e) - L(w-e))/2e.
func TestGradientsAgreeWithDifferences(t *testing.T) {
	const inputs, steps = 3, 9
	stacks := [][]layerSize{{{LSTM, 3}, {GRUResetBefore, 4}},
		{{ElmanReLU, 4}, {GRUResetAfter, 3}, {LSTM, 3}}}
	for _, k := range everyKind {
		stacks = append(stacks, []layerSize{{k, 4}})
	}
	heads := [][]denseSize{{{Identity, 3}}, {{ReLU, 4}, {Identity, 3}},
		{{Tanh, 4}, {Logistic, 3}, {Identity, 3}}, {{Logistic, 3}}}
	for i, stack := range stacks {
		for j, head := range heads {
			for _, classes := range []bool{false, true} {
				seed := uint64(100*i + 10*j + 1)
				t.Run(fmt.Sprintf("%v/%v/%v", stack, head, classes), func(t *testing.T) {
					n := randomNetwork(seed, inputs, stack, head)
					random := rand.New(rand.NewPCG(seed, 2))
					x, target := normal(random, steps*inputs), normal(random, steps*3)
					for step := range steps {
						Shares(target[3*step:3*step+3], target[3*step:3*step+3])
					}
					tape, change := n.NewTape(steps), make([]float64, steps*3)
					loss := func() float64 {
						tape.Run().Reset()
						y := tape.Forward(x, nil)
						if classes {
							return CrossEntropy(y, target, 3, change)
						}
						return SquaredError(y, target, []float64{1, 0.5, 3}, change)
					}
					loss()
					g := n.NewGradient()
					g.Inputs = make([]float64, len(x))
					tape.Backward(change, g)
					slopes := append(g.Weights.Values(), g.Inputs)
					for v, values := range append(n.Values(), x) {
						for w := range values {
							const e = 1e-5
							given := values[w]
							values[w] = given + e
							up := loss()
							values[w] = given - e
							down := loss()
							values[w] = given
							if got, want := slopes[v][w],
								(up-down)/(2*e); !(math.Abs(got-want) <=
								2e-8*math.Max(1, math.Abs(want))) {
								t.Fatalf("seed %d: derivative %d of tensor %d is %v, "+
									"differences give %v", seed, w, v, got, want)
							}
						}
					}
				})
			}
		}
	}
}

// TestSegmentsCarryTheState runs a sequence in two segments: the outputs are those of one segment,
// and the derivatives lack only the part through the state between them.
func TestSegmentsCarryTheState(t *testing.T) {
	const seed, inputs, steps, first = 5, 3, 10, 6
	n := randomNetwork(seed, inputs, []layerSize{{LSTM, 4}, {GRUResetAfter, 3}},
		[]denseSize{{Identity, 2}})
	random := rand.New(rand.NewPCG(seed, 3))
	x, target := normal(random, steps*inputs), normal(random, steps*2)
	weights, change := []float64{1, 1}, make([]float64, steps*2)

	whole := n.NewTape(steps)
	y := whole.Forward(x, nil)
	parts := n.NewTape(first)
	g := n.NewGradient()
	a := slices.Clone(parts.Forward(x[:first*inputs], nil))
	SquaredError(a, target[:2*first], weights, change)
	parts.Backward(change[:2*first], g)
	state := slices.Clone(parts.Run().State(0))
	b := parts.Forward(x[first*inputs:], nil)
	if got := append(a, b...); !slices.Equal(got, y) {
		t.Fatalf("two segments give %v, one gives %v", got, y)
	}
	SquaredError(b, target[2*first:], weights, change)
	parts.Backward(change[:2*(steps-first)], g)

	// The same by hand: two separate sequences, the second of which starts from the last state of
	// the first.
	sum := n.NewGradient()
	alone := n.NewTape(first)
	y = alone.Forward(x[:first*inputs], nil)
	SquaredError(y, target[:2*first], weights, change)
	alone.Backward(change[:2*first], sum)
	if !slices.Equal(alone.Run().State(0), state) {
		t.Error("the state after the first segment differs")
	}
	second, rest := n.NewTape(steps-first), n.NewGradient()
	for l := range n.Recurrent {
		copy(second.Run().State(l), alone.Run().State(l))
		copy(second.Run().Cell(l), alone.Run().Cell(l))
	}
	y = second.Forward(x[first*inputs:], nil)
	SquaredError(y, target[2*first:], weights, change)
	second.Backward(change[:2*(steps-first)], rest)
	sum.Add(rest)
	for i, values := range sum.Weights.Values() {
		for j, want := range values {
			if got := g.Weights.Values()[i][j]; !(math.Abs(got-want) <=
				1e-12*math.Max(1, math.Abs(want))) {
				t.Fatalf("derivative %d of tensor %d is %v, want %v", j, i, got, want)
			}
		}
	}
}

// TestOverrideIsWhatFollowsSees replaces states, which must reach the outputs, the next step and
// the derivatives.
func TestOverrideIsWhatFollowsSees(t *testing.T) {
	const seed, inputs, steps = 6, 2, 5
	n := randomNetwork(seed, inputs, []layerSize{{GRUResetAfter, 3}}, []denseSize{{Identity, 1}})
	x := normal(rand.New(rand.NewPCG(seed, 4)), steps*inputs)
	tape := n.NewTape(steps)
	given := []float64{0.25, -0.5, 0.75}
	y := tape.Forward(x, func(_, _ int, state, _ []float64) { copy(state, given) })
	want := n.Dense[0].B[0]
	for u, h := range given {
		want += n.Dense[0].W[u] * h
	}
	g := n.NewGradient()
	change := slices.Repeat([]float64{1}, steps)
	tape.Backward(change, g)
	for step := range steps {
		if math.Abs(y[step]-want) > 1e-15 {
			t.Errorf("step %d gives %v, want %v", step, y[step], want)
		}
	}
	for u, h := range given {
		if got := g.Weights.Dense[0].W[u]; math.Abs(got-steps*h) > 1e-15 {
			t.Errorf("derivative by head weight %d is %v, want %v", u, got, steps*h)
		}
	}
}

// TestBlockedSumsHaveTheBitsOfPlainOnes compares sums of four rows at once with plain ones.
// Checkpoints, goldens and other processors rely on equal bits.
func TestBlockedSumsHaveTheBitsOfPlainOnes(t *testing.T) {
	random := rand.New(rand.NewPCG(8, 1))
	for rows := range 14 {
		for columns := range 8 {
			factors, w, got := normal(random, rows), normal(random, rows*columns),
				normal(random, columns)
			want := slices.Clone(got)
			for r, f := range factors {
				for c := range want {
					want[c] += float64(f * w[r*columns+c])
				}
			}
			if addRows(got, factors, w); !slices.Equal(got, want) {
				t.Fatalf("%d rows of %d columns: %v, want %v", rows, columns, got, want)
			}
		}
	}
}

func TestSharesOfLargeScores(t *testing.T) {
	// exp(1000) does not fit, exp(0)/(exp(0)+exp(-ln 3)) = 3/4 does.
	shares := make([]float64, 2)
	logSum := Shares([]float64{1000, 1000 - math.Log(3)}, shares)
	if math.Abs(shares[0]-0.75) > 1e-12 || math.Abs(shares[1]-0.25) > 1e-12 ||
		math.Abs(logSum-1000-math.Log(4.0/3)) > 1e-12 {
		t.Errorf("shares %v, log of the sum %v", shares, logSum)
	}
}

func BenchmarkGradient(b *testing.B) {
	const inputs, units, outputs, steps = 20, 12, 2, 1000
	n := randomNetwork(1, inputs, []layerSize{{GRUResetAfter, units}},
		[]denseSize{{Identity, outputs}})
	random := rand.New(rand.NewPCG(1, 1))
	x, target := normal(random, steps*inputs), normal(random, steps*outputs)
	tape, g, change := n.NewTape(steps), n.NewGradient(), make([]float64, steps*outputs)
	for b.Loop() {
		SquaredError(tape.Forward(x, nil), target, []float64{1, 1}, change)
		tape.Backward(change, g)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/steps, "ns/step")
}
