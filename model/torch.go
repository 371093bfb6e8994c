package model

import (
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"
)

// recurrentLeaf matches the last part of a recurrent tensor's name (PyTorch documentation of torch.nn.GRU and its siblings,
// "Variables"): what it is, its layer, and whether it belongs to the backward direction.
var recurrentLeaf = regexp.MustCompile(`^(weight_ih|weight_hh|bias_ih|bias_hh|weight_hr)_l(\d+)(_reverse)?$`)

// FromTorch builds a network from the tensors of a torch state dict; name is used in errors only. Modules may have any name. One
// one-layer, one-directional GRU and one linear layer after it are read; left-out biases are zero.
//
// Tensors of a wrong shape or with NaN or infinity give a [*FormatError], anything beyond that network an [*UnsupportedError].
func FromTorch(name string, tensors map[string]*Tensor) (*Network, error) {
	d := stateDict{file: place{file: name}, tensors: tensors}
	if len(tensors) == 0 {
		return nil, d.file.broken("", "holds no tensors")
	}
	recurrent, err := d.recurrentModule()
	if err != nil {
		return nil, err
	}
	dense, err := d.denseModule(recurrent)
	if err != nil {
		return nil, err
	}
	layer, err := d.gru(recurrent)
	if err != nil {
		return nil, err
	}
	head, err := d.linear(dense, layer.Units)
	if err != nil {
		return nil, err
	}
	return &Network{Recurrent: []*Recurrent{layer}, Dense: []*Dense{head}}, nil
}

// ToTorch returns copies of the network's weights under torch's names, with modules "gru" and "head". The network must have one
// recurrent and one dense layer.
func ToTorch(n *Network) map[string]*Tensor {
	if len(n.Recurrent) != 1 || len(n.Dense) != 1 {
		panic(fmt.Sprintf("model: ToTorch got %d recurrent and %d dense layers, expected 1 and 1", len(n.Recurrent), len(n.Dense)))
	}
	l, head := n.Recurrent[0], n.Dense[0]
	rows := l.Kind.Gates() * l.Units
	return map[string]*Tensor{
		"gru.weight_ih_l0": {[]int{rows, l.Inputs}, slices.Clone(l.W)},
		"gru.weight_hh_l0": {[]int{rows, l.Units}, slices.Clone(l.U)},
		"gru.bias_ih_l0":   {[]int{rows}, slices.Clone(l.B)},
		"gru.bias_hh_l0":   {[]int{rows}, slices.Clone(l.D)},
		"head.weight":      {[]int{head.Outputs, head.Inputs}, slices.Clone(head.W)},
		"head.bias":        {[]int{head.Outputs}, slices.Clone(head.B)},
	}
}

// stateDict reads modules out of named tensors. A module is known by the prefix of its tensors' names, dot included.
type stateDict struct {
	file    place
	tensors map[string]*Tensor
}

func splitName(name string) (prefix, leaf string) {
	dot := strings.LastIndexByte(name, '.')
	return name[:dot+1], name[dot+1:]
}

// recurrentModule returns the prefix of the only recurrent module, and refuses what its tensors' names show to be unsupported.
func (d stateDict) recurrentModule() (string, error) {
	var prefixes []string
	for _, name := range slices.Sorted(maps.Keys(d.tensors)) {
		prefix, leaf := splitName(name)
		part := recurrentLeaf.FindStringSubmatch(leaf)
		if part == nil {
			continue
		}
		at := d.file.tensor(name)
		switch {
		case part[3] != "":
			return "", at.unsupported("a backward direction needs the whole sequence first; train with bidirectional=False",
				"belongs to a bidirectional layer")
		case part[1] == "weight_hr":
			return "", at.unsupported("train with proj_size=0", "is the projection of an LSTM")
		case part[2] != "0":
			return "", at.unsupported("train with num_layers=1", "belongs to a stacked layer, only one recurrent layer is read")
		}
		if !slices.Contains(prefixes, prefix) {
			prefixes = append(prefixes, prefix)
		}
	}
	switch len(prefixes) {
	case 0:
		return "", d.file.unsupported("a state dict with a torch.nn.GRU has one", "has no recurrent layer: no tensor is called weight_ih_l0")
	case 1:
		return prefixes[0], nil
	}
	return "", d.file.unsupported("save the state dict of one network with one GRU", "has %d recurrent modules: %s",
		len(prefixes), quoteModules(prefixes))
}

// denseModule returns the prefix of the only linear layer, and refuses tensors that belong to neither module.
func (d stateDict) denseModule(recurrent string) (string, error) {
	var dense, unknown []string
	for _, name := range slices.Sorted(maps.Keys(d.tensors)) {
		prefix, leaf := splitName(name)
		switch {
		case recurrentLeaf.MatchString(leaf):
		case leaf == "weight" && prefix != recurrent && len(d.tensors[name].Shape) == 2:
			dense = append(dense, prefix)
		case leaf == "bias" && prefix != recurrent && d.rank(prefix+"weight") == 2:
		default:
			unknown = append(unknown, fmt.Sprintf("%q %s", name, formatShape(d.tensors[name].Shape)))
		}
	}
	const most = 4 // names in one message
	if n := len(unknown); n > 0 {
		list := strings.Join(unknown[:min(n, most)], ", ")
		if n > most {
			list += fmt.Sprintf(" and %d more", n-most)
		}
		return "", d.file.unsupported("the file may hold one GRU and one linear layer; save nothing else with it", "has tensors of unknown meaning: %s", list)
	}
	switch len(dense) {
	case 0:
		return "", d.file.unsupported("save the linear layer that makes outputs from the hidden state too", "has no dense layer after the recurrent one")
	case 1:
		return dense[0], nil
	}
	return "", d.file.unsupported("a state dict does not say which activation stands between them; train with one linear layer after the GRU",
		"has %d dense layers: %s, only one is read", len(dense), quoteModules(dense))
}

// rank returns the number of dimensions of a tensor, or -1 if there is none of that name.
func (d stateDict) rank(name string) int {
	if t := d.tensors[name]; t != nil {
		return len(t.Shape)
	}
	return -1
}

func (d stateDict) gru(prefix string) (*Recurrent, error) {
	hidden := prefix + "weight_hh_l0"
	if d.rank(hidden) < 0 {
		return nil, d.file.broken("", "lacks tensor %q", hidden)
	}
	shape, at := d.tensors[hidden].Shape, d.file.tensor(hidden)
	if len(shape) != 2 || shape[1] < 1 {
		return nil, at.broken(shapeHint, "has shape %s, expected [3*units × units]", formatShape(shape))
	}
	l := &Recurrent{Kind: GRUResetAfter, Units: shape[1]}
	rows := l.Kind.Gates() * l.Units
	switch shape[0] {
	case rows:
	case 4 * l.Units:
		return nil, at.unsupported("train with torch.nn.GRU", "shape %s is that of an LSTM, only GRU is read", formatShape(shape))
	case l.Units:
		return nil, at.unsupported("train with torch.nn.GRU", "shape %s is that of a plain (Elman) recurrent layer, only GRU is read", formatShape(shape))
	default:
		return nil, at.broken(shapeHint, "has shape %s, expected [%d × %d]", formatShape(shape), rows, l.Units)
	}
	input := prefix + "weight_ih_l0"
	var err error
	if l.W, err = d.values(input, rows, anySize); err != nil {
		return nil, err
	}
	l.Inputs = d.tensors[input].Shape[1]
	if l.U, err = d.values(hidden, rows, l.Units); err != nil {
		return nil, err
	}
	if d.rank(prefix+"bias_ih_l0") < 0 && d.rank(prefix+"bias_hh_l0") < 0 {
		l.B, l.D = make([]float64, rows), make([]float64, rows)
		return l, nil
	}
	if l.B, err = d.values(prefix+"bias_ih_l0", rows); err != nil {
		return nil, err
	}
	l.D, err = d.values(prefix+"bias_hh_l0", rows)
	return l, err
}

func (d stateDict) linear(prefix string, units int) (*Dense, error) {
	weight, bias := prefix+"weight", prefix+"bias"
	l := &Dense{Inputs: units}
	var err error
	if l.W, err = d.values(weight, anySize, units); err != nil {
		return nil, err
	}
	l.Outputs = d.tensors[weight].Shape[0]
	if d.rank(bias) < 0 {
		l.B = make([]float64, l.Outputs)
		return l, nil
	}
	l.B, err = d.values(bias, l.Outputs)
	return l, err
}

// anySize stands for a dimension that the tensor itself decides; it is at least 1.
const anySize = -1

// values returns a copy of a tensor's data after checking that it exists, has this shape and is finite.
func (d stateDict) values(name string, shape ...int) ([]float64, error) {
	t := d.tensors[name]
	if t == nil {
		return nil, d.file.broken("", "lacks tensor %q", name)
	}
	at := d.file.tensor(name)
	fits := slices.EqualFunc(t.Shape, shape, func(got, want int) bool { return got == want || want == anySize && got >= 1 })
	if !fits {
		return nil, at.broken(shapeHint, "has shape %s, expected %s", formatShape(t.Shape), formatShape(shape))
	}
	if count, ok := elements(t.Shape); !ok || count != len(t.Data) {
		return nil, at.broken("", "has shape %s, but %d values", formatShape(t.Shape), len(t.Data))
	}
	if i := firstNotFinite(t.Data); i >= 0 {
		return nil, at.broken("the training has diverged; take an earlier state of the network",
			"value at %s is %v", formatIndex(i, t.Shape), t.Data[i])
	}
	return slices.Clone(t.Data), nil
}

// quoteModules lists module prefixes without their final dot.
func quoteModules(prefixes []string) string {
	words := make([]string, len(prefixes))
	for i, p := range prefixes {
		words[i] = fmt.Sprintf("%q", strings.TrimSuffix(p, "."))
	}
	return strings.Join(words, ", ")
}

// shapeHint says what the tensors of a network look like.
const shapeHint = "kerf reads one torch.nn.GRU layer (weight_ih_l0 [3*units × features], weight_hh_l0 [3*units × units]) with one torch.nn.Linear head"
