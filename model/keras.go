package model

import (
	"fmt"
	"slices"
	"strings"
)

// FromKeras builds a network from the arrays that get_weights() of a Keras model returns, in its
// order: kernel, recurrent_kernel and bias of every recurrent layer, then kernel and bias of every
// dense layer, where a bias may be left out. name is used in errors only.
//
// Most of a network follows from the shapes: four gate blocks are an LSTM, three a GRU, whose reset
// gate acts after the recurrent product if the bias has two rows and before it if it has one.
// spec.Layers must say the rest, one entry per layer first to last: the cell of a GRU without bias
// and of every SimpleRNN, and the activations of dense layers if there are several. A single dense
// layer without an entry gets no activation. Names in spec.Layers only help a reader of the job;
// spec.Convention is ignored.
//
// The arrays do not hold the activations of recurrent layers. FromKeras assumes the defaults of
// Keras 2 and 3: tanh, and sigmoid in the gates.
//
// Arrays of a wrong shape or with NaN or infinity give [ErrFormat]. Layers that are not
// handled, or that arrays and spec leave open, give [ErrUnsupported]. Source: Keras
// documentation and source of GRU, LSTM, SimpleRNN and Dense; gate order of a GRU z r h, of an LSTM
// i f c o.
func FromKeras(name string, arrays []*Tensor, spec Spec) (*Network, error) {
	k := &kerasArrays{file: place{file: name}, arrays: arrays, layers: spec.Layers, width: anySize,
		network: &Network{}}
	for k.next < len(arrays) {
		if err := k.layer(); err != nil {
			return nil, err
		}
	}
	n := k.network
	switch {
	case len(n.Recurrent) == 0:
		return nil, k.file.unsupported(kerasHint, "has no recurrent layer: the first two arrays "+
			"are no kernel and recurrent_kernel")
	case len(n.Dense) == 0:
		return nil, k.file.unsupported("the network must end with a Dense layer",
			"has no dense layer after the recurrent one")
	case len(spec.Layers) == 0 && len(n.Dense) > 1:
		return nil, k.file.unsaid(k.layersHint(), "has %d dense layers; the file does not "+
			"say their activations", len(n.Dense))
	case len(spec.Layers) != 0 && len(spec.Layers) != k.count:
		return nil, k.file.unsupported(k.layersHint(), "has %d layers, but %d are listed", k.count,
			len(spec.Layers))
	}
	return n, nil
}

// kerasHint says how to save a model whose arrays make no network.
const kerasHint = `save the arrays with numpy.savez("model.npz", *model.get_weights()); ` +
	"the model may hold GRU, LSTM, SimpleRNN and Dense layers with weights, and nothing else " +
	"with weights"

// kerasArrays makes layers of a list of arrays, from the front.
type kerasArrays struct {
	file    place
	arrays  []*Tensor
	next    int         // first array that belongs to no layer yet
	layers  []LayerSpec // of the spec
	count   int         // layers so far
	width   int         // results of the last of them
	network *Network
}

// array returns the place of an array, under the name that numpy.savez gives it.
func (k *kerasArrays) array(i int) place { return k.file.array(fmt.Sprintf("arr_%d", i)) }

// shape returns the shape of an array, or nil behind the last one.
func (k *kerasArrays) shape(i int) []int {
	if i >= len(k.arrays) {
		return nil
	}
	return k.arrays[i].Shape
}

// blocks returns the number of gates for which the next two arrays can be kernel and
// recurrent_kernel, or 0 if they cannot.
func (k *kerasArrays) blocks() int {
	kernel, recurrent := k.shape(k.next), k.shape(k.next+1)
	if len(kernel) != 2 || len(recurrent) != 2 || recurrent[0] < 1 || recurrent[1] != kernel[1] ||
		kernel[1]%recurrent[0] != 0 {
		return 0
	}
	return kernel[1] / recurrent[0]
}

// layer makes the next layer of the arrays.
func (k *kerasArrays) layer() error {
	var given LayerSpec
	if k.count < len(k.layers) {
		given = k.layers[k.count]
	}
	k.count++
	at := place{k.file.file, fmt.Sprintf("layer %d", k.count)}
	kind, err := given.kind(at)
	if err != nil {
		return err
	}
	activation, err := given.activation(at)
	if err != nil {
		return err
	}
	blocks := k.blocks()
	// Of all recurrent layers, two dense layers without bias can only be mistaken for an Elman
	// layer, because the second takes the results of the first.
	recurrent := kind != 0 || given.Activation == "" &&
		(blocks == GRUResetAfter.Gates() || blocks == LSTM.Gates() || blocks == 1 && k.count == 1)
	switch {
	case recurrent && given.Activation != "":
		return at.unsupported("the cell says the activations of a recurrent layer",
			"has a cell and an activation")
	case recurrent && len(k.network.Dense) > 0:
		return at.unsupported("put the recurrent layers first",
			"is a recurrent layer after a dense one")
	case recurrent && len(k.network.Recurrent) == maxRecurrent:
		return at.unsupported("train with fewer layers", "is recurrent layer %d, at most %d "+
			"are read", maxRecurrent+1, maxRecurrent)
	case recurrent:
		return k.recurrent(kind, blocks)
	}
	return k.dense(activation)
}

// kind returns the kind of a recurrent layer from its number of gate blocks and the array that is
// its bias, if it has one.
func (k *kerasArrays) kind(blocks, bias int) (Kind, error) {
	switch {
	case blocks == LSTM.Gates():
		return LSTM, nil
	case blocks == 1:
		return 0, k.file.unsaid(k.layersHint(), "layer %d is a SimpleRNN; the file does "+
			"not say whether it uses tanh or ReLU", k.count)
	case len(k.shape(bias)) == 1:
		return GRUResetBefore, nil
	case k.hasTwoRows(bias, k.shape(k.next)[1]):
		return GRUResetAfter, nil
	}
	return 0, k.file.unsaid(k.layersHint(), "layer %d is a GRU without bias; the file does "+
		"not say its reset_after", k.count)
}

// hasTwoRows reports whether an array is the bias of a GRU with reset_after: [2 × 3*units].
func (k *kerasArrays) hasTwoRows(bias, columns int) bool {
	return slices.Equal(k.shape(bias), []int{2, columns})
}

// kerasGates gives, by the number of gates, the block of a Keras layer that holds each of our gate
// blocks: Keras has z r h in a GRU and i f c o in an LSTM.
var kerasGates = map[int][]int{1: {0}, 3: {1, 0, 2}, 4: {0, 1, 2, 3}}

// recurrent adds the recurrent layer of the next two arrays, and of a third that can be its bias. A
// kind of 0 is inferred.
func (k *kerasArrays) recurrent(kind Kind, blocks int) error {
	kernel, recurrent, bias := k.next, k.next+1, k.next+2
	var err error
	if kind == 0 {
		if kind, err = k.kind(blocks, bias); err != nil {
			return err
		}
	}
	if gates := kind.Gates(); blocks != gates {
		return k.array(kernel).broken(kerasShapes, "has shape %s and the array after it %s, but "+
			"%q has kernel [inputs × %d*units] and recurrent_kernel [units × %[4]d*units]",
			formatShape(k.shape(kernel)), formatShape(k.shape(recurrent)), cellNames[kind], gates)
	}
	columns, units := k.shape(kernel)[1], k.shape(recurrent)[0]
	l := &Recurrent{Kind: kind, Units: units}
	if l.W, err = k.matrix(kernel, k.width, columns); err != nil {
		return err
	}
	l.Inputs = k.shape(kernel)[0]
	if l.U, err = k.matrix(recurrent, units, columns); err != nil {
		return err
	}
	order := kerasGates[blocks]
	l.W, l.U = arrange(l.W, order), arrange(l.U, order)
	k.next += 2
	l.B, l.D = make([]float64, columns), make([]float64, columns)
	switch {
	case len(k.shape(bias)) == 1:
		if kind == GRUResetAfter {
			return k.array(bias).broken(`a GRU with reset_after=False is the cell `+
				`"gru-reset-before"`, "has shape %s, but %q has a bias of shape [2 × %d]",
				formatShape(k.shape(bias)), cellNames[kind], columns)
		}
		if l.B, err = k.values(bias, columns); err != nil {
			return err
		}
		l.B = arrange(l.B, order)
		k.next++
	case blocks == GRUResetAfter.Gates() && k.hasTwoRows(bias, columns):
		if kind == GRUResetBefore {
			return k.array(bias).broken(`a GRU with reset_after=True is the cell "gru"`,
				"has shape %s, but %q has a bias of shape [%d]", formatShape(k.shape(bias)),
				cellNames[kind], columns)
		}
		both, err := k.values(bias, 2, columns)
		if err != nil {
			return err
		}
		l.B, l.D = arrange(both[:columns], order), arrange(both[columns:], order)
		k.next++
	}
	k.network.Recurrent = append(k.network.Recurrent, l)
	k.width = units
	return nil
}

// dense adds the dense layer of the next array, and of a second that can be its bias.
func (k *kerasArrays) dense(activation Activation) error {
	kernel, bias := k.next, k.next+1
	l := &Dense{Inputs: k.width, Activation: activation}
	var err error
	if l.W, err = k.matrix(kernel, k.width, anySize); err != nil {
		return err
	}
	l.Inputs, l.Outputs = k.shape(kernel)[0], k.shape(kernel)[1]
	l.B = make([]float64, l.Outputs)
	k.next++
	if len(k.shape(bias)) == 1 {
		if l.B, err = k.values(bias, l.Outputs); err != nil {
			return err
		}
		k.next++
	}
	k.network.Dense = append(k.network.Dense, l)
	k.width = l.Outputs
	return nil
}

// kerasShapes says which shapes the arrays of layers have.
const kerasShapes = "a recurrent layer has kernel [inputs × gates*units], recurrent_kernel " +
	"[units × gates*units] and bias, a Dense layer kernel [inputs × outputs] and bias; " +
	"gates is 3 for a GRU, 4 for an LSTM, 1 for a SimpleRNN; the inputs of a layer are the " +
	"results of the one before it"

func (k *kerasArrays) values(i int, shape ...int) ([]float64, error) {
	return k.arrays[i].checked(k.array(i), kerasShapes, shape)
}

// matrix returns the transpose of an array [rows × columns], because Keras computes x·K and this
// package W·x.
func (k *kerasArrays) matrix(i, rows, columns int) ([]float64, error) {
	values, err := k.values(i, rows, columns)
	if err != nil {
		return nil, err
	}
	rows, columns = k.shape(i)[0], k.shape(i)[1]
	out := make([]float64, 0, len(values))
	for c := range columns {
		for r := range rows {
			out = append(out, values[r*columns+c])
		}
	}
	return out, nil
}

// arrange copies gate blocks of equal size: block i of the result is block order[i] of the values.
func arrange(values []float64, order []int) []float64 {
	size := len(values) / len(order)
	out := make([]float64, 0, len(values))
	for _, block := range order {
		out = append(out, values[block*size:][:size]...)
	}
	return out
}

// layersHint shows how the job lists layers, and that it must list all of them.
func (k *kerasArrays) layersHint() string {
	var b strings.Builder
	b.WriteString("kerf init tries cells and activations on a recording; or list all layers " +
		"first to last in the job file, each as one of:")
	b.WriteString("\n    [[model.layer]]\n    cell = " + choice(cellNames[GRUResetAfter:]))
	b.WriteString("\n    [[model.layer]]\n    activation = " + choice(activationNames[:]))
	return b.String()
}
