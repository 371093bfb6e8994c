package budget

import (
	"fmt"
	"slices"

	"kerf/fault"
	"kerf/model"
	"kerf/quant"
)

// FormatRule fixes word widths; what is left out is chosen.
type FormatRule struct {
	// All weights but those of the last layer have this width: "int4", "int8" or "int16". Default:
	// the width is chosen for every tensor.
	Weights string `toml:"weights"`

	// The state between two steps has this width: "int16" or "int32". Default: the width is chosen
	// for every layer.
	State string `toml:"state"`
}

// widths are the bits that the names of formats stand for.
var (
	weightWidths = map[string][]int{"": {8, 16}, "int4": {4}, "int8": {8}, "int16": {16}}
	stateWidths  = map[string][]int{"": {16, 32}, "int16": {16}, "int32": {32}}
)

// Check refuses word widths that are not available.
func (f FormatRule) Check() error {
	for _, of := range []struct {
		key, word string
		widths    map[string][]int
	}{{"weights", f.Weights, weightWidths}, {"state", f.State, stateWidths}} {
		if of.widths[of.word] == nil {
			known := slices.DeleteFunc(sortedKeys(of.widths), func(w string) bool {
				return w == ""
			})
			return fault.New(fmt.Sprintf("%s = %q is not available", of.key, of.word),
				fault.DidYouMeanOr(of.word, known, "weights are int4, int8 or int16, the state is "+
					"int16 or int32; what is left out is chosen"))
		}
	}
	return nil
}

// candidates lists the word widths that the job leaves open, cheapest first.
// The head is small and its rounding goes straight into the output: it is int16.
func (f FormatRule) candidates(net *model.Network) ([]quant.Formats, error) {
	if err := f.Check(); err != nil {
		return nil, err
	}
	var all []quant.Formats
	for _, w := range weightWidths[f.Weights] {
		for _, s := range stateWidths[f.State] {
			formats := quant.Uniform(net, w, headBits, s)
			if len(all) == 0 || formats.String() != all[len(all)-1].String() {
				all = append(all, formats)
			}
		}
	}
	return all, nil
}

// headBits is the word of the weights of the last layer.
const headBits = 16
