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
