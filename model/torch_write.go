package model

import (
	"fmt"
	"slices"
)

// ToTorch returns copies of the network's weights under the names of a torch state dict. Recurrent
// layers of one kind are one stacked module "rnn"; those of different kinds are "rnn0", "rnn1" and
// so on. The last dense layer is "head", those before it are "dense0", "dense1" and so on. A single
// GRU layer with a single dense layer has the modules "gru" and "head".
//
// torch's own stacked modules have layers of one width; a stack whose widths differ can be read by
// [FromTorch] only.
func ToTorch(n *Network) map[string]*Tensor {
	tensors := map[string]*Tensor{}
	for i, l := range n.Recurrent {
		module, number := recurrentName(n, i)
		name := func(leaf string) string { return fmt.Sprintf("%s.%s_l%d", module, leaf, number) }
		rows := l.Kind.Gates() * l.Units
		tensors[name("weight_ih")] = &Tensor{[]int{rows, l.Inputs}, slices.Clone(l.W)}
		tensors[name("weight_hh")] = &Tensor{[]int{rows, l.Units}, slices.Clone(l.U)}
		tensors[name("bias_ih")] = &Tensor{[]int{rows}, slices.Clone(l.B)}
		tensors[name("bias_hh")] = &Tensor{[]int{rows}, slices.Clone(l.D)}
	}
	for i, l := range n.Dense {
		module := denseName(n, i)
		tensors[module+".weight"] = &Tensor{[]int{l.Outputs, l.Inputs}, slices.Clone(l.W)}
		tensors[module+".bias"] = &Tensor{[]int{l.Outputs}, slices.Clone(l.B)}
	}
	return tensors
}

// ToTorchSpec returns the spec with which [FromTorch] builds the same network from the tensors of
// [ToTorch].
func ToTorchSpec(n *Network) Spec {
	s := Spec{Convention: "torch"}
	for i, l := range n.Recurrent {
		if module, number := recurrentName(n, i); number == 0 {
			s.Layers = append(s.Layers, LayerSpec{Name: module, Cell: cellNames[l.Kind]})
		}
	}
	for i, l := range n.Dense {
		s.Layers = append(s.Layers,
			LayerSpec{Name: denseName(n, i), Activation: activationNames[l.Activation]})
	}
	return s
}

// recurrentName returns the module of a recurrent layer and the layer's number in it.
func recurrentName(n *Network, layer int) (module string, number int) {
	first := n.Recurrent[0].Kind
	mixed := slices.ContainsFunc(n.Recurrent, func(l *Recurrent) bool { return l.Kind != first })
	switch {
	case mixed:
		return fmt.Sprintf("rnn%d", layer), 0
	case len(n.Recurrent) == 1 && len(n.Dense) == 1 &&
		(first == GRUResetAfter || first == GRUResetBefore):
		return "gru", 0
	}
	return "rnn", layer
}

func denseName(n *Network, layer int) string {
	if layer == len(n.Dense)-1 {
		return "head"
	}
	return fmt.Sprintf("dense%d", layer)
}
