package model

import (
	"fmt"
	"slices"
	"strings"

	"kerf/fault"
)

// FromTorch builds a network from the tensors of a torch state dict; name is used in errors only.
// Left-out biases are zero.
//
// Without spec.Layers the dict must hold one recurrent module, a GRU or an LSTM of up to three
// layers, and one linear module, which gets no activation. Any other network needs spec.Layers with
// every module listed once. spec.Convention is ignored.
//
// Tensors of a wrong shape or with NaN or infinity give [ErrFormat]. Modules that are not
// handled, or that tensors and spec leave open, give [ErrUnsupported].
func FromTorch(name string, tensors map[string]*Tensor, spec Spec) (*Network, error) {
	d := stateDict{file: place{file: name}, tensors: tensors}
	if len(tensors) == 0 {
		return nil, d.file.broken("", "holds no tensors")
	}
	if err := d.findModules(); err != nil {
		return nil, err
	}
	var chain []chained
	var err error
	if len(spec.Layers) == 0 {
		chain, err = d.infer()
	} else {
		chain, err = d.match(spec.Layers)
	}
	if err != nil {
		return nil, err
	}
	return d.build(chain)
}

// stateDict finds modules in named tensors and builds their network.
type stateDict struct {
	file             place
	tensors          map[string]*Tensor
	recurrent, dense []module // sorted by name
}

// chained is a module at its place in the network.
type chained struct {
	module
	kind       Kind       // of a recurrent module; 0 to infer it from the shape
	activation Activation // of a dense module
}

// infer returns the chain where the state dict alone allows only one.
func (d *stateDict) infer() ([]chained, error) {
	if len(d.recurrent) > 1 {
		return nil, d.file.unsaid(d.layersHint(), "has %d recurrent modules: %s; the file "+
			"does not say their order",
			len(d.recurrent), quoteModules(d.recurrent))
	}
	if len(d.dense) > 1 {
		return nil, d.file.unsaid(d.layersHint(), "has %d dense layers: %s; the file does "+
			"not say their order and what stands between them",
			len(d.dense), quoteModules(d.dense))
	}
	return []chained{{module: d.recurrent[0]}, {module: d.dense[0]}}, nil
}

// match returns the chain that the caller lists. It must name every module of the file once, the
// recurrent ones first.
func (d *stateDict) match(layers []LayerSpec) ([]chained, error) {
	left := slices.Concat(d.recurrent, d.dense)
	var chain []chained
	for _, l := range layers {
		at := place{d.file.file, fmt.Sprintf("layer %q", l.Name)}
		same := func(m module) bool { return m.name() == l.Name }
		if slices.ContainsFunc(chain, func(c chained) bool { return same(c.module) }) {
			return nil, at.unsupported("list every module once", "is listed twice")
		}
		i := slices.IndexFunc(left, same)
		if i < 0 {
			known := moduleNames(slices.Concat(d.recurrent, d.dense))
			return nil, at.unsupported(fault.DidYouMeanOr(l.Name, known, "the file has "+
				quoteAll(known)), "the file has no module of this name")
		}
		c := chained{module: left[i]}
		left = slices.Delete(left, i, i+1)
		var err error
		if c.kind, err = l.kind(at); err != nil {
			return nil, err
		}
		if c.activation, err = l.activation(at); err != nil {
			return nil, err
		}
		switch {
		case c.layers == 0 && l.Cell != "":
			return nil, at.unsupported("a dense layer has an activation and no cell",
				"is a dense layer, but a cell is given")
		case c.layers > 0 && l.Activation != "":
			return nil, at.unsupported("the cell says the activations of a recurrent layer",
				"is a recurrent layer, but an activation is given")
		case c.layers > 0 && len(chain) > 0 && chain[len(chain)-1].layers == 0:
			return nil, at.unsupported("list the recurrent layers first; other networks are "+
				"not read", "is a recurrent layer after a dense one")
		}
		chain = append(chain, c)
	}
	if len(left) > 0 {
		return nil, d.file.unsupported(d.layersHint(), "has modules that are not listed: %s",
			quoteModules(left))
	}
	return chain, nil
}

// layersHint shows how the job file lists the modules of the file.
func (d *stateDict) layersHint() string {
	var b strings.Builder
	b.WriteString("kerf init tries orders, cells and activations on a recording; or list the " +
		"modules first to last in the job file:")
	for _, m := range d.recurrent {
		fmt.Fprintf(&b, "\n    [[model.layer]]\n    name = %q\n    cell = %s", m.name(),
			d.cellHint(m))
	}
	for _, m := range d.dense {
		fmt.Fprintf(&b, "\n    [[model.layer]]\n    name = %q\n    activation = %s", m.name(),
			choice(activationNames[:]))
	}
	return b.String()
}

// cellHint offers the cells that fit the number of gate blocks of a module, or all if none fits.
func (d *stateDict) cellHint(m module) string {
	blocks, _ := d.blocks(m.prefix + "weight_hh_l0") // 0 where the tensor is missing
	var fitting []string
	for k := GRUResetAfter; k.known(); k++ {
		if k.Gates() == blocks {
			fitting = append(fitting, cellNames[k])
		}
	}
	if fitting == nil {
		fitting = cellNames[GRUResetAfter:]
	}
	return choice(fitting)
}

// choice writes the only word as a TOML value. Of several words nobody knows the right one, so it
// writes a line that cannot be pasted unchanged.
func choice(words []string) string {
	if len(words) == 1 {
		return fmt.Sprintf("%q", words[0])
	}
	return "? # " + quoteAll(words)
}
