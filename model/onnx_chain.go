package model

import "slices"

// chain is the function from the features to a signal: the features, shifted and scaled, go through
// recurrent and then dense layers. A chain never changes; an operator that adds something returns a
// new one.
type chain struct {
	input *onnxInput // holds the features
	// value is the axis of the values of one step; nil while it is not known, and for one value.
	value *factor

	// Before the first layer, value i of a step is scale[i]·feature[columns[i]] + offset[i].
	columns       []int     // nil for all features in their order
	features      int       // number of features of the input; counts if columns is not nil
	scale, offset []float64 // one for all values, or one per value

	recurrent []*Recurrent
	dense     []*Dense
	mean, std []float64 // normalisation of the features before the first layer; nil if none
	softmax   bool      // stands at the end
}

// newChain returns the chain of an input itself.
func newChain(in *onnxInput) *chain {
	return &chain{input: in, scale: []float64{1}, offset: []float64{0}}
}

// raw reports whether the chain has no layer yet.
func (c *chain) raw() bool { return len(c.recurrent) == 0 }

// plain reports whether the chain has no layer yet, and neither shifts nor scales the features.
func (c *chain) plain() bool {
	return c.raw() && len(c.scale) == 1 && c.scale[0] == 1 && len(c.offset) == 1 && c.offset[0] == 0
}

// valueAxis returns the factors of the axis of the values: none for a single value.
func (c *chain) valueAxis() []*factor {
	if c.value == nil {
		return nil
	}
	return []*factor{c.value}
}

// width returns the number of values of one step. Before the first layer it is known only after an
// axis was recognised.
func (c *chain) width() int {
	switch {
	case len(c.dense) > 0:
		return c.dense[len(c.dense)-1].Outputs
	case !c.raw():
		return c.recurrent[len(c.recurrent)-1].Units
	case c.value != nil:
		return c.value.size
	case c.columns != nil:
		return len(c.columns)
	}
	return 1
}

// newValueAxis gives the values of a new chain an axis of their own, if the one they have does not
// fit.
func (c *chain) newValueAxis() {
	switch n := c.width(); {
	case n == 1:
		c.value = nil
	case c.value == nil || c.value.size != n:
		c.value = &factor{size: n, role: valueRole}
	}
}

// recognise returns the chain whose values stand along a factor, and gives the factor that role.
func (c *chain) recognise(f *factor) *chain {
	if c.value == f {
		return c
	}
	d := *c
	d.value = f
	f.role = valueRole
	return &d
}

// spread returns value i of a list that holds one value for all or one for each.
func spread(values []float64, i int) float64 { return values[min(i, len(values)-1)] }

// choose returns the chain that keeps some of the values along a factor.
func (c *chain) choose(e *onnxEval, f *factor, chosen []int) (*chain, error) {
	if c.softmax {
		return nil, e.afterSoftmax()
	}
	d := *c.recognise(f)
	if !d.raw() {
		return d.chooseRows(e, chosen)
	}
	columns := make([]int, len(chosen))
	scale, offset := make([]float64, len(chosen)), make([]float64, len(chosen))
	for i, k := range chosen {
		columns[i], scale[i], offset[i] = k, spread(d.scale, k), spread(d.offset, k)
		if d.columns != nil {
			columns[i] = d.columns[k]
		}
	}
	if d.columns == nil {
		d.features = f.size
	}
	d.columns = columns
	if len(d.scale) > 1 {
		d.scale = scale
	}
	if len(d.offset) > 1 {
		d.offset = offset
	}
	d.value = nil
	if len(chosen) > 1 {
		d.value = &factor{size: len(chosen), role: valueRole}
	}
	return &d, nil
}

// chooseRows returns the chain that keeps some results of the last layer.
func (c *chain) chooseRows(e *onnxEval, chosen []int) (*chain, error) {
	if len(c.dense) == 0 {
		w := make([]float64, 0)
		if err := e.spend(len(chosen) * c.width()); err != nil {
			return nil, err
		}
		for _, k := range chosen {
			row := make([]float64, c.width())
			row[k] = 1
			w = append(w, row...)
		}
		return c.append(&Dense{Inputs: c.width(), Outputs: len(chosen), W: w,
			B: make([]float64, len(chosen))}), nil
	}
	last := c.dense[len(c.dense)-1]
	if err := e.spend(len(chosen) * last.Inputs); err != nil {
		return nil, err
	}
	d := &Dense{Inputs: last.Inputs, Outputs: len(chosen), Activation: last.Activation}
	for _, k := range chosen {
		d.W = append(d.W, last.W[k*last.Inputs:][:last.Inputs]...)
		d.B = append(d.B, last.B[k])
	}
	return c.replace(d), nil
}

// append returns the chain with a further dense layer.
func (c *chain) append(d *Dense) *chain {
	n := *c
	n.dense = append(slices.Clone(c.dense), d)
	n.newValueAxis()
	return &n
}

// replace returns the chain with another dense layer in place of the last one.
func (c *chain) replace(d *Dense) *chain {
	n := *c
	n.dense = slices.Clone(c.dense)
	n.dense[len(n.dense)-1] = d
	n.newValueAxis()
	return &n
}

// affine returns the chain whose values are multiplied by scale and shifted by offset; each list
// has one entry for all values or one per value.
func (c *chain) affine(e *onnxEval, scale, offset []float64) (*chain, error) {
	if c.softmax {
		return nil, e.afterSoftmax()
	}
	if c.raw() {
		n := *c
		n.scale = combine(c.scale, scale, func(a, b float64) float64 { return a * b })
		n.offset = combine(combine(c.offset, scale, func(a, b float64) float64 {
			return a * b
		}), offset, func(a, b float64) float64 { return a + b })
		return &n, nil
	}
	width := c.width()
	last := &Dense{Activation: Tanh} // a recurrent layer: its results are no plain sum either
	if len(c.dense) > 0 {
		last = c.dense[len(c.dense)-1]
	}
	d := &Dense{Inputs: last.Inputs, Outputs: width}
	if last.Activation == Identity {
		if err := e.spend(len(last.W)); err != nil {
			return nil, err
		}
		d.W, d.B = slices.Clone(last.W), slices.Clone(last.B)
		for o := range d.B {
			row := d.W[o*d.Inputs:][:d.Inputs]
			for i := range row {
				row[i] *= spread(scale, o)
			}
			d.B[o] = float64(d.B[o]*spread(scale, o)) + spread(offset, o)
		}
		return c.replace(d), nil
	}
	if err := e.spend(width * width); err != nil {
		return nil, err
	}
	d.Inputs, d.W, d.B = width, make([]float64, width*width), make([]float64, width)
	for o := range d.B {
		d.W[o*width+o], d.B[o] = spread(scale, o), spread(offset, o)
	}
	return c.append(d), nil
}

// combine applies an operation to two lists, each with one entry for all values or one per value.
func combine(a, b []float64, operation func(a, b float64) float64) []float64 {
	result := make([]float64, max(len(a), len(b)))
	for i := range result {
		result[i] = operation(spread(a, i), spread(b, i))
	}
	return result
}

// activate returns the chain that applies a function to every value.
func (c *chain) activate(e *onnxEval, a Activation) (*chain, error) {
	switch {
	case c.softmax:
		return nil, e.afterSoftmax()
	case c.raw():
		return nil, e.refuse("let the recurrent layer see the features themselves, shifted and "+
			"scaled at most", "stands in front of the recurrent layers")
	case len(c.dense) > 0 && c.dense[len(c.dense)-1].Activation == Identity:
		d := *c.dense[len(c.dense)-1]
		d.Activation = a
		return c.replace(&d), nil
	}
	// The results of the last layer are no plain sum: append a layer that copies them.
	n, err := c.affine(e, []float64{1}, []float64{0})
	if err != nil {
		return nil, err
	}
	return n.activate(e, a)
}

// afterSoftmax returns the error of an operator behind a softmax.
func (e *onnxEval) afterSoftmax() error {
	return e.refuse("end the network with the softmax, or leave it out: the largest score stays "+
		"the largest", "comes after a softmax")
}
