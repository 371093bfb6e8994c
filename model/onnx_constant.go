package model

import "slices"

// dims returns the shape, which is never nil, since nil means unknown.
func (c *constant) dims() []int { return append([]int{}, c.shape...) }

// fill gives a constant its values: at every index of its shape, the value of from at the flat
// index that source returns.
func (c *constant) fill(from *constant, source func(index []int) int) *constant {
	if from.stored() == 1 { // one value stands for all
		c.take(from, 0)
		return c
	}
	index := make([]int, len(c.shape))
	for range c.count() {
		c.take(from, source(index))
		for axis := len(index) - 1; axis >= 0; axis-- {
			if index[axis]++; index[axis] < c.shape[axis] {
				break
			}
			index[axis] = 0
		}
	}
	return c
}

// strides returns how far apart in memory neighbours along each axis are.
func strides(shape []int) []int {
	s := make([]int, len(shape))
	step := 1
	for axis := len(shape) - 1; axis >= 0; axis-- {
		s[axis] = step
		step *= shape[axis]
	}
	return s
}

func (c *constant) transpose(perm []int) onnxValue {
	shape := make([]int, len(perm))
	for i, p := range perm {
		shape[i] = c.shape[p]
	}
	step := strides(c.shape)
	return c.like(shape).fill(c, func(index []int) int {
		at := 0
		for i, p := range perm {
			at += index[i] * step[p]
		}
		return at
	})
}

func (c *constant) reshape(_ *onnxEval, shape []int) (onnxValue, error) {
	r := *c
	r.shape = shape
	return &r, nil
}

func (c *constant) choose(e *onnxEval, axis int, r places) (onnxValue, error) {
	shape := slices.Clone(c.shape)
	shape[axis] = r.count
	if err := e.spendOn(c, shape); err != nil {
		return nil, err
	}
	step := strides(c.shape)
	return c.like(shape).fill(c, func(index []int) int {
		at := 0
		for i, k := range index {
			if i == axis {
				k = r.at(k)
			}
			at += k * step[i]
		}
		return at
	}), nil
}

// expand repeats values along axes of size 1 up to a shape, which must come from [broadcast].
func (c *constant) expand(e *onnxEval, shape []int) (*constant, error) {
	if slices.Equal(c.shape, shape) {
		return c, nil
	}
	if err := e.spendOn(c, shape); err != nil {
		return nil, err
	}
	step, added := strides(c.shape), len(shape)-len(c.shape)
	return c.like(shape).fill(c, func(index []int) int {
		at := 0
		for i, size := range c.shape {
			if size != 1 {
				at += index[added+i] * step[i]
			}
		}
		return at
	}), nil
}

// broadcast returns the shape of an operation on two tensors element by element, or reports false
// if they do not fit. Source: ONNX specification, "Broadcasting in ONNX", multidirectional.
func broadcast(a, b []int) ([]int, bool) {
	if len(a) < len(b) {
		a, b = b, a
	}
	shape := slices.Clone(a)
	for i, size := range b {
		at := len(a) - len(b) + i
		switch {
		case shape[at] == 1:
			shape[at] = size
		case size != 1 && size != shape[at]:
			return nil, false
		}
	}
	return shape, true
}
