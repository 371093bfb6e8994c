package model_test

import (
	"fmt"

	"kerf/model"
)

// lowPass is a network of one unit: the state goes half of the way to the feature at every step,
// and the output is 10 times the state plus 1.
func lowPass() *model.Network {
	return &model.Network{
		Recurrent: []*model.Recurrent{{
			Kind: model.ElmanReLU, Inputs: 1, Units: 1,
			W: []float64{0.5}, U: []float64{0.5}, B: []float64{0}, D: []float64{0},
		}},
		Dense: []*model.Dense{{Inputs: 1, Outputs: 1, W: []float64{10}, B: []float64{1}}},
	}
}

// A network is built from its layers, checked once, and run step by step.
func Example() {
	net := lowPass()
	if err := net.Validate(); err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(net)
	run := net.NewRun()
	y := make([]float64, net.Outputs())
	for range 3 {
		run.Step([]float64{1}, y)
		fmt.Printf("state %.3f, output %.2f\n", run.State(0)[0], y[0])
	}
	// Output:
	// Elman (ReLU) 1→1, dense 1→1
	// state 0.500, output 6.00
	// state 0.750, output 8.50
	// state 0.875, output 9.75
}

// A wrong network is refused with the place of the fault.
func ExampleNetwork_Validate() {
	net := lowPass()
	net.Recurrent[0].U = nil
	fmt.Println(net.Validate())
	// Output:
	// Recurrent[0].U: holds 0 values, expected 1
}

// FromTorch builds a network from named tensors. The shapes say that this is a GRU of two units on
// three features.
func ExampleFromTorch() {
	zeros := func(shape ...int) *model.Tensor {
		count := 1
		for _, d := range shape {
			count *= d
		}
		return &model.Tensor{Shape: shape, Data: make([]float64, count)}
	}
	net, err := model.FromTorch("in memory", map[string]*model.Tensor{
		"gru.weight_ih_l0": zeros(6, 3), "gru.weight_hh_l0": zeros(6, 2),
		"gru.bias_ih_l0": zeros(6), "gru.bias_hh_l0": zeros(6),
		"head.weight": zeros(1, 2), "head.bias": zeros(1),
	}, model.Spec{})
	fmt.Println(net, err)
	// Output:
	// GRU (reset-after) 3→2, dense 2→1 <nil>
}
