package model

import (
	"cmp"
	"errors"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"
)

// Reading is one way to understand a model file.
type Reading struct {
	Spec Spec
	// Usual says that the reading takes only what its convention says where a file is silent: a
	// GRU of torch has the reset gate after the product, and nothing follows the last layer.
	Usual bool
	// Inferred says that the convention alone, without layers, reads the file in the same way.
	Inferred        bool
	Inputs, Outputs int // of the network

	complete *Import // of a file that leaves nothing open; nil of arrays
	read     func(Spec) (*Network, error)
}

// Import reads the network of the file in this way. It panics if the file was never read so.
func (r Reading) Import() *Import {
	if r.complete != nil {
		return r.complete
	}
	n, err := r.read(r.Spec)
	if err != nil {
		panic(fmt.Sprintf("model: a reading of %s fails: %v", r.Spec, err))
	}
	return &Import{Network: n}
}

// ActivatesOutputs reports whether the reading has an activation behind the last layer.
func (r Reading) ActivatesOutputs() bool {
	n := len(r.Spec.Layers)
	return n > 0 && !slices.Contains([]string{"", activationNames[Identity]},
		r.Spec.Layers[n-1].Activation)
}

const (
	// mostReadings is the most that [Readings] lists. Our choice: a caller runs a network for each
	// of them. With three dense layers, two of one shape, and two GRUs of one shape there are 512.
	mostReadings = 4096
	// mostStacks is the most beginnings of stacks of layers that are looked at; our choice.
	mostStacks = 20_000
)

// Readings lists the ways to read a file: one of an ONNX file, which says all itself. Of arrays
// they are all that fit the shapes, the usual ones first: every order of modules, every cell, and
// every activation behind the dense layers, see [Reading.Usual]. The names of the arrays say the
// convention: torch's recurrent layers have a weight_ih_l0, and numpy.savez names the arrays of
// get_weights() arr_0, arr_1 and so on. Where all are more than four thousand, only the usual ones
// are listed.
//
// Errors are those of [ImportFile]. They are of kind [ErrUnsupported] where no reading fits, or
// where even the usual ones are more than four thousand. No hint is about a job.
func Readings(path string) ([]Reading, error) {
	at := place{file: path}
	f, size, extension, err := openModel(at)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	readTensors := tensorReaders[extension]
	if readTensors == nil {
		imported, err := importOpen(f, size, extension, at, Spec{})
		if err != nil {
			return nil, err
		}
		n := imported.Network
		return []Reading{{Usual: true, Inputs: n.Inputs(), Outputs: n.Outputs(),
			complete: imported}}, nil
	}
	tensors, err := readTensors(f, size, path)
	if err != nil {
		return nil, err
	}
	convention, err := conventionOf(at, tensors)
	if err != nil {
		return nil, err
	}
	return arrayReadings(at, tensors, convention)
}

// conventionOf tells the convention of arrays by their names.
func conventionOf(at place, tensors map[string]*Tensor) (string, error) {
	numbered := map[string]bool{}
	for i := range len(tensors) {
		numbered[fmt.Sprintf("arr_%d", i)] = true
	}
	var unknown []string
	for _, name := range slices.Sorted(maps.Keys(tensors)) {
		if _, leaf := splitName(name); recurrentLeaf.MatchString(leaf) {
			return "torch", nil
		}
		if !numbered[name] {
			unknown = append(unknown, name)
		}
	}
	const most = 4 // names in one message; our choice
	switch {
	case len(tensors) == 0:
		return "", at.broken("", "holds no arrays")
	case len(unknown) > 0:
		return "", at.unsupported("name the arrays as a state dict of torch does (a recurrent "+
			"layer has ....weight_ih_l0); or save those of get_weights() without names, so that "+
			"they are called arr_0, arr_1 and so on", "has arrays whose names say no layer, such "+
			"as %s", quoteAll(unknown[:min(len(unknown), most)]))
	}
	if a, b := tensors["arr_0"], tensors["arr_1"]; b != nil && len(a.Shape) == 2 &&
		len(b.Shape) == 2 && a.Shape[0] == b.Shape[0] && a.Shape[1] != b.Shape[1] {
		return "", at.unsupported("save the arrays with the names of the state dict:\n"+
			`    numpy.savez("model.npz", **{k: v.numpy() for k, v in net.state_dict().items()})`,
			"has the arrays of a state dict of torch without their names")
	}
	return "keras", nil
}

// arrayReadings lists the readings of arrays.
func arrayReadings(at place, tensors map[string]*Tensor, convention string) ([]Reading, error) {
	read := func(s Spec) (*Network, error) { return fromArrays(at, tensors, s) }
	inferred, plainError := read(Spec{Convention: convention})
	if plainError != nil && !errors.Is(plainError, errUnsaid) {
		return nil, plainError
	}
	stacks, err := stacksOf(at, tensors, convention)
	if err != nil {
		return nil, err
	}
	var usual, others []Reading
	var failed error
	for _, layers := range stacks {
		s := Spec{convention, layers}
		n, err := read(s)
		if err != nil {
			failed = cmp.Or(failed, err)
			continue
		}
		if inferred != nil && !reflect.DeepEqual(n, inferred) {
			continue
		}
		activated := s.withActivations()
		if len(activated) == 0 || len(usual)+len(activated) > mostReadings {
			return nil, tooManyReadings(at)
		}
		r := Reading{Inputs: n.Inputs(), Outputs: n.Outputs(), read: read}
		for _, with := range activated {
			r.Spec, r.Usual, r.Inferred = with, true, inferred != nil
			usual = append(usual, r)
			for _, unusual := range with.departures() {
				r.Spec, r.Usual, r.Inferred = unusual, false, false
				others = append(others, r)
			}
		}
	}
	if len(usual) == 0 {
		return nil, cmp.Or(failed, plainError)
	}
	if len(usual)+len(others) > mostReadings {
		return usual, nil
	}
	return append(usual, others...), nil
}

// tooManyReadings is the error for a file with more readings than anybody could try.
func tooManyReadings(at place) error {
	return at.unsupported("save the network as .onnx, which says order and activations itself",
		"can be read in more than %d ways: it does not say the order of its layers, nor the "+
			"activations between them", mostReadings)
}

// stacksOf lists the stacks of layers that fit the shapes of arrays, with the usual cells and
// without activations. The error says that none fits, or too many.
func stacksOf(at place, tensors map[string]*Tensor, convention string) ([][]LayerSpec, error) {
	var b stackBuilder
	d := stateDict{file: at, tensors: tensors}
	if convention == "torch" {
		if err := d.findModules(); err != nil {
			return nil, err
		}
		b.torch(&d, nil, d.recurrent, d.dense, anySize)
	} else {
		k := kerasArrays{file: at}
		for i := range len(tensors) {
			k.arrays = append(k.arrays, tensors[fmt.Sprintf("arr_%d", i)])
		}
		b.keras(&k, nil)
	}
	switch {
	case b.looked > mostStacks:
		return nil, tooManyReadings(at)
	case len(b.all) == 0 && convention == "torch":
		return nil, at.unsupported("each layer takes as many values as the one before it gives; "+
			"the recurrent ones come first", "no order of its layers makes a chain: %s", d.widths())
	case len(b.all) == 0:
		return nil, at.unsupported(kerasShapes, "no layers have the shapes of its %d arrays",
			len(tensors))
	}
	return b.all, nil
}

// stackBuilder collects stacks of layers. It gives up when it has looked at too many beginnings.
type stackBuilder struct {
	all    [][]LayerSpec
	looked int
}

// next notes a beginning, and reports whether to go on.
func (b *stackBuilder) next() bool {
	b.looked++
	return b.looked <= mostStacks
}

// torch adds the stacks that begin with the given layers, whose results are so wide, and go on with
// all the other modules: the recurrent ones in any order, then the dense ones.
func (b *stackBuilder) torch(d *stateDict, begun []LayerSpec, recurrent, dense []module,
	width int) {
	if !b.next() {
		return
	}
	if len(recurrent)+len(dense) == 0 {
		b.all = append(b.all, begun)
		return
	}
	without := func(m []module, i int) []module { return slices.Delete(slices.Clone(m), i, i+1) }
	with := func(l LayerSpec) []LayerSpec { return append(slices.Clone(begun), l) }
	for i, m := range recurrent {
		if b.looked > mostStacks {
			return
		}
		inputs, units, blocks := d.sizes(m)
		if width != anySize && inputs != width {
			continue
		}
		for _, cell := range cellsWith(blocks) {
			b.torch(d, with(LayerSpec{Name: m.name(), Cell: cell}), without(recurrent, i), dense,
				units)
		}
	}
	if len(recurrent) > 0 {
		return
	}
	for i, m := range dense {
		if b.looked > mostStacks {
			return
		}
		if shape := d.tensors[m.prefix+"weight"].Shape; shape[1] == width {
			b.torch(d, with(LayerSpec{Name: m.name()}), nil, without(dense, i), shape[0])
		}
	}
}

// sizes returns the numbers of inputs, units and gate blocks of a recurrent module; the blocks are
// 0 where the shapes of its tensors fit no cell.
func (d *stateDict) sizes(m module) (inputs, units, blocks int) {
	input, hidden := m.prefix+"weight_ih_l0", m.prefix+"weight_hh_l0"
	if d.rank(input) != 2 || d.rank(hidden) != 2 {
		return 0, 0, 0
	}
	blocks, _ = d.blocks(hidden) // the error is a missing tensor
	return d.tensors[input].Shape[1], d.tensors[hidden].Shape[1], blocks
}

// widths lists the modules with what they take and give.
func (d *stateDict) widths() string {
	var parts []string
	add := func(m module, inputs, outputs int) {
		parts = append(parts, fmt.Sprintf("%q %d→%d", m.name(), inputs, outputs))
	}
	for _, m := range d.recurrent {
		inputs, units, _ := d.sizes(m)
		add(m, inputs, units)
	}
	for _, m := range d.dense {
		shape := d.tensors[m.prefix+"weight"].Shape
		add(m, shape[1], shape[0])
	}
	const most = 8 // in one message; our choice
	if more := len(parts) - most; more > 0 {
		parts = append(parts[:most], fmt.Sprintf("and %d more", more))
	}
	return strings.Join(parts, ", ")
}

// cellsWith lists the cells of so many gates, without the reset-before GRU, which torch does not
// have.
func cellsWith(gates int) []string {
	var all []string
	for k := GRUResetAfter; k.known(); k++ {
		if k.Gates() == gates && k != GRUResetBefore {
			all = append(all, cellNames[k])
		}
	}
	return all
}

// keras adds the stacks that begin with the given layers and go on with the arrays of k that
// belong to none of them.
func (b *stackBuilder) keras(k *kerasArrays, begun []LayerSpec) {
	if !b.next() {
		return
	}
	denseBegun := len(begun) > 0 && begun[len(begun)-1].Cell == ""
	kernel := k.shape(k.next)
	if kernel == nil {
		if denseBegun {
			b.all = append(b.all, begun)
		}
		return
	}
	if len(kernel) != 2 || len(begun) > 0 && kernel[0] != k.width {
		return
	}
	follow := func(l LayerSpec, arrays, width int) {
		rest := *k
		rest.next, rest.width = k.next+arrays, width
		b.keras(&rest, append(slices.Clone(begun), l))
	}
	blocks, bias := k.blocks(), k.shape(k.next+2)
	for kind := GRUResetAfter; kind.known() && !denseBegun && len(begun) < maxRecurrent; kind++ {
		hasOneRow := len(bias) == 1
		hasTwo := blocks == GRUResetAfter.Gates() && k.hasTwoRows(k.next+2, kernel[1])
		if kind.Gates() != blocks || hasOneRow && kind == GRUResetAfter ||
			hasTwo && kind == GRUResetBefore {
			continue
		}
		arrays := 2
		if hasOneRow || hasTwo {
			arrays++
		}
		follow(LayerSpec{Cell: cellNames[kind]}, arrays, kernel[1]/blocks)
	}
	if len(begun) > 0 {
		arrays := 1
		if len(k.shape(k.next+1)) == 1 {
			arrays++
		}
		follow(LayerSpec{Activation: activationNames[Identity]}, arrays, kernel[1])
	}
}

// withActivations returns a spec with every activation behind each dense layer but the last, or
// nothing where these are more than the most readings.
func (s Spec) withActivations() []Spec {
	all := []Spec{s}
	for i, l := range s.Layers[:len(s.Layers)-1] {
		if l.Cell != "" {
			continue
		}
		if len(all)*len(activationNames) > mostReadings {
			return nil
		}
		var next []Spec
		for _, begun := range all {
			for _, name := range activationNames {
				next = append(next, begun.with(i, func(l *LayerSpec) { l.Activation = name }))
			}
		}
		all = next
	}
	return all
}

// departures returns a spec with an activation behind the last layer, with the reset gate of
// torch's GRUs before the product, and with both.
func (s Spec) departures() []Spec {
	resets := []Spec{s}
	before := s
	for i, l := range s.Layers {
		if s.Convention == "torch" && l.Cell == cellNames[GRUResetAfter] {
			before = before.with(i, func(l *LayerSpec) { l.Cell = cellNames[GRUResetBefore] })
		}
	}
	if !reflect.DeepEqual(before, s) {
		resets = append(resets, before)
	}
	var all []Spec
	for _, reset := range resets {
		for _, name := range activationNames {
			all = append(all, reset.with(len(s.Layers)-1, func(l *LayerSpec) {
				l.Activation = name
			}))
		}
	}
	return all[1:] // the first is s
}

// with returns a spec with one layer changed.
func (s Spec) with(layer int, change func(l *LayerSpec)) Spec {
	s.Layers = slices.Clone(s.Layers)
	change(&s.Layers[layer])
	return s
}

// String returns the layers of a spec in one line, or "" if it has none.
func (s Spec) String() string {
	var parts []string
	for _, l := range s.Layers {
		word := cmp.Or(l.Cell, l.Activation, activationNames[Identity])
		parts = append(parts, strings.TrimSpace(l.Name+" "+word))
	}
	return strings.Join(parts, ", ")
}
