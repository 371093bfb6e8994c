package model

import (
	"fmt"
	"slices"
	"strings"

	"kerf/fault"
)

// Spec says what arrays in a file leave open: the order of modules, which cell a recurrent module
// follows and which activation stands after a dense one. With the zero Spec all of this must follow
// from the file, see [FromTorch] and [FromKeras].
type Spec struct {
	Convention string      // of names, gate order and layout: "torch" or "keras"
	Layers     []LayerSpec // every module of the file, first to last; empty to infer them
}

// LayerSpec is one module of a model file. A stacked recurrent module is one entry, however many
// layers it has.
type LayerSpec struct {
	// Name is the module's name in the file: the part before ".weight_ih_l0" or ".weight" of its
	// tensors' names. It is empty where those names have no such part. Arrays of get_weights() have
	// no names; there Name only helps a reader of the job.
	Name string
	// Cell names the kind of a recurrent module: "gru" (reset-after), "gru-reset-before", "lstm",
	// "elman-tanh" or "elman-relu". Left empty, three gate blocks mean "gru" and four "lstm". It is
	// empty for a dense module.
	Cell string
	// Activation follows a dense module: "identity" (also when left empty), "relu", "tanh" or
	// "logistic". It is empty for a recurrent module.
	Activation string
}

// cellNames are the values of [LayerSpec.Cell]; the first, "", means that the cell is inferred.
var cellNames = [...]string{
	GRUResetAfter: "gru", GRUResetBefore: "gru-reset-before", LSTM: "lstm", ElmanTanh: "elman-tanh",
	ElmanReLU: "elman-relu",
}

// activationNames are the values of [LayerSpec.Activation].
var activationNames = [...]string{Identity: "identity", ReLU: "relu", Tanh: "tanh",
	Logistic: "logistic"}

// kind returns the kind that the entry names, or 0 for an empty cell.
func (l LayerSpec) kind(at place) (Kind, error) {
	k := slices.Index(cellNames[:], l.Cell)
	if k < 0 {
		return 0, at.unsupported(fault.DidYouMeanOr(l.Cell, cellNames[1:],
			"known are "+quoteAll(cellNames[1:])), "unknown cell %q", l.Cell)
	}
	return Kind(k), nil
}

// activation returns the activation that the entry names.
func (l LayerSpec) activation(at place) (Activation, error) {
	if l.Activation == "" {
		return Identity, nil
	}
	a := slices.Index(activationNames[:], l.Activation)
	if a < 0 {
		return 0, at.unsupported(fault.DidYouMeanOr(l.Activation, activationNames[:],
			"known are "+quoteAll(activationNames[:])), "unknown activation %q",
			l.Activation)
	}
	return Activation(a), nil
}

// quoteAll lists words as "a", "b", "c".
func quoteAll(words []string) string {
	quoted := make([]string, len(words))
	for i, w := range words {
		quoted[i] = fmt.Sprintf("%q", w)
	}
	return strings.Join(quoted, ", ")
}
