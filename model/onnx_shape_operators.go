package model

import (
	"math"
	"slices"
)

// onnxOperators are the operators with a single result, by name; the recurrent ones are in
// [onnxCells]. Source of all meanings: ONNX operator documentation (onnx.ai/onnx/operators).
var onnxOperators map[string]func(*onnxEval) (onnxValue, error)

func init() {
	onnxOperators = map[string]func(*onnxEval) (onnxValue, error){
		"Identity": (*onnxEval).copy, "Dropout": (*onnxEval).copy, "Cast": (*onnxEval).cast,
		"Constant": (*onnxEval).constant, "ConstantOfShape": (*onnxEval).constantOfShape,
		"Shape":     (*onnxEval).shape,
		"Transpose": (*onnxEval).transpose, "Reshape": (*onnxEval).reshape,
		"Flatten": (*onnxEval).flatten,
		"Squeeze": (*onnxEval).squeeze, "Unsqueeze": (*onnxEval).unsqueeze,
		"Expand": (*onnxEval).expand,
		"Gather": (*onnxEval).gather, "Slice": (*onnxEval).slice, "Concat": (*onnxEval).concat,
		"MatMul": (*onnxEval).matMul, "Gemm": (*onnxEval).gemm,
		"Add": (*onnxEval).arithmetic, "Sub": (*onnxEval).arithmetic, "Mul": (*onnxEval).arithmetic,
		"Div":  (*onnxEval).arithmetic,
		"Sqrt": unary(math.Sqrt), "Neg": unary(func(v float64) float64 {
			return -v
		}), "Reciprocal": unary(func(v float64) float64 { return 1 / v }),
		"Relu": activation(ReLU), "Tanh": activation(Tanh), "Sigmoid": activation(Logistic),
		"Softmax": (*onnxEval).softmax, "LogSoftmax": (*onnxEval).softmax,
	}
}

// copy computes Identity, and Dropout, which drops nothing outside training.
func (e *onnxEval) copy() (onnxValue, error) {
	if mode, ok := e.value(2).(*constant); e.node.op == "Dropout" && e.value(2) != nil &&
		(!ok || mode.stored() != 1 || mode.float(0) != 0) {
		return nil, e.refuse("export in evaluation mode", "drops values as in training")
	}
	return e.need(0)
}

// cast computes Cast, a change of the element type. A cast between floats changes nothing, because
// all are computed in float64.
func (e *onnxEval) cast() (onnxValue, error) {
	v, err := e.need(0)
	if err != nil {
		return nil, err
	}
	kind, ok := onnxTypes[e.whole("to", 0)]
	if !ok {
		return nil, e.refuse("cast to float or int64", "casts to element type %d of the ONNX "+
			"standard", e.whole("to", 0))
	}
	c, isConstant := v.(*constant)
	switch {
	case !isConstant && kind.float == nil:
		return nil, e.refuse("keep features and states in floating point",
			"casts computed values to %s", kind.name)
	case !isConstant || c.whole == (kind.float == nil):
		return v, nil
	}
	if err := e.spend(c.stored()); err != nil {
		return nil, err
	}
	r := &constant{name: c.name, shape: c.shape, whole: kind.float == nil}
	for i := range c.stored() {
		if !r.whole {
			r.floats = append(r.floats, c.float(i))
			continue
		}
		v := math.Trunc(c.float(i))
		if !(math.Abs(v) < 1<<53) { // larger floats may not be the whole number that was meant
			return nil, e.broken("casts %v to %s", v, kind.name)
		}
		r.wholes = append(r.wholes, int64(v))
	}
	return r, nil
}

// constant computes Constant, a node that holds its values as an attribute.
func (e *onnxEval) constant() (onnxValue, error) {
	for _, a := range e.node.attributes {
		switch a.name {
		case "value":
			return decodeONNXTensor(a.tensor, e.node.place(e.at))
		case "value_float":
			return &constant{shape: []int{}, floats: []float64{float64(a.f)}}, nil
		case "value_int":
			return &constant{shape: []int{}, whole: true, wholes: []int64{a.i}}, nil
		case "value_ints":
			return &constant{shape: []int{len(a.ints)}, whole: true, wholes: a.ints}, nil
		case "value_floats":
			c := &constant{shape: []int{len(a.floats)}}
			for _, v := range a.floats {
				c.floats = append(c.floats, float64(v))
			}
			return c, nil
		}
	}
	return nil, e.refuse("store the constant as a tensor of numbers", "holds no number")
}

// constantOfShape computes ConstantOfShape: one value in a shape that is an input.
func (e *onnxEval) constantOfShape() (onnxValue, error) {
	shape, err := e.sizes(0, "its sizes")
	if err != nil {
		return nil, err
	}
	c := &constant{floats: []float64{0}}
	if a := e.node.attribute("value"); a != nil {
		if c, err = decodeONNXTensor(a.tensor, e.node.place(e.at)); err != nil {
			return nil, err
		}
		if c.count() != 1 {
			return nil, e.broken("has a value of shape %s", formatShape(c.shape))
		}
	}
	return c.reshape(e, shape)
}

// sizes returns input i, which must be a shape in which every size is known.
func (e *onnxEval) sizes(i int, what string) ([]int, error) {
	list, err := e.wholeList(i, what)
	if err != nil {
		return nil, err
	}
	if list == nil {
		return nil, e.broken("lacks %s", what)
	}
	shape := make([]int, len(list))
	fits := true
	for k, v := range list {
		shape[k] = int(v)
		fits = fits && int64(shape[k]) == v
	}
	if _, ok := elements(shape); !ok || !fits {
		return nil, e.broken("asks for the shape %d", list)
	}
	return shape, nil
}

// shape computes Shape, with the attributes start and end.
func (e *onnxEval) shape() (onnxValue, error) {
	v, err := e.need(0)
	if err != nil {
		return nil, err
	}
	dims, err := e.knownShape(v)
	if err != nil {
		return nil, err
	}
	rank := int64(len(dims))
	clamp := func(i int64) int64 {
		if i < 0 {
			i += rank
		}
		return min(max(i, 0), rank)
	}
	start, end := clamp(e.whole("start", 0)), clamp(e.whole("end", rank))
	c := &constant{whole: true, wholes: []int64{}}
	for k := start; k < end; k++ {
		c.wholes = append(c.wholes, int64(dims[k]))
	}
	c.shape = []int{len(c.wholes)}
	return c, nil
}

// transpose computes Transpose; without the attribute perm it reverses the axes.
func (e *onnxEval) transpose() (onnxValue, error) {
	v, err := e.need(0)
	if err != nil {
		return nil, err
	}
	dims := v.dims()
	if dims == nil {
		return v, nil
	}
	perm := make([]int, len(dims))
	for i := range perm {
		perm[i] = len(perm) - 1 - i
	}
	if a := e.node.attribute("perm"); a != nil {
		for i := range perm {
			if len(a.ints) != len(perm) || !slices.Contains(a.ints, int64(i)) {
				return nil, e.broken("perm %d does not fit a tensor of %d axes", a.ints, len(perm))
			}
			perm[i] = int(a.ints[i])
		}
	}
	if c, ok := v.(*constant); ok {
		if err := e.spendOn(c, c.shape); err != nil {
			return nil, err
		}
	}
	return v.transpose(perm), nil
}

// regroup returns a value in another shape of the same size.
func (e *onnxEval) regroup(v onnxValue, shape []int) (onnxValue, error) {
	dims := v.dims()
	if dims == nil {
		return v, nil
	}
	have, _ := elements(dims)
	if want, ok := elements(shape); !ok || want != have {
		return nil, e.broken("cannot make %s of %s", formatShape(shape), formatShape(dims))
	}
	return v.reshape(e, shape)
}

// reshape computes Reshape, where a size of 0 keeps that of the input and one of -1 follows from
// the others.
func (e *onnxEval) reshape() (onnxValue, error) {
	v, err := e.need(0)
	if err != nil {
		return nil, err
	}
	list, err := e.wholeList(1, "sizes")
	if err != nil {
		return nil, err
	}
	dims := v.dims()
	shape, open, known := make([]int, len(list)), -1, 1
	for i, size := range list {
		switch {
		case size == 0 && e.whole("allowzero", 0) == 0 && i < len(dims):
			shape[i] = dims[i]
		case size == -1 && open < 0:
			open = i
			continue
		case size < 0 || int64(int32(size)) != size:
			return nil, e.broken("asks for the shape %d", list)
		default:
			shape[i] = int(size)
		}
		if known, err = e.product(known, shape[i]); err != nil {
			return nil, err
		}
	}
	if have, _ := elements(dims); open >= 0 && known > 0 && dims != nil {
		shape[open] = have / known
	}
	return e.regroup(v, shape)
}

// product returns a·b, or an error if it does not fit an int.
func (e *onnxEval) product(a, b int) (int, error) {
	p, ok := elements([]int{a, b})
	if !ok {
		return 0, e.broken("asks for more values than any computer has")
	}
	return p, nil
}

// flatten computes Flatten: the axes before the attribute axis become one, and so do those from it
// on.
func (e *onnxEval) flatten() (onnxValue, error) {
	v, err := e.need(0)
	if err != nil {
		return nil, err
	}
	dims, err := e.knownShape(v)
	if err != nil {
		return nil, err
	}
	axis := e.whole("axis", 1)
	if axis < 0 {
		axis += int64(len(dims))
	}
	if axis < 0 || axis > int64(len(dims)) {
		return nil, e.broken("axis %d is outside a tensor of %d axes", axis, len(dims))
	}
	before, _ := elements(dims[:axis])
	after, _ := elements(dims[axis:])
	return e.regroup(v, []int{before, after})
}

// squeeze computes Squeeze: it takes away axes of size 1, all of them if none are named.
func (e *onnxEval) squeeze() (onnxValue, error) {
	v, err := e.need(0)
	if err != nil {
		return nil, err
	}
	list, err := e.wholeList(1, "axes")
	if err != nil {
		return nil, err
	}
	dims := v.dims()
	drop := make([]bool, len(dims))
	for i, size := range dims {
		drop[i] = list == nil && size == 1
	}
	for _, a := range list {
		if dims == nil {
			break
		}
		k, err := e.axis(a, len(dims))
		if err != nil {
			return nil, err
		}
		if dims[k] != 1 {
			return nil, e.broken("takes axis %d away, which has size %d", k, dims[k])
		}
		drop[k] = true
	}
	shape := []int{}
	for i, size := range dims {
		if !drop[i] {
			shape = append(shape, size)
		}
	}
	return e.regroup(v, shape)
}

// unsqueeze computes Unsqueeze: it adds axes of size 1.
func (e *onnxEval) unsqueeze() (onnxValue, error) {
	v, err := e.need(0)
	if err != nil {
		return nil, err
	}
	list, err := e.wholeList(1, "axes")
	if err != nil {
		return nil, err
	}
	dims := v.dims()
	if dims == nil {
		return v, nil
	}
	rank := len(dims) + len(list)
	added := make([]bool, rank)
	for _, a := range list {
		k, err := e.axis(a, rank)
		if err != nil {
			return nil, err
		}
		if added[k] {
			return nil, e.broken("names axis %d twice", k)
		}
		added[k] = true
	}
	shape := make([]int, rank)
	for i := range shape {
		shape[i] = 1
		if !added[i] {
			shape[i], dims = dims[0], dims[1:]
		}
	}
	return e.regroup(v, shape)
}
