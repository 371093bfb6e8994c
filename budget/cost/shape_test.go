package cost

import (
	"reflect"
	"testing"

	"kerf/model"
	"kerf/quant"
	"kerf/targets"
)

func TestShapeText(t *testing.T) {
	shape := quant.Shape{
		Features: 17, Layers: []quant.LayerShape{{Kind: model.GRUResetAfter, Units: 13},
			{Kind: model.LSTM, Units: 4}},
		Dense: []quant.DenseShape{{Outputs: 5, Activation: model.ReLU},
			{Outputs: 2, Activation: model.Identity}},
		Formats: quant.Formats{
			Layers: []quant.LayerFormats{{InputBits: 8, RecurrentBits: 4, StateBits: 32},
				{InputBits: 16, RecurrentBits: 8, StateBits: 16}},
			Dense: []int{8, 16},
		},
	}
	const text = "17;gru_after:13:8:4:32;lstm:4:16:8:16;dense:5:8:relu;dense:2:16:identity"
	if got := ShapeText(shape); got != text {
		t.Errorf("written %s, want %s", got, text)
	}
	if got, err := ParseShape(text); err != nil || !reflect.DeepEqual(got, shape) {
		t.Errorf("read %+v, %v", got, err)
	}
}

func FuzzParseShape(f *testing.F) {
	f.Add("17;gru_after:13:8:8:16;dense:2:16:identity")
	f.Add("1;elman_relu:1:4:4:32;dense:1:8:tanh")
	f.Add(";;")
	f.Fuzz(func(t *testing.T, text string) {
		s, err := ParseShape(text)
		if err != nil {
			return
		}
		again, err := ParseShape(ShapeText(s))
		if err != nil || !reflect.DeepEqual(again, s) {
			t.Fatalf("%q became %+v, then %+v, %v", text, s, again, err)
		}
		// no shape that is read may panic the estimate
		for _, name := range []string{"cortex-m4f", "avr8"} {
			Of(s, core(t, name), targets.FlashWait{}, false, Fast)
		}
	})
}
