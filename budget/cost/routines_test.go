package cost

import (
	"testing"

	"kerf/model"
	"kerf/quant"
)

// Three rows at a time, with no size to save: a routine of int8 rows that one place needs is part
// of it, and so it is where columns differ; two places with the same number of columns call it.
// Four rows leave one that stands alone.
func TestARoutineOfOnePlaceIsPartOfIt(t *testing.T) {
	for _, c := range []struct {
		name   string
		shape  quant.Shape
		isPart bool
	}{
		{"one dense layer of 4 rows",
			quant.Shape{Features: 3,
				Layers: []quant.LayerShape{{Kind: model.GRUResetAfter, Units: 3}},
				Dense:  []quant.DenseShape{{Outputs: 4}, {Outputs: 1}},
				Formats: quant.Formats{Layers: []quant.LayerFormats{{InputBits: 8, RecurrentBits: 8,
					StateBits: 16}}, Dense: []int{8, 16}}}, true},
		{"a layer of 4 rows, 3 and 4 columns",
			quant.Shape{Features: 3, Layers: []quant.LayerShape{{Kind: model.ElmanTanh, Units: 4}},
				Dense: []quant.DenseShape{{Outputs: 1}},
				Formats: quant.Formats{Layers: []quant.LayerFormats{{InputBits: 8, RecurrentBits: 8,
					StateBits: 16}}, Dense: []int{16}}}, true},
		{"a layer of 4 rows, 4 columns twice",
			quant.Shape{Features: 4, Layers: []quant.LayerShape{{Kind: model.ElmanTanh, Units: 4}},
				Dense: []quant.DenseShape{{Outputs: 1}},
				Formats: quant.Formats{Layers: []quant.LayerFormats{{InputBits: 8, RecurrentBits: 8,
					StateBits: 16}}, Dense: []int{16}}}, false},
	} {
		isPart := newCounter(c.shape, "armv7m").isInside[routine{readRow, 8}]
		if isPart != c.isPart {
			t.Errorf("%s: it is part of it: %v, want %v", c.name, isPart, c.isPart)
		}
	}
}
