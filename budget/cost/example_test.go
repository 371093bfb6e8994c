package cost_test

import (
	"fmt"

	"kerf/budget/cost"
	"kerf/model"
	"kerf/quant"
	"kerf/targets"
)

// A network of 17 features, a GRU of 13 units and 2 outputs, with int8 weights in the layer and
// int16 weights behind it.
func ExampleOf() {
	core, err := targets.Load("cortex-m4f")
	if err != nil {
		panic(err)
	}
	shape := quant.Shape{
		Features: 17,
		Layers:   []quant.LayerShape{{Kind: model.GRUResetAfter, Units: 13}},
		Dense:    []quant.DenseShape{{Outputs: 2, Activation: model.Identity}},
		Formats: quant.Formats{
			Layers: []quant.LayerFormats{{InputBits: 8, RecurrentBits: 8, StateBits: 16}},
			Dense:  []int{16},
		},
	}
	weightsInRAM := false
	estimate := cost.Of(shape, core, targets.FlashWait{}, weightsInRAM, cost.Fast)
	for _, part := range estimate.Cycles {
		fmt.Printf("%-21s %4.0f cycles\n", part.Name, part.Cycles)
	}
	flash := estimate.Code + shape.WeightBytes() + shape.TableBytes()
	fmt.Printf("%.0f cycles in all, %d B of flash, %d B of stack\n", estimate.Total(), flash,
		estimate.Stack)
	// Output:
	// l0_input_products     1315 cycles
	// l0_recurrent_products 1115 cycles
	// l0_gates              1043 cycles
	// head                   157 cycles
	// call                    21 cycles
	// 3651 cycles in all, 3888 B of flash, 256 B of stack
}
