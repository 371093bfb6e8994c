package model

import (
	"fmt"
	"slices"
	"strings"
)

// The values of [Variant.What]: properties of a network that a model file may leave open, or that
// may be read wrongly.
const (
	VariantActivation = "activation"            // of a dense layer
	VariantCell       = "cell"                  // of an Elman layer: tanh or ReLU
	VariantReset      = "reset gate"            // of a GRU: before or after the product
	VariantGates      = "gate order"            // of the blocks in a recurrent layer
	VariantTransposed = "transposed weights"    // of square matrices
	VariantOrder      = "order of dense layers" // of the same shape
)

// Variant is a network of the same weights, read in another way.
type Variant struct {
	What    string // one of the constants above
	How     string // the other way, in words
	Network *Network
}

// Variants lists the networks that the same weights give when they are read in another way that
// fits their shapes: other activations of dense layers, the other cell of the same number of gates,
// other orders of the gate blocks, square matrices transposed, dense layers in another order. Each
// differs from n in one respect, in all layers that have it.
func (n *Network) Variants() []Variant {
	return slices.Concat(n.activationVariants(), n.cellVariants(), n.gateVariants(),
		n.transposedVariants(), n.orderVariants())
}

// activationVariants returns networks with another activation in one dense layer, or with one
// activation in all dense layers but the last.
func (n *Network) activationVariants() []Variant {
	var all []Variant
	hidden := len(n.Dense) - 1
	for a := Identity; a.known(); a++ {
		for i, d := range n.Dense {
			if d.Activation == a {
				continue
			}
			v := n.Clone()
			v.Dense[i].Activation = a
			all = append(all, Variant{VariantActivation, fmt.Sprintf("%s in place of %s behind "+
				"dense layer %d of %d", a, d.Activation, i+1, len(n.Dense)), v})
		}
		if hidden < 2 || !slices.ContainsFunc(n.Dense[:hidden], func(d *Dense) bool {
			return d.Activation != a
		}) {
			continue
		}
		v := n.Clone()
		for _, d := range v.Dense[:hidden] {
			d.Activation = a
		}
		all = append(all, Variant{VariantActivation, fmt.Sprintf("%s behind every dense layer "+
			"but the last", a), v})
	}
	return all
}

// cellVariants returns networks with a kind of recurrent layer exchanged for the other one with
// weights of the same shape.
func (n *Network) cellVariants() []Variant {
	other := map[Kind]Kind{ElmanTanh: ElmanReLU, ElmanReLU: ElmanTanh,
		GRUResetAfter: GRUResetBefore, GRUResetBefore: GRUResetAfter}
	var all []Variant
	for _, kind := range n.kindsUsed() {
		to, ok := other[kind]
		if !ok {
			continue
		}
		v := n.Clone()
		for _, l := range v.Recurrent {
			if l.Kind == kind {
				l.Kind = to
			}
		}
		what := VariantCell
		if kind == GRUResetAfter || kind == GRUResetBefore {
			what = VariantReset
		}
		all = append(all,
			Variant{what, fmt.Sprintf("%s in place of %s", cellNames[to], cellNames[kind]), v})
	}
	return all
}

// kindsUsed lists the kinds of the recurrent layers, each once.
func (n *Network) kindsUsed() []Kind {
	var kinds []Kind
	for _, l := range n.Recurrent {
		if !slices.Contains(kinds, l.Kind) {
			kinds = append(kinds, l.Kind)
		}
	}
	return kinds
}

// gateLetters returns the letters of the gate blocks of a kind in the order of [Recurrent].
func gateLetters(k Kind) string {
	switch k {
	case LSTM:
		return "ifgo"
	case GRUResetAfter, GRUResetBefore:
		return "rzn"
	}
	return "h"
}

// gateVariants returns networks with the gate blocks in every other order.
func (n *Network) gateVariants() []Variant {
	var all []Variant
	for _, kind := range n.kindsUsed() {
		letters := gateLetters(kind)
		for _, order := range permutations(len(letters))[1:] {
			v := n.Clone()
			for _, l := range v.Recurrent {
				if l.Kind == kind {
					l.W, l.U, l.B, l.D = arrange(l.W, order), arrange(l.U, order),
						arrange(l.B, order), arrange(l.D, order)
				}
			}
			// Block k of the network is block order[k] of what was read; so the file has the gate
			// letters[k] at place order[k].
			file := make([]string, len(letters))
			for k, place := range order {
				file[place] = letters[k : k+1]
			}
			all = append(all,
				Variant{VariantGates, fmt.Sprintf("gates in the order %s, read as %s",
					strings.Join(file, " "), strings.Join(strings.Split(letters, ""), " ")), v})
		}
	}
	return all
}

// permutations lists the orders of n places, the identity first.
func permutations(n int) [][]int {
	if n == 0 {
		return [][]int{{}}
	}
	var all [][]int
	for _, rest := range permutations(n - 1) {
		for at := len(rest); at >= 0; at-- {
			all = append(all, slices.Insert(slices.Clone(rest), at, n-1))
		}
	}
	slices.SortStableFunc(all, slices.Compare[[]int])
	return all
}

// transposedVariants returns networks with square matrices transposed: the recurrent weights gate
// by gate, the input weights of layers with as many inputs as units, both, each square dense layer,
// and all together.
func (n *Network) transposedVariants() []Variant {
	var all []Variant
	turn := func(what string, which func(v *Network) (turned bool)) {
		v := n.Clone()
		if which(v) {
			all = append(all, Variant{VariantTransposed, what, v})
		}
	}
	recurrent := func(v *Network) bool {
		turned := false
		for _, l := range v.Recurrent {
			turned = transposeBlocks(l.U, l.Units) || turned
		}
		return turned
	}
	input := func(v *Network) bool {
		turned := false
		for _, l := range v.Recurrent {
			turned = l.Inputs == l.Units && transposeBlocks(l.W, l.Units) || turned
		}
		return turned
	}
	turn("recurrent weights transposed", recurrent)
	turn("square input weights transposed", input)
	turn("recurrent and square input weights transposed", func(v *Network) bool {
		turned := input(v)
		return recurrent(v) && turned
	})
	for i, d := range n.Dense {
		turn(fmt.Sprintf("weights of dense layer %d transposed", i+1), func(v *Network) bool {
			return d.Inputs == d.Outputs && transposeBlocks(v.Dense[i].W, d.Inputs)
		})
	}
	turn("every square matrix transposed", func(v *Network) bool {
		turned := false
		for _, d := range v.Dense {
			turned = d.Inputs == d.Outputs && transposeBlocks(d.W, d.Inputs) || turned
		}
		input(v)
		return recurrent(v) && turned
	})
	return all
}

// transposeBlocks transposes square blocks of the given size that stand one below the other, and
// reports whether that changes any value.
func transposeBlocks(w []float64, size int) bool {
	changed := false
	for block := range slices.Chunk(w, size*size) {
		for r := range size {
			for c := range r {
				changed = changed || block[r*size+c] != block[c*size+r]
				block[r*size+c], block[c*size+r] = block[c*size+r], block[r*size+c]
			}
		}
	}
	return changed
}

// orderVariants returns networks with two dense layers of the same shape exchanged, with their
// activations and without.
func (n *Network) orderVariants() []Variant {
	var all []Variant
	for j, b := range n.Dense {
		for i, a := range n.Dense[:j] {
			if a.Inputs != b.Inputs || a.Outputs != b.Outputs {
				continue
			}
			how := fmt.Sprintf("dense layers %d and %d exchanged", i+1, j+1)
			v := n.Clone()
			v.Dense[i], v.Dense[j] = v.Dense[j], v.Dense[i]
			all = append(all, Variant{VariantOrder, how, v})
			if a.Activation != b.Activation {
				v = v.Clone()
				v.Dense[i].Activation, v.Dense[j].Activation = a.Activation, b.Activation
				all = append(all,
					Variant{VariantOrder, how + ", activations left where they are", v})
			}
		}
	}
	return all
}
