package model

import (
	"fmt"
	"io"
	"slices"
)

// The versions of the standard's set of operators that are read. Before version 7 operators had no
// broadcasting, and this reader was checked against the published meanings up to version 22.
const (
	firstOpset = 7
	lastOpset  = 22
)

// maxONNXBytes is the most bytes of a file. Our choice: its sixteen million float32 weights are
// some tens of times the flash of the largest microcontrollers.
const maxONNXBytes = 64 << 20

// ReadONNX reads a network from an ONNX file of the given size in bytes; name is used in errors
// only.
//
// The graph is evaluated, not compared with patterns. Everything that follows from shapes and
// constants is computed. What is left must be features, at most shifted and scaled, that go through
// up to three GRU, LSTM or RNN operators and then dense layers. The graph may give outputs at every
// step or after the last, and states may be its inputs and outputs. A graph that ends with a hidden
// state gets a dense layer that copies it.
//
// What is against the standard gives [ErrFormat], what is not handled [ErrUnsupported],
// with the operator, its position in the file and its name. Memory stays in proportion to the size
// of the file. Source: ONNX specification and operator documentation, onnx.proto of onnx 1.12.0.
func ReadONNX(r io.ReaderAt, size int64, name string) (*Import, error) {
	at := place{file: name}
	if size > maxONNXBytes {
		return nil, at.unsupported("", "has %d bytes, at most %d are read", size, maxONNXBytes)
	}
	if err := refusePickle(r, size, at); err != nil {
		return nil, err
	}
	raw := make([]byte, size)
	if err := at.readAt(r, raw, 0); err != nil {
		return nil, err
	}
	m, err := decodeONNX(raw, at)
	if err != nil {
		return nil, err
	}
	return m.network(size, at)
}

// network evaluates the graph of a file of the given size in bytes.
func (m *onnxModel) network(size int64, at place) (*Import, error) {
	if m.opset < firstOpset || m.opset > lastOpset {
		return nil, at.unsupported("export with opset 17, for example", "uses version %d of the "+
			"ONNX operators, read are %d to %d", m.opset, firstOpset, lastOpset)
	}
	e := newONNXEval(m, size, at)
	if err := e.run(); err != nil {
		return nil, err
	}
	s, err := e.result()
	if err != nil {
		return nil, err
	}
	c := s.chain
	i := &Import{Network: &Network{Recurrent: c.recurrent, Dense: c.dense}, Mean: c.mean,
		Std: c.std, LastStep: s.last, Softmax: c.softmax}
	if err := i.Network.Validate(); err != nil {
		return nil, at.broken("", "gives a network that makes no sense: %w", err)
	}
	return i, nil
}

// result returns the output of the graph that is the network's: the one with a dense layer, several
// of the same recurrent layer side by side, or else the hidden state of the deepest layer. Other
// hidden states and cell states are for a caller of the graph that keeps them.
func (e *onnxEval) result() (*signal, error) {
	var heads, hidden []*signal
	for _, name := range e.model.graph.outputs {
		s, ok := e.values[name].(*signal)
		switch {
		case !ok:
		case s.chain.raw():
			return nil, place{e.at.file,
				fmt.Sprintf("output %q", name)}.unsupported("kerf reads networks with a GRU, "+
				"LSTM or RNN operator", "depends on no recurrent layer")
		case len(s.chain.dense) > 0:
			heads = append(heads, s)
		default:
			hidden = append(hidden, s)
		}
	}
	outputs := quoteAll(e.model.graph.outputs)
	switch {
	case len(heads) == 1:
		return heads[0], nil
	case len(heads) > 1:
		if !sameLayers(heads) {
			return nil, e.at.unsupported("export one output, or outputs that come from the "+
				"same layer", "has outputs that are not made by the same layers: %s", outputs)
		}
		e.node = &onnxNode{op: "Concat", name: "outputs"}
		chain, err := e.merge(heads)
		if err != nil {
			return nil, err
		}
		return heads[0].through(chain), nil
	case len(hidden) == 0:
		return nil, e.at.unsupported("kerf reads networks with a GRU, LSTM or RNN operator",
			"has no output that depends on a recurrent layer: %s", outputs)
	}
	best := slices.MaxFunc(hidden, func(a, b *signal) int {
		if d := len(a.chain.recurrent) - len(b.chain.recurrent); d != 0 {
			return d
		}
		return compareBools(!a.last, !b.last)
	})
	for _, s := range hidden {
		if !slices.Equal(s.chain.recurrent, best.chain.recurrent[:len(s.chain.recurrent)]) {
			return nil, e.at.unsupported("export one output", "has outputs of different layers: %s",
				outputs)
		}
	}
	e.node = &onnxNode{op: "Identity", name: "hidden state as output"}
	width := best.chain.width()
	all := make([]int, width)
	for i := range all {
		all[i] = i
	}
	chain, err := best.chain.chooseRows(e, all)
	if err != nil {
		return nil, err
	}
	return best.through(chain), nil
}

// compareBools returns -1, 0 or 1, where false is less than true.
func compareBools(a, b bool) int {
	switch {
	case a == b:
		return 0
	case a:
		return 1
	}
	return -1
}
