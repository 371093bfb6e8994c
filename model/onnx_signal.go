package model

import "slices"

// onnxValue is a value of a graph. It is one of four things:
//
//   - a [constant]: a tensor that is known when the file is read, also one that follows from the
//     shapes of other values;
//   - a [signal]: one vector per sequence and step, a function of the features that a [chain] of
//     layers describes;
//   - a [stack]: several values behind each other, such as the last states of several layers;
//   - an [opaque]: cell states and values made of them, which may leave the graph but enter no
//     computation.
//
// Shapes are numbers: an axis of open size gets a prime that nothing else in the graph has (see
// [openSizes]), so that arithmetic on shapes gives constants and no size is mistaken for another.
type onnxValue interface {
	// dims returns the shape, or nil if it is not known.
	dims() []int
	// transpose returns the value whose axis i is axis perm[i] of this one.
	transpose(perm []int) onnxValue
	// reshape returns the value with the same numbers in another shape, which must fit in size.
	reshape(e *onnxEval, shape []int) (onnxValue, error)
	// choose returns the value with the given places along one axis.
	choose(e *onnxEval, axis int, r places) (onnxValue, error)
}

// places are positions along an axis: an arithmetic progression, or a list.
type places struct {
	start, step, count int
	list               []int // used instead of start and step if not nil
}

func (p places) at(i int) int {
	if p.list != nil {
		return p.list[i]
	}
	return p.start + i*p.step
}

// all reports whether the places are the whole axis in its order.
func (p places) all(size int) bool {
	if p.list == nil {
		return p.count == size && (size == 1 || p.start == 0 && p.step == 1)
	}
	for i, v := range p.list {
		if v != i {
			return false
		}
	}
	return p.count == size
}

// role is the meaning of an axis of the input, as far as it is known.
type role int

// The roles of a factor.
const (
	unknownRole role = iota
	stepRole         // time steps
	batchRole        // sequences side by side
	valueRole        // features, units or outputs of one step
)

// factor is an indivisible part of an axis. Its size is above 1: an axis of size 1 has no factors.
// Signals that share a factor learn its role together.
type factor struct {
	size int
	role role
}

// signal is a tensor that depends on the features. Every axis is a row-major product of factors, so
// that reshaping only regroups them; exporters merge batch and steps for a dense layer and take
// them apart again.
type signal struct {
	axes  [][]*factor
	chain *chain
	last  bool // the signal holds the last step only
}

func axisSize(factors []*factor) int {
	size := 1
	for _, f := range factors {
		size *= f.size
	}
	return size
}

func (s *signal) dims() []int {
	shape := make([]int, len(s.axes))
	for i, a := range s.axes {
		shape[i] = axisSize(a)
	}
	return shape
}

// with returns the signal on other axes.
func (s *signal) with(axes [][]*factor) *signal {
	return &signal{axes: axes, chain: s.chain, last: s.last}
}

// through returns the signal with another chain, which extends its own.
func (s *signal) through(c *chain) *signal {
	return &signal{axes: s.axes, chain: c, last: s.last}
}

func (s *signal) transpose(perm []int) onnxValue {
	axes := make([][]*factor, len(perm))
	for i, p := range perm {
		axes[i] = s.axes[p]
	}
	return s.with(axes)
}

// reshape regroups the factors of the axes. A factor of unknown role may be split in two.
func (s *signal) reshape(e *onnxEval, shape []int) (onnxValue, error) {
	queue := slices.Concat(s.axes...)
	axes := make([][]*factor, len(shape))
	for i, want := range shape {
		for have := 1; have < want; {
			if len(queue) == 0 {
				return nil, e.mixed(s.dims(), shape)
			}
			f, rest := queue[0], want/have
			queue = queue[1:]
			if rest < f.size && want%have == 0 && f.size%rest == 0 && f.role == unknownRole {
				// An axis of the input that holds steps and features is split into two factors.
				outer, inner := &factor{size: rest}, &factor{size: f.size / rest}
				f, queue = outer, append([]*factor{inner}, queue...)
			}
			have *= f.size
			if have > want || want%have != 0 {
				return nil, e.mixed(s.dims(), shape)
			}
			axes[i] = append(axes[i], f)
		}
	}
	return s.with(axes), nil
}

// mixed returns the error of a reshape that would mix values of different steps or features.
func (e *onnxEval) mixed(from, to []int) error {
	return e.refuse("change the network so that steps, sequences and features keep axes of "+
		"their own",
		"reshapes %s to %s, which mixes values of different steps or features", formatShape(from),
		formatShape(to))
}

// choose keeps some features or results of a step, or the last of the steps.
func (s *signal) choose(e *onnxEval, axis int, r places) (onnxValue, error) {
	factors := s.axes[axis]
	if r.all(axisSize(factors)) {
		return s, nil
	}
	if len(factors) != 1 {
		return nil, e.refuse("keep the axis whole", "takes %d places of axis %d, which is not "+
			"an axis of features or steps", r.count, axis)
	}
	f := factors[0]
	axes := slices.Clone(s.axes)
	switch f.role {
	case stepRole:
		if r.count != 1 || r.at(0) != f.size-1 {
			return nil, e.refuse("use the output at every step, or at the last one",
				"takes %d of the steps, which is not the last one", r.count)
		}
		axes[axis] = nil
		return &signal{axes: axes, chain: s.chain, last: true}, nil
	case batchRole:
		return nil, e.refuse("export with a batch of one sequence, or leave the batch whole",
			"takes some of the sequences of a batch")
	}
	if err := e.spend(r.count); err != nil {
		return nil, err
	}
	chosen := make([]int, r.count)
	for i := range chosen {
		chosen[i] = r.at(i)
	}
	c, err := s.chain.choose(e, f, chosen)
	if err != nil {
		return nil, err
	}
	axes[axis] = c.valueAxis()
	return &signal{axes: axes, chain: c, last: s.last}, nil
}

// stack is several values of size 1 along an axis, one behind the other.
type stack struct {
	axis  int
	parts []onnxValue
}

func (s *stack) dims() []int {
	shape := s.parts[0].dims()
	if shape == nil {
		return nil
	}
	shape = slices.Clone(shape)
	shape[s.axis] = len(s.parts)
	return shape
}

func (s *stack) transpose(perm []int) onnxValue {
	t := &stack{axis: slices.Index(perm, s.axis)}
	for _, p := range s.parts {
		t.parts = append(t.parts, p.transpose(perm))
	}
	return t
}

// reshape makes the stack opaque, unless the shape stays the same.
func (s *stack) reshape(_ *onnxEval, shape []int) (onnxValue, error) {
	if slices.Equal(shape, s.dims()) {
		return s, nil
	}
	return opaque{}, nil
}

// choose keeps some of the parts, or the same places of each of them.
func (s *stack) choose(e *onnxEval, axis int, r places) (onnxValue, error) {
	t := &stack{axis: s.axis}
	if axis != s.axis {
		for _, p := range s.parts {
			chosen, err := p.choose(e, axis, r)
			if err != nil {
				return nil, err
			}
			t.parts = append(t.parts, chosen)
		}
		return t, nil
	}
	if err := e.spend(r.count); err != nil {
		return nil, err
	}
	for i := range r.count {
		t.parts = append(t.parts, s.parts[r.at(i)])
	}
	if r.count == 1 {
		return t.parts[0], nil
	}
	return t, nil
}

// opaque is a value that may only leave the graph.
type opaque struct{}

func (opaque) dims() []int                                      { return nil }
func (opaque) transpose([]int) onnxValue                        { return opaque{} }
func (opaque) reshape(*onnxEval, []int) (onnxValue, error)      { return opaque{}, nil }
func (opaque) choose(*onnxEval, int, places) (onnxValue, error) { return opaque{}, nil }
