package model

import "testing"

// blockOrder gives, for layouts with another order, the gate block that holds each of our blocks.
type blockOrder []int

var (
	gruFromZRH   = blockOrder{1, 0, 2}    // ONNX: z r h
	lstmFromIOFC = blockOrder{0, 2, 3, 1} // ONNX: i o f c
	oneBlock     = blockOrder{0}
)

// arrange copies blocks of equal size into our order.
func (o blockOrder) arrange(data []float64) []float64 {
	size := len(data) / len(o)
	var arranged []float64
	for _, block := range o {
		arranged = append(arranged, data[block*size:][:size]...)
	}
	return arranged
}

func TestForwardAgreesWithONNXReferenceCells(t *testing.T) {
	// Source: the reference cells of the onnx package 1.12.0 (testdata/vectors/README.md). One
	// layer, batch on the second axis.
	for _, c := range []struct {
		file  string
		kind  Kind
		order blockOrder
	}{
		{"op_gru_lbr0", GRUResetBefore, gruFromZRH},
		{"op_gru_lbr1", GRUResetAfter, gruFromZRH},
		{"op_lstm", LSTM, lstmFromIOFC},
		{"op_rnn", ElmanTanh, oneBlock},
	} {
		t.Run(c.file, func(t *testing.T) {
			v := readNPZ(t, c.file)
			units, bias := v["R"].Shape[2], v["B"].Data
			n := &Network{
				Recurrent: []*Recurrent{{Kind: c.kind, Inputs: v["W"].Shape[2], Units: units,
					W: c.order.arrange(v["W"].Data), U: c.order.arrange(v["R"].Data),
					B: c.order.arrange(bias[:len(bias)/2]),
					D: c.order.arrange(bias[len(bias)/2:])}},
				Dense: []*Dense{{Inputs: units, Outputs: 1, W: make([]float64, units),
					B: []float64{0}}},
			}
			if err := n.Validate(); err != nil {
				t.Fatal(err)
			}
			steps, sequences, inputs := v["X"].Shape[0], v["X"].Shape[1], v["X"].Shape[2]
			states := make([]float64, steps*sequences*units)
			run, y := n.NewRun(), make([]float64, 1)
			for s := range sequences {
				run.Reset()
				copy(run.State(0), v["initial_h"].Data[s*units:])
				if c.kind.HasCell() {
					copy(run.Cell(0), v["initial_c"].Data[s*units:])
				}
				for k := range steps {
					at := k*sequences + s
					run.Step(v["X"].Data[at*inputs:][:inputs], y)
					copy(states[at*units:], run.State(0))
				}
			}
			compare(t, "Y", states, v["Y"], float32Tolerance)
			compare(t, "Y_f64", states, v["Y_f64"], float64Tolerance)
		})
	}
}
