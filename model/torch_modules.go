package model

import (
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// recurrentLeaf matches the last part of a recurrent tensor's name: its use, its layer, and
// "_reverse" for the backward direction (PyTorch documentation of torch.nn.GRU and its siblings,
// "Variables").
var recurrentLeaf = regexp.MustCompile(
	`^(weight_ih|weight_hh|bias_ih|bias_hh|weight_hr)_l(0|[1-9]\d{0,3})(_reverse)?$`)

// module is the tensors of a state dict under one prefix.
type module struct {
	prefix string // of its tensors' names, with the dot
	layers int    // of a recurrent module, from the highest number in its tensors' names; else 0
}

func (m module) name() string { return strings.TrimSuffix(m.prefix, ".") }

// quoteModules lists the names of modules.
func quoteModules(modules []module) string { return quoteAll(moduleNames(modules)) }

func moduleNames(modules []module) []string {
	names := make([]string, len(modules))
	for i, m := range modules {
		names[i] = m.name()
	}
	return names
}

// splitName splits a tensor's name after its last dot.
func splitName(name string) (prefix, leaf string) {
	dot := strings.LastIndexByte(name, '.')
	return name[:dot+1], name[dot+1:]
}

// findModules sorts the tensors into modules. It returns an error if their names show something
// that is not handled or not clear.
func (d *stateDict) findModules() error {
	names := slices.Sorted(maps.Keys(d.tensors))
	if err := d.findRecurrent(names); err != nil {
		return err
	}
	return d.findDense(names)
}

// findRecurrent finds the recurrent modules by the names of their tensors.
func (d *stateDict) findRecurrent(names []string) error {
	layers := map[string]int{}
	for _, name := range names {
		prefix, leaf := splitName(name)
		part := recurrentLeaf.FindStringSubmatch(leaf)
		if part == nil {
			continue
		}
		at := d.file.tensor(name)
		switch {
		case part[3] != "":
			return at.unsupported("a backward direction needs the whole sequence first; train "+
				"with bidirectional=False",
				"belongs to a bidirectional layer")
		case part[1] == "weight_hr":
			return at.unsupported("train with proj_size=0", "is the projection of an LSTM")
		}
		number, err := strconv.Atoi(part[2])
		if err != nil {
			panic(err) // the pattern lets up to four digits through
		}
		layers[prefix] = max(layers[prefix], number+1)
	}
	total := 0
	for _, prefix := range slices.Sorted(maps.Keys(layers)) {
		d.recurrent = append(d.recurrent, module{prefix, layers[prefix]})
		total += layers[prefix]
	}
	switch {
	case total == 0:
		return d.file.unsupported("a state dict with a torch.nn.GRU, LSTM or RNN has one",
			"has no recurrent layer: no tensor is called weight_ih_l0")
	case total > maxRecurrent:
		return d.file.unsupported("train with fewer layers", "has %d recurrent layers, at most "+
			"%d are read", total, maxRecurrent)
	}
	return nil
}

// findDense finds the dense modules among the other tensors.
func (d *stateDict) findDense(names []string) error {
	var unknown []string
	for _, name := range names {
		prefix, leaf := splitName(name)
		inRecurrent := slices.ContainsFunc(d.recurrent, func(m module) bool {
			return m.prefix == prefix
		})
		switch {
		case recurrentLeaf.MatchString(leaf):
		case leaf == "weight" && !inRecurrent && len(d.tensors[name].Shape) == 2:
			d.dense = append(d.dense, module{prefix: prefix})
		case leaf == "bias" && !inRecurrent && d.rank(prefix+"weight") == 2:
		default:
			unknown = append(unknown,
				fmt.Sprintf("%q %s", name, formatShape(d.tensors[name].Shape)))
		}
	}
	const most = 4 // names in one message; our choice
	if n := len(unknown); n > 0 {
		list := strings.Join(unknown[:min(n, most)], ", ")
		if n > most {
			list += fmt.Sprintf(" and %d more", n-most)
		}
		return d.file.unsupported("the file may hold recurrent and linear layers; save nothing "+
			"else with them", "has tensors of unknown meaning: %s", list)
	}
	if len(d.dense) == 0 {
		return d.file.unsupported("save the linear layer that makes outputs from the hidden "+
			"state too", "has no dense layer after the recurrent one")
	}
	return nil
}

// rank returns the number of dimensions of a tensor, or -1 if there is none of that name.
func (d *stateDict) rank(name string) int {
	if t := d.tensors[name]; t != nil {
		return len(t.Shape)
	}
	return -1
}
