package lanes_test

import (
	"fmt"

	"kerf/model"
	"kerf/model/lanes"
)

// Eight sequences run through one network, each in a lane of its own.
func Example() {
	// The state goes half of the way to the feature at every step; the output is 10 times the
	// state.
	program := lanes.Compile(&model.Network{
		Recurrent: []*model.Recurrent{{
			Kind: model.ElmanReLU, Inputs: 1, Units: 1,
			W: []float64{0.5}, U: []float64{0.5}, B: []float64{0}, D: []float64{0},
		}},
		Dense: []*model.Dense{{Inputs: 1, Outputs: 1, W: []float64{10}, B: []float64{0}}},
	})
	state := program.NewState()
	for range 2 {
		for lane := range lanes.Width {
			state.Input()[lane] = float32(lane)
		}
		state.Step()
		fmt.Println(state.Output())
	}
	// Output:
	// [0 5 10 15 20 25 30 35]
	// [0 7.5 15 22.5 30 37.5 45 52.5]
}

// The derivatives of a squared error by every weight come from the tape of a segment.
func ExampleTape() {
	net := &model.Network{
		Recurrent: []*model.Recurrent{{
			Kind: model.ElmanReLU, Inputs: 1, Units: 1,
			W: []float64{0.5}, U: []float64{0.5}, B: []float64{0}, D: []float64{0},
		}},
		Dense: []*model.Dense{{Inputs: 1, Outputs: 1, W: []float64{10}, B: []float64{1}}},
	}
	tape, gradient := lanes.NewTape(net, 2), net.Clone()
	want := []float32{6, 9}
	for step := range 2 {
		tape.Input(step)[0] = 1 // the other seven lanes stay at 0, and have no loss
	}
	tape.Forward(2)
	for step, w := range want {
		y := tape.Output(step)[0]
		tape.Change(step)[0] = 2 * (y - w)
		fmt.Printf("output %.1f, want %.1f\n", y, w)
	}
	tape.Backward(gradient, false)
	fmt.Printf("by the weight of the head %.2f, by its bias %.2f\n",
		gradient.Dense[0].W[0], gradient.Dense[0].B[0])
	// Output:
	// output 6.0, want 6.0
	// output 8.5, want 9.0
	// by the weight of the head -0.75, by its bias -1.00
}
