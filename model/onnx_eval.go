package model

import (
	"fmt"
	"math/big"
	"strconv"
	"strings"
)

// onnxEval computes the values of a graph, node by node.
type onnxEval struct {
	at     place
	model  *onnxModel
	node   *onnxNode            // the present node
	values map[string]onnxValue // so far, by name
	left   int                  // numbers that constants and layers may still hold, see spend
}

// spareValues is how many numbers a graph may make beyond one per byte of its file. Our choice: one
// per byte is four copies of all float32 weights, which exporters transpose and slice and the
// reader copies into layers; the spare ones let small files compute small tables.
const spareValues = 1 << 20

func newONNXEval(m *onnxModel, size int64, at place) *onnxEval {
	return &onnxEval{at: at, model: m, values: map[string]onnxValue{},
		left: spareValues + int(size)}
}

// spend counts numbers that are about to be made. It returns an error if the graph has made too
// many, so that memory stays in proportion to the file.
func (e *onnxEval) spend(values int) error {
	if values < 0 || values > e.left {
		return e.refuse("a network for a microcontroller has no such tables",
			"makes a tensor that is far larger than the file")
	}
	e.left -= values
	return nil
}

// spendOn spends the numbers that c takes in another shape: none if one number stands for all.
func (e *onnxEval) spendOn(c *constant, shape []int) error {
	count, ok := elements(shape)
	if !ok {
		return e.spend(-1)
	}
	if c.stored() == 1 {
		return nil
	}
	return e.spend(count)
}

// place returns the place of a node: its position in the file, name and operator.
func (n *onnxNode) place(at place) place {
	op := n.op
	// The name of a damaged operator is quoted.
	if quoted := strconv.Quote(op); len(quoted) != len(op)+2 || op == "" {
		op = quoted
	}
	where := fmt.Sprintf("node %d (%s)", n.index, op)
	if n.name != "" {
		where = fmt.Sprintf("node %d %q (%s)", n.index, n.name, op)
	}
	return place{at.file, where}
}

// attribute returns the attribute of a name, or nil.
func (n *onnxNode) attribute(name string) *onnxAttribute {
	for _, a := range n.attributes {
		if a.name == name {
			return a
		}
	}
	return nil
}

// refuse returns the error of kind [ErrUnsupported] of the present node.
func (e *onnxEval) refuse(hint, format string, args ...any) error {
	return e.node.place(e.at).unsupported(hint, format, args...)
}

// broken returns the error of kind [ErrFormat] of the present node, which is against the standard.
func (e *onnxEval) broken(format string, args ...any) error {
	return e.node.place(e.at).broken("", format, args...)
}

// whole returns an integer attribute of the present node, or otherwise if the node has none of that
// name.
func (e *onnxEval) whole(name string, otherwise int64) int64 {
	if a := e.node.attribute(name); a != nil {
		return a.i
	}
	return otherwise
}

// value returns input i of the present node, or nil if it is left out.
func (e *onnxEval) value(i int) onnxValue {
	if i >= len(e.node.inputs) || e.node.inputs[i] == "" {
		return nil
	}
	return e.values[e.node.inputs[i]]
}

// need returns input i of the present node, or an error if it is left out.
func (e *onnxEval) need(i int) (onnxValue, error) {
	v := e.value(i)
	if v == nil {
		return nil, e.broken("lacks input %d", i)
	}
	return v, nil
}

// constantInput returns input i, which must be a constant, or nil if it is left out.
func (e *onnxEval) constantInput(i int, what string) (*constant, error) {
	switch v := e.value(i).(type) {
	case nil:
		return nil, nil
	case *constant:
		return v, nil
	}
	return nil, e.refuse("weights and shapes must be stored in the file or follow from it",
		"%s (%q) are computed from the features, or an input of the graph", what, e.node.inputs[i])
}

// wholeList returns a list of integers: input i, or in older sets of operators the attribute of
// that name. It is nil if there is neither.
func (e *onnxEval) wholeList(i int, name string) ([]int64, error) {
	if a := e.node.attribute(name); a != nil {
		return a.ints, nil
	}
	c, err := e.constantInput(i, name)
	if c == nil || err != nil {
		return nil, err
	}
	if !c.whole || len(c.shape) > 1 {
		return nil, e.broken("%s are no list of whole numbers", name)
	}
	if err := e.spend(c.count()); err != nil {
		return nil, err
	}
	list := make([]int64, c.count())
	for k := range list {
		list[k] = c.wholes[min(k, len(c.wholes)-1)]
	}
	return list, nil
}

// axis returns the position of an axis; a negative axis counts from the end.
func (e *onnxEval) axis(axis int64, rank int) (int, error) {
	if axis < 0 {
		axis += int64(rank)
	}
	if axis < 0 || axis >= int64(rank) {
		return 0, e.broken("axis %d is outside a tensor of %d axes", axis, rank)
	}
	return int(axis), nil
}

// knownShape returns the shape of a value, or an error if the value may only leave the graph.
func (e *onnxEval) knownShape(v onnxValue) ([]int, error) {
	if d := v.dims(); d != nil {
		return d, nil
	}
	return nil, e.refuse("compute with the output of a recurrent layer or its last hidden state",
		"takes the cell state of an LSTM, or several states at once")
}

// run computes every value that an output of the graph needs.
func (e *onnxEval) run() error {
	g := e.model.graph
	needed := map[string]bool{"": false}
	for _, name := range g.outputs {
		needed[name] = true
	}
	use := make([]bool, len(g.nodes))
	for i := len(g.nodes) - 1; i >= 0; i-- {
		for _, out := range g.nodes[i].outputs {
			use[i] = use[i] || out != "" && needed[out]
		}
		if use[i] {
			for _, in := range g.nodes[i].inputs {
				needed[in] = in != ""
			}
		}
	}
	if err := e.inputs(needed); err != nil {
		return err
	}
	for i, n := range g.nodes {
		if !use[i] {
			continue
		}
		e.node = n
		if err := e.compute(); err != nil {
			return err
		}
	}
	for _, name := range g.outputs {
		if e.values[name] == nil {
			return e.at.broken("", "no node computes the output %q", name)
		}
	}
	return nil
}

// inputs makes the values of all inputs and stored tensors of the graph that are needed.
func (e *onnxEval) inputs(needed map[string]bool) error {
	g := e.model.graph
	for name, raw := range g.initializers {
		if !needed[name] {
			continue
		}
		c, err := decodeONNXTensor(raw, e.at.tensor(name))
		if err != nil {
			return err
		}
		e.values[name] = c
	}
	sizes := newOpenSizes(g)
	for i := range g.inputs {
		in := &g.inputs[i]
		if g.initializers[in.name] != nil || !needed[in.name] {
			continue
		}
		if !in.rank {
			return place{e.at.file, fmt.Sprintf("input %q", in.name)}.unsupported(
				"export with the shape of the input", "has no shape")
		}
		s := &signal{chain: newChain(in)}
		for _, a := range in.axes {
			size, err := sizes.of(a)
			if err != nil {
				return place{e.at.file, fmt.Sprintf("input %q", in.name)}.broken("", "%w", err)
			}
			var factors []*factor
			if size != 1 {
				factors = []*factor{{size: size}}
			}
			s.axes = append(s.axes, factors)
		}
		e.values[in.name] = s
	}
	return nil
}

// openSizes gives a size to every axis that the file leaves open: a prime that no other axis has.
// Axes of one name get the same size.
type openSizes struct {
	byName map[string]int
	taken  map[int]bool
	last   int
}

// firstOpenSize is the least size of an open axis. Our choice: it is large enough to be no size of
// a layer, and small enough for products of three sizes to fit 32 bits.
const firstOpenSize = 1009

func newOpenSizes(g *onnxGraph) *openSizes {
	s := &openSizes{byName: map[string]int{}, taken: map[int]bool{}, last: firstOpenSize - 1}
	for _, in := range g.inputs {
		for _, a := range in.axes {
			s.taken[int(a.size)] = true
		}
	}
	return s
}

// of returns the size of an axis.
func (s *openSizes) of(a onnxAxis) (int, error) {
	if a.size != 0 {
		if a.size < 0 || int64(int32(a.size)) != a.size {
			return 0, fmt.Errorf("has an axis of size %d", a.size)
		}
		return int(a.size), nil
	}
	if size := s.byName[a.name]; size != 0 && a.name != "" {
		return size, nil
	}
	const most = 16 // axes; our choice: a network has three for its input and for each state
	if len(s.taken) > 2*most {
		return 0, fmt.Errorf("the graph has more than %d axes of open size", most)
	}
	for s.last++; s.taken[s.last] || !big.NewInt(int64(s.last)).ProbablyPrime(0); s.last++ {
	}
	s.taken[s.last] = true
	s.byName[a.name] = s.last
	return s.last, nil
}

// maxDense is the most dense layers of a graph. Our choice, because every node that adds a layer
// copies the list of those before it.
const maxDense = 100

// compute computes the results of the present node.
func (e *onnxEval) compute() error {
	n := e.node
	for _, a := range n.attributes {
		if a.subgraph {
			return e.refuse("export without control flow; a recurrent layer must be one GRU, "+
				"LSTM or RNN operator", "contains a graph of its own")
		}
	}
	for _, in := range n.inputs {
		if in != "" && e.values[in] == nil {
			return e.broken("uses %q before any node has computed it", in)
		}
	}
	var results []onnxValue
	var err error
	operator, known := onnxOperators[n.op]
	switch {
	case !standardDomain(n.domain):
		return e.refuse("export with the operators of the ONNX standard only",
			"belongs to the set of operators %q", n.domain)
	case onnxCells[n.op].gates != nil:
		results, err = e.recurrent()
	case known:
		var v onnxValue
		v, err = operator(e)
		results = []onnxValue{v}
	default:
		return e.refuse(operatorHint(n.op), "is an operator that kerf does not know")
	}
	if err != nil {
		return err
	}
	for i, name := range n.outputs {
		if name == "" {
			continue
		}
		if i >= len(results) {
			return e.refuse("leave that output out", "gives an output %d that kerf does not know",
				i)
		}
		if e.values[name] != nil {
			return e.broken("computes %q a second time", name)
		}
		if s, ok := results[i].(*signal); ok && len(s.chain.dense) > maxDense {
			return e.refuse("a network for a microcontroller has a few",
				"is dense layer %d, at most %d are read", len(s.chain.dense), maxDense)
		}
		e.values[name] = results[i]
	}
	return nil
}

// operatorHint returns the advice for an operator that is not handled.
func operatorHint(op string) string {
	switch {
	case strings.Contains(op, "uantize") || strings.HasSuffix(op, "Integer"):
		return "export the float network, before quantization: kerf quantizes it"
	case op == "Loop" || op == "Scan" || op == "If":
		return "export the recurrent layer as one GRU, LSTM or RNN operator, not unrolled"
	case op == "ArgMax":
		return "end the network with the scores of the classes: kerf takes the largest"
	}
	return "kerf reads GRU, LSTM and RNN layers, then MatMul, Gemm, Add, Sub, Mul, Div, Relu, " +
		"Tanh, Sigmoid, Softmax, and operators that only move values; " +
		"change the network or export the part that fits"
}
