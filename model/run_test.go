package model

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Tolerances of the README in testdata/vectors: float32 torch is a few 1e-7 away from exact, its float64 about 1e-15 an operation.
const (
	float32Tolerance = 1e-5
	float64Tolerance = 1e-12
)

func TestForwardAgreesWithTorch(t *testing.T) {
	// Source: torch 1.13, nn.GRU and nn.Linear (testdata/vectors/README.md).
	for _, name := range []string{"gru_1layer", "gru_1layer_nobias", "gru_2layer"} {
		t.Run(name, func(t *testing.T) {
			v := readNPZ(t, name)
			n := stackedNetwork(v)
			if err := n.Validate(); err != nil {
				t.Fatal(err)
			}
			withStart := replay(n, v["input"], v["h0"])
			compare(t, "output_seq", withStart.outputs, v["output_seq"], float32Tolerance)
			compare(t, "rnn_output", withStart.states, v["rnn_output"], float32Tolerance)
			compare(t, "h_final", withStart.final, v["h_final"], float32Tolerance)
			compare(t, "output_seq_f64", withStart.outputs, v["output_seq_f64"], float64Tolerance)
			compare(t, "rnn_output_f64", withStart.states, v["rnn_output_f64"], float64Tolerance)
			fromZero := replay(n, v["input"], nil)
			compare(t, "output_seq_zero_state", fromZero.outputs, v["output_seq_zero_state"], float32Tolerance)
		})
	}
}

// stackedNetwork builds the network of a vector file without FromTorch, which refuses stacked layers.
func stackedNetwork(v map[string]*Tensor) *Network {
	n := &Network{}
	for _, k := range []string{"0", "1"} {
		w, u := v["rnn.weight_ih_l"+k], v["rnn.weight_hh_l"+k]
		if w == nil {
			break
		}
		l := &Recurrent{Kind: GRUResetAfter, Inputs: w.Shape[1], Units: u.Shape[1], W: w.Data, U: u.Data}
		l.B, l.D = make([]float64, w.Shape[0]), make([]float64, w.Shape[0])
		if b := v["rnn.bias_ih_l"+k]; b != nil {
			l.B, l.D = b.Data, v["rnn.bias_hh_l"+k].Data
		}
		n.Recurrent = append(n.Recurrent, l)
	}
	head := v["head.weight"]
	n.Dense = []*Dense{{Inputs: head.Shape[1], Outputs: head.Shape[0], W: head.Data, B: v["head.bias"].Data}}
	return n
}

// replayed holds what torch calls output_seq and rnn_output [sequences, steps, values] and h_final [layers, sequences, units].
type replayed struct{ outputs, states, final []float64 }

func replay(n *Network, input, h0 *Tensor) replayed {
	sequences, steps, inputs := input.Shape[0], input.Shape[1], input.Shape[2]
	units, layers := n.Units(), len(n.Recurrent)
	out := replayed{final: make([]float64, layers*sequences*units)}
	run := n.NewRun()
	y := make([]float64, n.Outputs())
	for s := range sequences {
		run.Reset()
		for l := range layers {
			if h0 != nil {
				copy(run.State(l), h0.Data[(l*sequences+s)*units:])
			}
		}
		for k := range steps {
			run.Step(input.Data[(s*steps+k)*inputs:][:inputs], y)
			out.outputs = append(out.outputs, y...)
			out.states = append(out.states, run.State(layers-1)...)
		}
		for l := range layers {
			copy(out.final[(l*sequences+s)*units:], run.State(l))
		}
	}
	return out
}

func compare(t *testing.T, what string, got []float64, want *Tensor, tolerance float64) {
	t.Helper()
	if len(got) != len(want.Data) {
		t.Fatalf("%s: got %d values, want %d", what, len(got), len(want.Data))
	}
	worst := 0.0
	for i, w := range want.Data {
		d := math.Abs(got[i] - w)
		if !(d <= tolerance) {
			t.Fatalf("%s[%d]: got %v, want %v, difference %.2g", what, i, got[i], w, d)
		}
		worst = max(worst, d)
	}
	t.Logf("%s: largest difference %.2g", what, worst)
}

func TestDenseChain(t *testing.T) {
	// Two linear layers are one: their product, by hand.
	n := fromTorch(t, readSafetensors(t, "gru_1layer"))
	chain := n.Clone()
	chain.Dense = append(chain.Dense, &Dense{Inputs: 2, Outputs: 1, W: []float64{2, -1}, B: []float64{0.5}})
	if err := chain.Validate(); err != nil {
		t.Fatal(err)
	}
	x, y2, y1 := []float64{1, -1, 0.5, 2, 0}, make([]float64, 2), make([]float64, 1)
	n.NewRun().Step(x, y2)
	chain.NewRun().Step(x, y1)
	if want := 2*y2[0] - y2[1] + 0.5; math.Abs(y1[0]-want) > 1e-15 {
		t.Errorf("got %v, want %v", y1[0], want)
	}
}

func TestGatesMakeTheState(t *testing.T) {
	n := fromTorch(t, readSafetensors(t, "gru_1layer"))
	run := n.NewRun()
	x, y := []float64{1, -1, 0.5, 2, 0}, make([]float64, 2)
	run.Step(x, y)
	before := append([]float64{}, run.State(0)...)
	run.Step(x, y)
	reset, update, candidate := run.Gates(0)
	l := n.Recurrent[0]
	for u, h := range run.State(0) {
		if want := (1-update[u])*candidate[u] + update[u]*before[u]; math.Abs(h-want) > 1e-15 {
			t.Errorf("unit %d: state %v, want %v from the gates", u, h, want)
		}
		a := l.B[u] + l.D[u] // the first block of rows is the reset gate
		for i, v := range x {
			a += l.W[u*l.Inputs+i] * v
		}
		for i, v := range before {
			a += l.U[u*l.Units+i] * v
		}
		if want := 1 / (1 + math.Exp(-a)); math.Abs(reset[u]-want) > 1e-14 {
			t.Errorf("unit %d: reset gate %v, want %v", u, reset[u], want)
		}
	}
}

func TestStepAllocatesNothing(t *testing.T) {
	n := fromTorch(t, readSafetensors(t, "gru_1layer"))
	run, x, y := n.NewRun(), make([]float64, 5), make([]float64, 2)
	if count := testing.AllocsPerRun(100, func() { run.Step(x, y) }); count != 0 {
		t.Errorf("a step allocates %v times", count)
	}
}

func TestStepPanicsOnWrongLength(t *testing.T) {
	run := fromTorch(t, readSafetensors(t, "gru_1layer")).NewRun()
	for _, size := range [][2]int{{4, 2}, {6, 2}, {5, 1}, {5, 3}} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("no panic for %d features and %d outputs", size[0], size[1])
				}
			}()
			run.Step(make([]float64, size[0]), make([]float64, size[1]))
		}()
	}
}

func TestAffineKeepsTheOrderOfSums(t *testing.T) {
	const seed = 7
	random := rand.New(rand.NewPCG(seed, seed))
	for rows := range 10 { // around the block of four
		for columns := range 6 {
			w, x, b := make([]float64, rows*columns), make([]float64, columns), make([]float64, rows)
			for _, s := range [][]float64{w, x, b} {
				for i := range s {
					s[i] = random.NormFloat64()
				}
			}
			y := make([]float64, rows)
			affine(y, w, x, b)
			for i := range y {
				want := b[i]
				for j := range x {
					want += float64(w[i*columns+j] * x[j])
				}
				if y[i] != want {
					t.Errorf("seed %d, %d × %d, row %d: got %v, want exactly %v", seed, rows, columns, i, y[i], want)
				}
			}
		}
	}
}

func TestLogistic(t *testing.T) {
	// s(ln 3) = 3/4 and s(-ln 3) = 1/4 by the definition 1/(1+exp(-x)).
	for _, c := range []struct{ x, want, tolerance float64 }{
		{0, 0.5, 0}, {math.Log(3), 0.75, 1e-15}, {-math.Log(3), 0.25, 1e-15},
		{1e300, 1, 0}, {-1e300, 0, 0}, {math.Inf(1), 1, 0}, {math.Inf(-1), 0, 0},
	} {
		if got := logistic(c.x); !(math.Abs(got-c.want) <= c.tolerance) {
			t.Errorf("logistic(%v) = %v, want %v", c.x, got, c.want)
		}
	}
	// Far below zero the function is exp(x) to full precision, although 1+exp(-x) has overflowed at -710.
	for _, x := range []float64{-40, -300, -700, -720} {
		if got, want := logistic(x), math.Exp(x); math.Abs(got/want-1) > 1e-12 {
			t.Errorf("logistic(%v) = %v, want %v", x, got, want)
		}
	}
}

func BenchmarkStep(b *testing.B) {
	// The size of the demo network: 19 features, 24 units, 2 outputs.
	const inputs, units, outputs, rows = 19, 24, 2, 3 * 24
	random := rand.New(rand.NewPCG(1, 1))
	normal := func(size int) []float64 {
		s := make([]float64, size)
		for i := range s {
			s[i] = random.NormFloat64() / 5
		}
		return s
	}
	n := &Network{
		Recurrent: []*Recurrent{{Kind: GRUResetAfter, Inputs: inputs, Units: units,
			W: normal(rows * inputs), U: normal(rows * units), B: normal(rows), D: normal(rows)}},
		Dense: []*Dense{{Inputs: units, Outputs: outputs, W: normal(outputs * units), B: normal(outputs)}},
	}
	run, y := n.NewRun(), make([]float64, outputs)
	const steps = 64
	x := normal(steps * inputs)
	k := 0
	for b.Loop() {
		run.Step(x[k*inputs:][:inputs], y)
		k = (k + 1) % steps
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "steps/s")
}
