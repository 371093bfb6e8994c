package quant

import (
	"fmt"
	"slices"
	"strings"

	"kerf/model"
)

// Formats holds the word widths of a fixed-point network, in bits.
type Formats struct {
	Layers []LayerFormats // one per recurrent layer
	Dense  []int          // word of the weights of each dense layer: 4, 8 or 16
}

// LayerFormats holds the word widths of one recurrent layer, in bits.
type LayerFormats struct {
	InputBits     int // weights from the inputs: 4, 8 or 16
	RecurrentBits int // weights from the state: 4, 8 or 16
	StateBits     int // what is kept between steps (GRU: h, LSTM: c): 16 or 32; Elman: 16
}

// Uniform returns formats with one width of all weights but those of the last dense layer, which
// have headBits, and with one width of the state of all layers that have the choice.
func Uniform(net *model.Network, weightBits, headBits, stateBits int) Formats {
	var f Formats
	for _, l := range net.Recurrent {
		state := stateBits
		if !hasWideState(l.Kind) {
			state = 16
		}
		f.Layers = append(f.Layers, LayerFormats{weightBits, weightBits, state})
	}
	for i := range net.Dense {
		bits := weightBits
		if i == len(net.Dense)-1 {
			bits = headBits
		}
		f.Dense = append(f.Dense, bits)
	}
	return f
}

// hasWideState reports whether a 32-bit state is available to a kind of layer. An Elman state is
// computed anew in every step and keeps nothing, so it is not.
func hasWideState(k model.Kind) bool {
	return k != model.ElmanTanh && k != model.ElmanReLU
}

// Clone returns formats that share no memory with f.
func (f Formats) Clone() Formats {
	return Formats{Layers: slices.Clone(f.Layers), Dense: slices.Clone(f.Dense)}
}

// String returns the formats in words.
func (f Formats) String() string {
	var parts []string
	for _, l := range f.Layers {
		weights := fmt.Sprintf("int%d weights", l.InputBits)
		if l.RecurrentBits != l.InputBits {
			weights = fmt.Sprintf("int%d input and int%d recurrent weights", l.InputBits,
				l.RecurrentBits)
		}
		parts = append(parts, fmt.Sprintf("%s with int%d state", weights, l.StateBits))
	}
	if len(parts) > 1 && allEqual(parts) {
		parts = []string{"all layers " + parts[0]}
	}
	for i, bits := range f.Dense {
		name := "head"
		if i < len(f.Dense)-1 {
			name = "dense"
		}
		parts = append(parts, fmt.Sprintf("int%d %s", bits, name))
	}
	return strings.Join(parts, ", ")
}

// allEqual reports whether all texts are the same.
func allEqual(parts []string) bool {
	for _, p := range parts {
		if p != parts[0] {
			return false
		}
	}
	return true
}

// Validate returns an error if the integer engine does not have the widths for a network.
func (f Formats) Validate(net *model.Network) error {
	if len(f.Layers) != len(net.Recurrent) || len(f.Dense) != len(net.Dense) {
		return fmt.Errorf("formats for %d recurrent and %d dense layers, the network has %d and %d",
			len(f.Layers), len(f.Dense), len(net.Recurrent), len(net.Dense))
	}
	words := slices.Clone(f.Dense)
	for i, l := range f.Layers {
		words = append(words, l.InputBits, l.RecurrentBits)
		if l.StateBits != 16 && (l.StateBits != 32 || !hasWideState(net.Recurrent[i].Kind)) {
			return fmt.Errorf("a state of %d bits is not available for layer %d, %s", l.StateBits,
				i, net.Recurrent[i].Kind)
		}
	}
	for _, bits := range words {
		if bits != 4 && bits != 8 && bits != 16 {
			return fmt.Errorf("weights of %d bits are not available: choose 4, 8 or 16", bits)
		}
	}
	return nil
}
