package model

import (
	"slices"
)

// arithmetic computes Add, Sub, Mul or Div.
func (e *onnxEval) arithmetic() (onnxValue, error) {
	a, err := e.need(0)
	if err != nil {
		return nil, err
	}
	b, err := e.need(1)
	if err != nil {
		return nil, err
	}
	for _, v := range []onnxValue{a, b} {
		if _, err := e.knownShape(v); err != nil {
			return nil, err
		}
	}
	ca, aIsConstant := a.(*constant)
	cb, bIsConstant := b.(*constant)
	sa, aIsSignal := a.(*signal)
	sb, bIsSignal := b.(*signal)
	switch {
	case aIsConstant && bIsConstant:
		return e.fold(ca, cb)
	case aIsSignal && bIsConstant:
		return e.elementwise(sa, cb, false)
	case aIsConstant && bIsSignal:
		return e.elementwise(sb, ca, true)
	}
	return nil, e.refuse("kerf reads chains of layers, without connections around a layer",
		"combines two computed values")
}

// fold computes arithmetic on two constants.
func (e *onnxEval) fold(a, b *constant) (onnxValue, error) {
	shape, ok := broadcast(a.shape, b.shape)
	if !ok || a.whole != b.whole {
		return nil, e.broken("cannot combine %s and %s", formatShape(a.shape), formatShape(b.shape))
	}
	a, err := a.expand(e, shape)
	if err != nil {
		return nil, err
	}
	if b, err = b.expand(e, shape); err != nil {
		return nil, err
	}
	c := a.like(shape)
	count := max(a.stored(), b.stored())
	if err := e.spend(count); err != nil {
		return nil, err
	}
	for i := range count {
		if !c.whole {
			c.floats = append(c.floats, calculate(e.node.op, a.float(i), b.float(i)))
			continue
		}
		x, y := a.wholes[min(i, len(a.wholes)-1)], b.wholes[min(i, len(b.wholes)-1)]
		if y == 0 && e.node.op == "Div" {
			return nil, e.broken("divides by 0")
		}
		c.wholes = append(c.wholes, calculate(e.node.op, x, y))
	}
	return c, nil
}

// unary returns an operator that computes a constant from another, value by value.
func unary(f func(float64) float64) func(*onnxEval) (onnxValue, error) {
	return func(e *onnxEval) (onnxValue, error) {
		c, err := e.constantInput(0, "values")
		if err != nil {
			return nil, err
		}
		if c == nil || c.whole {
			return nil, e.broken("lacks floats to compute with")
		}
		if err := e.spend(c.stored()); err != nil {
			return nil, err
		}
		r := c.like(c.shape)
		for i := range c.stored() {
			r.floats = append(r.floats, f(c.float(i)))
		}
		return r, nil
	}
}

func calculate[number int64 | float64](op string, a, b number) number {
	switch op {
	case "Add":
		return a + b
	case "Sub":
		return a - b
	case "Mul":
		return a * b
	}
	return a / b
}

// elementwise computes arithmetic on a signal and a constant, which may differ from value to value
// of a step but not from step to step.
func (e *onnxEval) elementwise(s *signal, c *constant, constantFirst bool) (onnxValue, error) {
	s, values, err := e.along(s, c)
	if err != nil {
		return nil, err
	}
	scale, offset := []float64{1}, []float64{0}
	switch op := e.node.op; {
	case op == "Add":
		offset = values
	case op == "Sub" && constantFirst:
		scale, offset = []float64{-1}, values
	case op == "Sub":
		offset = combine(values, []float64{-1}, func(a, b float64) float64 { return a * b })
	case op == "Mul":
		scale = values
	case constantFirst:
		return nil, e.refuse("compute the quotient outside the network",
			"divides a constant by computed values")
	case slices.Contains(values, 0):
		return nil, e.refuse("a feature without spread carries nothing: take it out of the network",
			"divides by 0")
	default:
		scale = combine([]float64{1}, values, func(a, b float64) float64 { return a / b })
	}
	chain, err := s.chain.affine(e, scale, offset)
	if err != nil {
		return nil, err
	}
	return s.through(chain), nil
}

// along returns the numbers that arithmetic combines with the values of one step, one for all or
// one per value. The signal it returns knows the axis of its values if the constant shows it, and
// has the axes of size 1 that broadcasting adds.
func (e *onnxEval) along(s *signal, c *constant) (*signal, []float64, error) {
	if c.whole {
		return nil, nil, e.broken("combines floats with whole numbers")
	}
	dims := s.dims()
	shape, ok := broadcast(dims, c.shape)
	if !ok {
		return nil, nil,
			e.broken("cannot combine %s and %s", formatShape(dims), formatShape(c.shape))
	}
	added := len(shape) - len(dims)
	padded := append(make([]int, 0, len(shape)), shape[:added]...)
	if !slices.Equal(append(padded, dims...), shape) ||
		slices.ContainsFunc(shape[:added], func(size int) bool {
			return size != 1
		}) {
		return nil, nil, e.refuse("give the constants the shape of one step",
			"repeats computed values from %s to %s", formatShape(dims), formatShape(shape))
	}
	s = s.with(append(make([][]*factor, added), s.axes...))
	if c.uniform() {
		return s, []float64{c.float(0)}, nil
	}
	axis := -1
	for i, size := range c.shape {
		switch at := len(shape) - len(c.shape) + i; {
		case size == 1:
		case axis >= 0:
			return nil, nil, e.refuse("use constants that are the same at every step",
				"combines computed values with a table of shape %s", formatShape(c.shape))
		default:
			axis = at
		}
	}
	factors := s.axes[axis]
	if len(factors) != 1 || factors[0].role != valueRole && factors[0].role != unknownRole {
		return nil, nil,
			e.refuse("use constants that are the same at every step", "combines computed values "+
				"with constants that differ along axis %d, which holds steps or sequences", axis)
	}
	if err := e.spend(c.stored()); err != nil {
		return nil, nil, err
	}
	return s.through(s.chain.recognise(factors[0])), slices.Clone(c.floats), nil
}

// matMul computes MatMul: a dense layer without bias.
func (e *onnxEval) matMul() (onnxValue, error) {
	a, err := e.need(0)
	if err != nil {
		return nil, err
	}
	b, err := e.need(1)
	if err != nil {
		return nil, err
	}
	if s, ok := a.(*signal); ok {
		if c, ok := b.(*constant); ok && len(c.shape) == 2 && len(s.axes) > 0 {
			return e.linear(s, len(s.axes)-1, c, false, 1)
		}
	}
	if s, ok := b.(*signal); ok {
		if c, ok := a.(*constant); ok && len(c.shape) == 2 && len(s.axes) > 1 {
			return e.linear(s, len(s.axes)-2, c, true, 1)
		}
	}
	return nil, e.refuse("kerf reads the product of computed values and a stored matrix",
		"multiplies %s by %s", describe(a), describe(b))
}

// describe names a value in an error.
func describe(v onnxValue) string {
	switch v := v.(type) {
	case *constant:
		return "constants of shape " + formatShape(v.shape)
	case *signal:
		return "computed values of shape " + formatShape(v.dims())
	}
	return "states"
}

// linear multiplies the values along an axis by scale and a matrix [values × results], or if
// transposed [results × values].
func (e *onnxEval) linear(s *signal, axis int, c *constant, transposed bool,
	scale float64) (*signal, error) {
	switch {
	case s.chain.softmax:
		return nil, e.afterSoftmax()
	case s.chain.raw():
		return nil, e.refuse("start the network with the recurrent layer",
			"is a dense layer in front of the recurrent ones")
	case !slices.Equal(s.axes[axis], s.chain.valueAxis()):
		return nil, e.refuse("apply the dense layer at every step, or to the last one",
			"is a dense layer over several steps at once: it takes %s along axis %d",
			formatShape(s.dims()), axis)
	}
	inputs, outputs := c.shape[0], c.shape[1]
	if transposed {
		inputs, outputs = outputs, inputs
	}
	if inputs != s.chain.width() || outputs < 1 || c.whole {
		return nil, e.broken("multiplies %d values by a matrix of shape %s", s.chain.width(),
			formatShape(c.shape))
	}
	if err := e.spend(inputs * outputs); err != nil {
		return nil, err
	}
	d := &Dense{Inputs: inputs, Outputs: outputs, W: make([]float64, inputs*outputs),
		B: make([]float64, outputs)}
	for o := range outputs {
		for i := range inputs {
			at := i*outputs + o
			if transposed {
				at = o*inputs + i
			}
			d.W[o*inputs+i] = c.float(at) * scale
		}
	}
	if err := e.finite(d.W, c); err != nil {
		return nil, err
	}
	chain := s.chain.append(d)
	axes := slices.Clone(s.axes)
	axes[axis] = chain.valueAxis()
	return &signal{axes: axes, chain: chain, last: s.last}, nil
}

// finite returns an error if weights that follow from c are not finite or too large.
func (e *onnxEval) finite(values []float64, c *constant) error {
	if i := firstUnusable(values); i >= 0 {
		return e.node.place(e.at).broken(weightHint, "%s holds the value %v", c.name, values[i])
	}
	return nil
}

// gemm computes Gemm, alpha·A·B + beta·C: a dense layer with bias.
func (e *onnxEval) gemm() (onnxValue, error) {
	a, err := e.need(0)
	if err != nil {
		return nil, err
	}
	b, err := e.constantInput(1, "weights")
	if err != nil {
		return nil, err
	}
	s, ok := a.(*signal)
	if !ok || b == nil || len(s.axes) != 2 || len(b.shape) != 2 {
		return nil, e.refuse("kerf reads the product of computed values [sequences × values] "+
			"and a stored matrix", "multiplies %s by other values", describe(a))
	}
	if e.whole("transA", 0) != 0 {
		s = s.transpose([]int{1, 0}).(*signal)
	}
	y, err := e.linear(s, 1, b, e.whole("transB", 0) != 0, e.float("alpha", 1))
	if err != nil {
		return nil, err
	}
	bias, err := e.constantInput(2, "biases")
	if err != nil || bias == nil {
		return y, err
	}
	y, values, err := e.along(y, bias)
	if err != nil {
		return nil, err
	}
	beta := e.float("beta", 1)
	chain, err := y.chain.affine(e, []float64{1},
		combine(values, []float64{beta}, func(a, b float64) float64 {
			return a * b
		}))
	if err != nil {
		return nil, err
	}
	return y.through(chain), nil
}

// float returns a float attribute of the present node, or otherwise if the node has none of that
// name.
func (e *onnxEval) float(name string, otherwise float64) float64 {
	if a := e.node.attribute(name); a != nil {
		return float64(a.f)
	}
	return otherwise
}

// computed returns input i, which must be a signal.
func (e *onnxEval) computed(i int) (*signal, error) {
	v, err := e.need(i)
	if err != nil {
		return nil, err
	}
	if s, ok := v.(*signal); ok {
		return s, nil
	}
	return nil, e.refuse("apply it to the outputs of a layer", "takes %s", describe(v))
}

// activation returns the operator of an activation.
func activation(a Activation) func(*onnxEval) (onnxValue, error) {
	return func(e *onnxEval) (onnxValue, error) {
		s, err := e.computed(0)
		if err != nil {
			return nil, err
		}
		chain, err := s.chain.activate(e, a)
		if err != nil {
			return nil, err
		}
		return s.through(chain), nil
	}
}

// softmax computes Softmax or LogSoftmax. Neither changes the order of the scores, so the network
// leaves it out and must end with it.
func (e *onnxEval) softmax() (onnxValue, error) {
	s, err := e.computed(0)
	if err != nil {
		return nil, err
	}
	// Before version 13 the softmax is over all axes from the given one on, and the default axis is
	// 1 (ONNX operator Softmax, 11).
	last := int64(-1)
	if e.model.opset < 13 {
		last = 1
	}
	axis, err := e.axis(e.whole("axis", last), len(s.axes))
	if err != nil {
		return nil, err
	}
	over := s.axes[axis]
	if e.model.opset < 13 {
		over = slices.Concat(s.axes[axis:]...)
	}
	if s.chain.raw() || s.chain.softmax || !slices.Equal(over, s.chain.valueAxis()) {
		return nil, e.refuse("apply the softmax to the scores of one step, at the end of the "+
			"network", "is over axis %d of %s, which are not the scores of one step", axis,
			formatShape(s.dims()))
	}
	chain := *s.chain
	chain.softmax = true
	return s.through(&chain), nil
}
