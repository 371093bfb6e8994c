package model

import (
	"slices"
	"strings"
)

// onnxCell describes a recurrent operator of the standard.
type onnxCell struct {
	gates       []int    // its block that holds each of our gate blocks, see [Recurrent]
	activations []string // the default ones
	kind        Kind     // with these activations
}

// onnxCells are the recurrent operators. The standard's order of gates is z r h in a GRU and i o f
// c in an LSTM (ONNX operator documentation).
var onnxCells = map[string]onnxCell{
	"GRU":  {[]int{1, 0, 2}, []string{"Sigmoid", "Tanh"}, GRUResetBefore},
	"LSTM": {[]int{0, 2, 3, 1}, []string{"Sigmoid", "Tanh", "Tanh"}, LSTM},
	"RNN":  {[]int{0}, []string{"Tanh"}, ElmanTanh},
}

// Inputs of a recurrent operator, in the standard's order.
const (
	inputX = iota
	inputW
	inputR
	inputB
	inputLengths
	inputH // hidden state; the cell state follows
	_
	inputPeepholes
)

// recurrent computes GRU, LSTM or RNN, with the results Y, Y_h and of an LSTM Y_c.
func (e *onnxEval) recurrent() ([]onnxValue, error) {
	cell := onnxCells[e.node.op]
	kind, err := e.kind(cell)
	if err != nil {
		return nil, err
	}
	x, err := e.computed(inputX)
	if err != nil {
		return nil, err
	}
	layer, err := e.weights(cell, kind)
	if err != nil {
		return nil, err
	}
	batchFirst := e.whole("layout", 0) != 0
	x, steps, batch, err := e.sequence(x, batchFirst, layer.Inputs)
	if err != nil {
		return nil, err
	}
	if err := e.start(x, steps); err != nil {
		return nil, err
	}
	chain, err := e.extend(x.chain, layer)
	if err != nil {
		return nil, err
	}
	values := chain.valueAxis()
	y := &signal{axes: [][]*factor{steps, nil, batch, values}, chain: chain}
	h := &signal{axes: [][]*factor{nil, batch, values}, chain: chain, last: steps != nil}
	if batchFirst {
		y.axes = [][]*factor{batch, steps, nil, values}
		h.axes = [][]*factor{batch, nil, values}
	}
	if kind.HasCell() {
		return []onnxValue{y, h, opaque{}}, nil
	}
	return []onnxValue{y, h}, nil
}

// kind returns the kind of layer that the attributes of the present node choose.
func (e *onnxEval) kind(cell onnxCell) (Kind, error) {
	if a := e.node.attribute("direction"); a != nil && a.s != "forward" {
		return 0, e.refuse("a backward direction needs the whole sequence first; train with one "+
			"direction", "has direction %q", a.s)
	}
	if e.node.attribute("clip") != nil {
		return 0, e.refuse("train and export without clip", "clips the inputs of its "+
			"activations, which neither the float nor the integer network of kerf does")
	}
	if e.whole("input_forget", 0) != 0 {
		return 0, e.refuse("train with independent gates", "couples its input and forget gates")
	}
	kind := cell.kind
	if e.node.op == "GRU" && e.whole("linear_before_reset", 0) != 0 {
		kind = GRUResetAfter
	}
	a := e.node.attribute("activations")
	if a == nil {
		return kind, nil
	}
	same := func(want []string) bool { return slices.EqualFunc(a.strings, want, strings.EqualFold) }
	switch {
	case same(cell.activations):
		return kind, nil
	case kind == ElmanTanh && same([]string{"Relu"}):
		return ElmanReLU, nil
	}
	hint := "train with the activations " + strings.Join(cell.activations, ", ")
	if kind == ElmanTanh {
		hint += " or Relu"
	}
	return 0, e.refuse(hint, "has the activations %s", strings.Join(a.strings, ", "))
}

// weights reads W, R and B of one direction into a layer.
func (e *onnxEval) weights(cell onnxCell, kind Kind) (*Recurrent, error) {
	var tensors [3]*constant
	for i, what := range []string{"input weights", "recurrent weights", "biases"} {
		c, err := e.constantInput(inputW+i, what)
		if err != nil {
			return nil, err
		}
		if c == nil && inputW+i != inputB {
			return nil, e.broken("lacks its %s", what)
		}
		tensors[i] = c
	}
	w, r, b := tensors[0], tensors[1], tensors[2]
	gates := kind.Gates()
	if len(r.shape) != 3 || r.shape[0] != 1 || r.shape[2] < 1 || r.shape[1] != gates*r.shape[2] {
		return nil, e.broken("has recurrent weights of shape %s, expected [1 × %d*units × units]",
			formatShape(r.shape), gates)
	}
	l := &Recurrent{Kind: kind, Units: r.shape[2]}
	rows := gates * l.Units
	if size := e.whole("hidden_size", int64(l.Units)); size != int64(l.Units) {
		return nil, e.broken("has a hidden_size of %d, but recurrent weights for %d units", size,
			l.Units)
	}
	if len(w.shape) != 3 || w.shape[0] != 1 || w.shape[1] != rows || w.shape[2] < 1 {
		return nil, e.broken("has input weights of shape %s, expected [1 × %d × inputs]",
			formatShape(w.shape), rows)
	}
	l.Inputs = w.shape[2]
	var err error
	if l.W, err = e.blocks(w, cell.gates, 0, rows*l.Inputs); err != nil {
		return nil, err
	}
	if l.U, err = e.blocks(r, cell.gates, 0, rows*l.Units); err != nil {
		return nil, err
	}
	if b == nil {
		l.B, l.D = make([]float64, rows), make([]float64, rows)
		return l, e.spend(2 * rows)
	}
	if !slices.Equal(b.shape, []int{1, 2 * rows}) {
		return nil, e.broken("has biases of shape %s, expected [1 × %d]", formatShape(b.shape),
			2*rows)
	}
	if l.B, err = e.blocks(b, cell.gates, 0, rows); err != nil {
		return nil, err
	}
	l.D, err = e.blocks(b, cell.gates, rows, rows)
	return l, err
}

// blocks copies count values from an index on, gate by gate, in the order of [Recurrent].
func (e *onnxEval) blocks(c *constant, gates []int, from, count int) ([]float64, error) {
	if c.whole {
		return nil, e.refuse("export the float network, before quantization",
			"has weights that are whole numbers")
	}
	if err := e.spend(count); err != nil {
		return nil, err
	}
	values := make([]float64, 0, count)
	size := count / len(gates)
	for _, g := range gates {
		for i := range size {
			values = append(values, c.float(from+g*size+i))
		}
	}
	return values, e.finite(values, c)
}

// sequence finds steps, sequences and values among the axes of the input X of a recurrent layer.
func (e *onnxEval) sequence(x *signal, batchFirst bool,
	inputs int) (s *signal, steps, batch []*factor, err error) {
	if len(x.axes) != 3 {
		return nil, nil, nil,
			e.broken("takes a tensor of shape %s, expected three axes", formatShape(x.dims()))
	}
	if x.last {
		return nil, nil, nil, e.refuse("feed every step of one layer to the next",
			"takes the last step of the layer before it as its sequence")
	}
	steps, batch = x.axes[0], x.axes[1]
	if batchFirst {
		steps, batch = batch, steps
	}
	if size := axisSize(x.axes[2]); size != inputs {
		return nil, nil, nil, e.broken("takes %d values, but its input weights are for %d", size,
			inputs)
	}
	chain := x.chain
	if values := x.axes[2]; len(values) == 1 && chain.raw() && values[0].role == unknownRole {
		chain = chain.recognise(values[0])
	}
	if len(steps) > 1 || !slices.Equal(x.axes[2], chain.valueAxis()) ||
		!takeRole(steps, stepRole) || !takeRole(batch, batchRole) {
		return nil, nil, nil,
			e.refuse("transpose so that the layer gets [steps × sequences × values], or with "+
				"layout=1 [sequences × steps × values]",
				"takes axes of shape %s in another order than the layers and constants before it",
				formatShape(x.dims()))
	}
	return x.through(chain), steps, batch, nil
}

// takeRole gives factors a role, and reports false if one of them has another role already.
func takeRole(factors []*factor, r role) bool {
	for _, f := range factors {
		if f.role != unknownRole && f.role != r {
			return false
		}
		f.role = r
	}
	return true
}

// start returns an error unless the layer runs through whole sequences, and starts from zeros or
// from a state that is an input of the graph.
func (e *onnxEval) start(x *signal, steps []*factor) error {
	switch v := e.value(inputLengths).(type) {
	case nil:
	case *constant:
		if !v.uniform() || v.float(0) != float64(axisSize(steps)) {
			return e.refuse("export without sequence lengths",
				"ends sequences before the last step")
		}
	case *signal:
		if !v.chain.plain() || v.chain.input == x.chain.input {
			return e.refuse("export without sequence lengths",
				"computes the lengths of its sequences")
		} // else an input of the graph says where sequences end, and recordings say that too
	}
	for i, what := range []string{"hidden state", "cell state"} {
		switch v := e.value(inputH + i).(type) {
		case nil:
		case *constant:
			if v.count() > 0 && (!v.uniform() || v.float(0) != 0) {
				return e.refuse("train and export with a start state of zeros",
					"starts from a stored %s that is not zero, but kerf resets states to zero",
					what)
			}
		default:
			if !fromOutside(v, x.chain.input) {
				return e.refuse("start the layer from zeros, or from an input of the graph",
					"starts from a %s that is computed", what)
			}
		}
	}
	if p, err := e.constantInput(inputPeepholes, "peephole weights"); err != nil || p != nil &&
		(!p.uniform() || p.float(0) != 0) {
		return e.refuse("train without peepholes", "has peepholes from the cell state to its gates")
	}
	return nil
}

// fromOutside reports whether a value comes from inputs of the graph other than the features.
func fromOutside(v onnxValue, features *onnxInput) bool {
	switch v := v.(type) {
	case *signal:
		return v.chain.plain() && v.chain.input != features
	case *stack:
		return !slices.ContainsFunc(v.parts, func(p onnxValue) bool {
			return !fromOutside(p, features)
		})
	}
	return false
}

// extend returns the chain with a further recurrent layer. Linear layers in front of it go into its
// input weights. A shift and scale of the features is kept apart as mean and standard deviation
// where [onnxEval.normalise] can.
func (e *onnxEval) extend(c *chain, l *Recurrent) (*chain, error) {
	n := *c
	if len(c.recurrent) == maxRecurrent {
		return nil, e.refuse("train with fewer layers",
			"is recurrent layer %d, at most %d are read", maxRecurrent+1, maxRecurrent)
	}
	for i := len(c.dense) - 1; i >= 0; i-- {
		d := c.dense[i]
		if d.Activation != Identity {
			return nil, e.refuse("put the recurrent layers first, one after the other",
				"is a recurrent layer after a dense one")
		}
		if err := e.spend(len(l.B) * d.Inputs); err != nil {
			return nil, err
		}
		l = l.after(d)
	}
	n.dense = nil
	if c.raw() {
		var err error
		if l, err = e.normalise(&n, l); err != nil {
			return nil, err
		}
	}
	n.recurrent = append(slices.Clone(c.recurrent), l)
	n.newValueAxis()
	return &n, nil
}

// after returns the layer with a linear layer before it folded into its input weights.
func (l *Recurrent) after(d *Dense) *Recurrent {
	m := *l
	m.Inputs = d.Inputs
	m.W, m.B = make([]float64, len(l.B)*d.Inputs), slices.Clone(l.B)
	for row := range l.B {
		into := m.W[row*d.Inputs:][:d.Inputs]
		for j, w := range l.W[row*l.Inputs:][:l.Inputs] {
			m.B[row] += float64(w * d.B[j])
			for i, v := range d.W[j*d.Inputs:][:d.Inputs] {
				into[i] += float64(w * v)
			}
		}
	}
	return &m
}
