package model

import (
	"encoding/binary"
	"fmt"

	"google.golang.org/protobuf/encoding/protowire"
)

// onnxType is one element type of a tensor.
type onnxType struct {
	name  string                 // in the standard
	bytes int                    // of one value in raw_data
	float *floatType             // nil for whole numbers
	whole func(raw []byte) int64 // decodes a whole number; nil for floats
}

// onnxTypes are the element types that weights and shapes may have, by their numbers in
// TensorProto.DataType.
var onnxTypes = map[int64]onnxType{
	1: {"float", 4, &float32Type, nil},
	2: {"uint8", 1, nil, func(raw []byte) int64 { return int64(raw[0]) }},
	3: {"int8", 1, nil, func(raw []byte) int64 { return int64(int8(raw[0])) }},
	5: {"int16", 2, nil, func(raw []byte) int64 {
		return int64(int16(binary.LittleEndian.Uint16(raw)))
	}},
	6: {"int32", 4, nil, func(raw []byte) int64 {
		return int64(int32(binary.LittleEndian.Uint32(raw)))
	}},
	7:  {"int64", 8, nil, func(raw []byte) int64 { return int64(binary.LittleEndian.Uint64(raw)) }},
	9:  {"bool", 1, nil, func(raw []byte) int64 { return int64(raw[0]) }},
	10: {"float16", 2, &float16Type, nil},
	11: {"double", 8, &float64Type, nil},
	16: {"bfloat16", 2, &bfloat16Type, nil},
}

// tensorFields are the fields of a TensorProto that hold values.
type tensorFields struct {
	dims, narrow, wide []int64 // narrow: int32_data, wide: int64_data
	dtype, location    int64
	floats             []float32
	doubles            []float64
	raw                []byte
	hasRaw             bool
}

// decodeONNXTensor decodes a TensorProto. Its values take memory in proportion to its bytes,
// whatever its shape claims.
func decodeONNXTensor(raw []byte, at place) (*constant, error) {
	const message = "TensorProto"
	d := &onnxDecoder{at: at}
	var t tensorFields
	err := d.fields(raw, message, func(f wireField) error {
		switch f.number {
		case 1:
			return d.wholes(f, message, &t.dims)
		case 2:
			return d.whole(f, message, &t.dtype)
		case 3:
			return d.at.unsupported("save the network with whole tensors",
				"is one segment of a tensor")
		case 4:
			return d.floats(f, message, &t.floats)
		case 5:
			return d.wholes(f, message, &t.narrow)
		case 7:
			return d.wholes(f, message, &t.wide)
		case 9:
			t.raw, t.hasRaw = f.bytes, true
			return d.is(f, message, protowire.BytesType)
		case 10:
			return d.doubles(f, message, &t.doubles)
		case 14:
			return d.whole(f, message, &t.location)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return t.constant(at)
}

// constant returns the tensor after checking that type, shape and number of values agree.
func (t *tensorFields) constant(at place) (*constant, error) {
	if t.location != 0 {
		return nil, at.unsupported("save the network with all tensors inside the .onnx file",
			"lies in another file")
	}
	kind, ok := onnxTypes[t.dtype]
	if !ok {
		return nil, at.unsupported("save the float network, without quantization",
			"has element type %d of the ONNX standard, which is not read", t.dtype)
	}
	c := &constant{name: at.where, shape: make([]int, len(t.dims)), whole: kind.float == nil}
	fits := true
	for i, d := range t.dims {
		c.shape[i] = int(d)
		fits = fits && int64(c.shape[i]) == d
	}
	count, ok := elements(c.shape)
	if !ok || !fits {
		return nil, at.broken("", "has an impossible shape, %s", formatDims(t.dims))
	}
	values, err := t.values(kind, at)
	if err != nil {
		return nil, err
	}
	c.floats, c.wholes = values.floats, values.wholes
	if got := c.stored(); got != count {
		return nil, at.broken("", "has shape %s, but %d values", formatShape(c.shape), got)
	}
	return c, nil
}

// formatDims writes dimensions as the file has them, some of which may not fit an int.
func formatDims(dims []int64) string {
	if len(dims) > maxAxes {
		return fmt.Sprintf("of %d axes", len(dims))
	}
	return fmt.Sprint(dims)
}

// values returns a constant with the values of the tensor and no shape.
func (t *tensorFields) values(kind onnxType, at place) (constant, error) {
	var c constant
	if t.hasRaw {
		if len(t.raw)%kind.bytes != 0 {
			return c, at.broken("", "has %d bytes of data, not a multiple of %d", len(t.raw),
				kind.bytes)
		}
		if kind.float != nil {
			c.floats = kind.float.values(binary.LittleEndian, t.raw)
			return c, nil
		}
		c.wholes = make([]int64, len(t.raw)/kind.bytes)
		for i := range c.wholes {
			c.wholes[i] = kind.whole(t.raw[i*kind.bytes:])
		}
		return c, nil
	}
	switch kind.name {
	case "float":
		c.floats = make([]float64, len(t.floats))
		for i, v := range t.floats {
			c.floats[i] = float64(v)
		}
	case "double":
		c.floats = t.doubles
	case "float16", "bfloat16": // the bits stand in int32_data
		c.floats = make([]float64, len(t.narrow))
		for i, v := range t.narrow {
			if v != int64(uint16(v)) {
				return c, at.broken("", "value %d is %d, more than 16 bits", i, v)
			}
			var two [2]byte
			binary.LittleEndian.PutUint16(two[:], uint16(v))
			c.floats[i] = kind.float.decode(binary.LittleEndian, two[:])
		}
	case "int64":
		c.wholes = t.wide
	default:
		c.wholes = t.narrow
	}
	return c, nil
}

// constant is a tensor whose values are known when the file is read.
type constant struct {
	name   string    // where it comes from, for errors
	shape  []int     // never nil
	whole  bool      // the values are in wholes, else in floats
	floats []float64 // row-major; one value may stand for all
	wholes []int64   // like floats
}

// stored returns the number of values in memory.
func (c *constant) stored() int { return len(c.floats) + len(c.wholes) }

// count returns the number of values that the shape stands for.
func (c *constant) count() int {
	n, ok := elements(c.shape)
	if !ok {
		// The shape of every constant was checked when it was made.
		panic(fmt.Sprintf("model: constant of shape %v", c.shape))
	}
	return n
}

// float returns the value at a row-major index.
func (c *constant) float(i int) float64 {
	if c.whole {
		return float64(c.wholes[min(i, len(c.wholes)-1)])
	}
	return c.floats[min(i, len(c.floats)-1)]
}

// uniform reports whether there are values and all are equal.
func (c *constant) uniform() bool {
	for i := range c.stored() {
		if c.float(i) != c.float(0) {
			return false
		}
	}
	return c.count() > 0
}

// like returns a constant of the same name and element type that holds no values yet.
func (c *constant) like(shape []int) *constant {
	return &constant{name: c.name, shape: shape, whole: c.whole}
}

// take appends value i of another constant of the same element type.
func (c *constant) take(from *constant, i int) {
	if c.whole {
		c.wholes = append(c.wholes, from.wholes[min(i, len(from.wholes)-1)])
		return
	}
	c.floats = append(c.floats, from.floats[min(i, len(from.floats)-1)])
}
