package quant

import (
	"testing"

	"kerf/model"
)

// The last dense layer has a width of its own.
func TestUniformWidths(t *testing.T) {
	p := layered(1, []model.Kind{model.GRUResetAfter, model.ElmanTanh},
		[]model.Activation{model.ReLU, model.Identity})
	f := Uniform(p.Net, 4, 16, 32)
	if f.Dense[0] != 4 || f.Dense[1] != 16 || f.Layers[0] != (LayerFormats{4, 4, 32}) ||
		f.Layers[1] != (LayerFormats{4, 4, 16}) {
		t.Errorf("formats are %+v", f)
	}
}

// Formats in words: a width is said once where several parts share it.
func TestFormatsInWords(t *testing.T) {
	for want, f := range map[string]Formats{
		"int8 weights with int16 state, int16 head": Widths(8, 8, 16,
			16),
		"int4 input and int16 recurrent weights with int32 state, int8 head": Widths(4, 16, 8,
			32),
		"all layers int8 weights with int32 state, int4 dense, int8 head": {
			Layers: []LayerFormats{{8, 8, 32}, {8, 8, 32}}, Dense: []int{4, 8}},
		"int8 weights with int32 state, int8 weights with int16 state, int8 head": {
			Layers: []LayerFormats{{8, 8, 32}, {8, 8, 16}}, Dense: []int{8}},
	} {
		if got := f.String(); got != want {
			t.Errorf("the formats are %q, want %q", got, want)
		}
	}
}
