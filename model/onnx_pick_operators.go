package model

import (
	"math"
	"slices"
)

// expand computes Expand: computed values may only gain axes of size 1.
func (e *onnxEval) expand() (onnxValue, error) {
	v, err := e.need(0)
	if err != nil {
		return nil, err
	}
	want, err := e.sizes(1, "sizes")
	if err != nil {
		return nil, err
	}
	dims := v.dims()
	if dims == nil {
		return v, nil
	}
	shape, ok := broadcast(dims, want)
	if !ok {
		return nil, e.broken("cannot repeat %s to %s", formatShape(dims), formatShape(want))
	}
	if c, isConstant := v.(*constant); isConstant {
		return c.expand(e, shape)
	}
	before, _ := elements(dims)
	if after, ok := elements(shape); !ok || after != before {
		return nil, e.refuse("use the output of the layer at every step",
			"repeats computed values from %s to %s", formatShape(dims), formatShape(shape))
	}
	return e.regroup(v, shape)
}

// gather computes Gather: the places of an axis that a list of constants names.
func (e *onnxEval) gather() (onnxValue, error) {
	v, err := e.need(0)
	if err != nil {
		return nil, err
	}
	index, err := e.constantInput(1, "positions")
	if err != nil {
		return nil, err
	}
	if index == nil || !index.whole {
		return nil, e.broken("lacks the positions to take")
	}
	dims := v.dims()
	if dims == nil {
		return v, nil
	}
	axis, err := e.axis(e.whole("axis", 0), len(dims))
	if err != nil {
		return nil, err
	}
	if err := e.spendOn(index, index.shape); err != nil {
		return nil, err
	}
	list := make([]int, len(index.wholes))
	for i, k := range index.wholes {
		if k < 0 {
			k += int64(dims[axis])
		}
		if k < 0 || k >= int64(dims[axis]) {
			return nil, e.broken("takes place %d of an axis of size %d", k, dims[axis])
		}
		list[i] = int(k)
	}
	if len(list) != index.count() {
		return nil, e.refuse("write the positions out", "takes the same place %d times",
			index.count())
	}
	chosen, err := v.choose(e, axis, places{count: len(list), list: list})
	if err != nil || len(index.shape) == 1 || chosen.dims() == nil {
		return chosen, err
	}
	return e.regroup(chosen, slices.Concat(dims[:axis], index.shape, dims[axis+1:]))
}

// slice computes Slice, axis by axis.
func (e *onnxEval) slice() (onnxValue, error) {
	v, err := e.need(0)
	if err != nil {
		return nil, err
	}
	var lists [4][]int64
	for i, name := range []string{"starts", "ends", "axes", "steps"} {
		if lists[i], err = e.wholeList(i+1, name); err != nil {
			return nil, err
		}
	}
	starts, ends, axes, steps := lists[0], lists[1], lists[2], lists[3]
	if len(starts) != len(ends) || axes != nil && len(axes) != len(starts) || steps != nil &&
		len(steps) != len(starts) {
		return nil, e.broken("has %d starts, %d ends, %d axes and %d steps", len(starts), len(ends),
			len(axes), len(steps))
	}
	for i := range starts {
		dims := v.dims()
		if dims == nil {
			return v, nil
		}
		axis, step := int64(i), int64(1)
		if axes != nil {
			axis = axes[i]
		}
		if steps != nil {
			step = steps[i]
		}
		k, err := e.axis(axis, len(dims))
		if err != nil {
			return nil, err
		}
		r, err := e.row(starts[i], ends[i], step, dims[k])
		if err != nil {
			return nil, err
		}
		if r.all(dims[k]) {
			continue
		}
		if v, err = v.choose(e, k, r); err != nil {
			return nil, err
		}
	}
	return v, nil
}

// row returns the places that a slice takes of an axis, with its bounds clamped as the standard
// says (ONNX operator Slice, 13).
func (e *onnxEval) row(start, end, step int64, size int) (places, error) {
	n := int64(size)
	if step == 0 || step < -math.MaxInt32 || step > math.MaxInt32 {
		return places{}, e.broken("has a step of %d", step)
	}
	low, high := int64(0), n
	if step < 0 {
		low, high = -1, n-1
	}
	clamp := func(v int64) int64 {
		if v < 0 {
			v += n
		}
		return min(max(v, low), high)
	}
	start, end = min(max(clamp(start), 0), high), clamp(end)
	count := int64(0)
	if step > 0 && end > start {
		count = (end-start-1)/step + 1
	} else if step < 0 && start > end {
		count = (start-end-1)/-step + 1
	}
	if count == 0 {
		return places{}, e.refuse("take at least one value", "takes nothing of an axis of size %d",
			size)
	}
	return places{start: int(start), step: int(step), count: int(count)}, nil
}

// concat computes Concat of constants alone, or of computed values alone.
func (e *onnxEval) concat() (onnxValue, error) {
	var parts []onnxValue
	for i := range e.node.inputs {
		v, err := e.need(i)
		if err != nil {
			return nil, err
		}
		if v.dims() == nil {
			return opaque{}, nil
		}
		parts = append(parts, v)
	}
	if len(parts) == 0 {
		return nil, e.broken("has no inputs")
	}
	if len(parts) == 1 {
		return parts[0], nil
	}
	dims := parts[0].dims()
	axis, err := e.axis(e.whole("axis", 0), len(dims))
	if err != nil {
		return nil, err
	}
	size, constants := 0, 0
	for _, p := range parts {
		d := slices.Clone(p.dims())
		if len(d) == len(dims) {
			size += d[axis]
			d[axis] = dims[axis]
		}
		if !slices.Equal(d, dims) {
			return nil, e.broken("cannot put %s behind %s", formatShape(p.dims()),
				formatShape(dims))
		}
		if _, ok := p.(*constant); ok {
			constants++
		}
	}
	switch constants {
	case 0:
		return e.join(parts, axis)
	case len(parts):
		return e.concatConstants(parts, axis, size)
	}
	return nil, e.refuse("give the network its constants as biases",
		"puts constants beside computed values")
}

// concatConstants puts constants behind each other along an axis, whose size is then the given one.
func (e *onnxEval) concatConstants(parts []onnxValue, axis, size int) (onnxValue, error) {
	first := parts[0].(*constant)
	shape := slices.Clone(first.shape)
	shape[axis] = size
	same := true // all parts hold one and the same value
	for _, p := range parts {
		c := p.(*constant)
		if c.whole != first.whole {
			return nil, e.broken("mixes whole numbers and floats")
		}
		same = same && c.stored() == 1 && c.float(0) == first.float(0)
	}
	c := first.like(shape)
	if same {
		c.take(first, 0)
		return c, nil
	}
	count, ok := elements(shape)
	if !ok {
		count = -1
	}
	if err := e.spend(count); err != nil {
		return nil, err
	}
	outer, _ := elements(shape[:axis])
	for o := range outer {
		for _, p := range parts {
			part := p.(*constant)
			block := part.count() / max(outer, 1)
			for i := range block {
				c.take(part, o*block+i)
			}
		}
	}
	return c, nil
}

// join puts computed values side by side: the results of parallel dense layers along the axis of
// values, or any values along an axis of size 1.
func (e *onnxEval) join(parts []onnxValue, axis int) (onnxValue, error) {
	var signals []*signal
	for _, p := range parts {
		if s, ok := p.(*signal); ok && s.ends(axis) {
			signals = append(signals, s)
		}
	}
	if len(signals) == len(parts) && sameLayers(signals) {
		chain, err := e.merge(signals)
		if err != nil {
			return nil, err
		}
		axes := slices.Clone(signals[0].axes)
		axes[axis] = chain.valueAxis()
		return &signal{axes: axes, chain: chain, last: signals[0].last}, nil
	}
	for _, p := range parts {
		if _, nested := p.(*stack); nested {
			return opaque{}, nil
		}
		if p.dims()[axis] != 1 {
			return nil, e.refuse("give the network one input that holds all features, and chain "+
				"its layers", "puts computed values side by side")
		}
	}
	return &stack{axis: axis, parts: parts}, nil
}

// ends reports whether an axis holds the results of a dense layer.
func (s *signal) ends(axis int) bool {
	return len(s.chain.dense) > 0 && slices.Equal(s.axes[axis], s.chain.valueAxis()) &&
		(s.chain.value != nil || axis == len(s.axes)-1)
}
