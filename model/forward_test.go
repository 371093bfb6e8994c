package model

import (
	"math"
	"testing"
)

// Tolerances from the README in testdata/vectors: torch in float32 is a few 1e-7 off the exact
// value, in float64 about 1e-15 per operation.
const (
	float32Tolerance = 1e-5
	float64Tolerance = 1e-12
)

func TestForwardAgreesWithTorch(t *testing.T) {
	// Source: torch 1.13, nn.GRU, nn.LSTM, nn.RNN and nn.Linear (testdata/vectors/README.md).
	for _, name := range []string{
		"gru_1layer", "gru_1layer_nobias", "gru_1layer_dense", "gru_2layer", "gru_2layer_nobias",
		"lstm_1layer", "lstm_2layer", "rnn_tanh", "rnn_relu",
	} {
		t.Run(name, func(t *testing.T) {
			v := readNPZ(t, name)
			n := fromTorch(t, v, vectorSpec(name))
			if err := n.Validate(); err != nil {
				t.Fatal(err)
			}
			withStart := replay(n, v["input"], v["h0"], v["c0"])
			compare(t, "output_seq", withStart.outputs, v["output_seq"], float32Tolerance)
			compare(t, "rnn_output", withStart.states, v["rnn_output"], float32Tolerance)
			compare(t, "h_final", withStart.final, v["h_final"], float32Tolerance)
			compare(t, "output_seq_f64", withStart.outputs, v["output_seq_f64"], float64Tolerance)
			compare(t, "rnn_output_f64", withStart.states, v["rnn_output_f64"], float64Tolerance)
			if n.Recurrent[0].Kind.HasCell() {
				compare(t, "c_final", withStart.finalCell, v["c_final"], float32Tolerance)
			}
			fromZero := replay(n, v["input"], nil, nil)
			compare(t, "output_seq_zero_state", fromZero.outputs, v["output_seq_zero_state"],
				float32Tolerance)
		})
	}
}

// replayed holds the arrays that torch calls output_seq and rnn_output [sequences, steps, values],
// h_final and c_final [layers, sequences, units].
type replayed struct{ outputs, states, final, finalCell []float64 }

// replay runs a network whose recurrent layers have one width. Start states may be nil.
func replay(n *Network, input, h0, c0 *Tensor) replayed {
	sequences, steps, inputs := input.Shape[0], input.Shape[1], input.Shape[2]
	units, layers := n.Recurrent[0].Units, len(n.Recurrent)
	out := replayed{final: make([]float64, layers*sequences*units),
		finalCell: make([]float64, layers*sequences*units)}
	run := n.NewRun()
	y := make([]float64, n.Outputs())
	for s := range sequences {
		run.Reset()
		for l := range layers {
			if h0 != nil {
				copy(run.State(l), h0.Data[(l*sequences+s)*units:])
			}
			if c0 != nil {
				copy(run.Cell(l), c0.Data[(l*sequences+s)*units:])
			}
		}
		for k := range steps {
			run.Step(input.Data[(s*steps+k)*inputs:][:inputs], y)
			out.outputs = append(out.outputs, y...)
			out.states = append(out.states, run.State(layers-1)...)
		}
		for l := range layers {
			copy(out.final[(l*sequences+s)*units:], run.State(l))
			copy(out.finalCell[(l*sequences+s)*units:], run.Cell(l))
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
