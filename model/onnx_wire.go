package model

import (
	"fmt"
	"math"

	"google.golang.org/protobuf/encoding/protowire"
)

// onnxModel holds the fields of a ModelProto that the reader uses. Source of all field numbers in
// this file and in onnx_messages.go: onnx.proto of onnx 1.12.0.
type onnxModel struct {
	opset int64 // version of the standard set of operators
	graph *onnxGraph
}

// onnxGraph holds the fields of a GraphProto.
type onnxGraph struct {
	nodes        []*onnxNode       // in the order in which they are computed
	initializers map[string][]byte // encoded TensorProto by name
	inputs       []onnxInput       // may include those that have an initializer
	outputs      []string
}

// onnxInput is an input of the graph. Each of its axes has a size, or a name that stands for a
// size, or neither.
type onnxInput struct {
	name  string
	dtype int64
	rank  bool // the file gives axes
	axes  []onnxAxis
}

// onnxAxis is one axis of an input.
type onnxAxis struct {
	size int64  // 0 if it is open
	name string // of an open size; may be empty
}

// onnxNode holds the fields of a NodeProto.
type onnxNode struct {
	index           int // position in the file, from 0
	name, op        string
	domain          string // "" is the standard set of operators
	inputs, outputs []string
	attributes      []*onnxAttribute
}

// onnxAttribute holds the fields of an AttributeProto; which of them is set depends on its type.
type onnxAttribute struct {
	name     string
	f        float32
	i        int64
	s        string
	tensor   []byte // encoded TensorProto
	ints     []int64
	floats   []float32
	strings  []string
	subgraph bool // holds one or several graphs, which are not decoded
}

// maxONNXMessages is the most nodes, attributes, tensors and axes of a file together. Our choice: a
// recurrent network of three layers has a few hundred (the listing of exported graphs in
// testdata/vectors has at most 90), so that only a hostile file has more.
const maxONNXMessages = 100_000

// onnxDecoder decodes the messages of a file. It knows no recursion: subgraphs are noticed, not
// decoded, so that no nesting in a file matters, and every other message takes memory in proportion
// to its bytes.
type onnxDecoder struct {
	at       place
	messages int // decoded so far
}

// wireField is one field of a message. Values of fixed size and varints are in scalar, all others
// in bytes.
type wireField struct {
	number protowire.Number
	kind   protowire.Type
	scalar uint64
	bytes  []byte
}

// fields calls visit for every field of a message; visit ignores the fields it does not know.
func (d *onnxDecoder) fields(raw []byte, message string, visit func(f wireField) error) error {
	if d.messages++; d.messages > maxONNXMessages {
		return d.at.unsupported("a recurrent network for a microcontroller has a few hundred nodes",
			"holds more than %d nodes, attributes and tensors", maxONNXMessages)
	}
	for len(raw) > 0 {
		number, kind, n := protowire.ConsumeTag(raw)
		if n < 0 {
			return d.broken(message, protowire.ParseError(n))
		}
		raw = raw[n:]
		f := wireField{number: number, kind: kind}
		switch kind {
		case protowire.VarintType:
			f.scalar, n = protowire.ConsumeVarint(raw)
		case protowire.Fixed32Type:
			var v uint32
			v, n = protowire.ConsumeFixed32(raw)
			f.scalar = uint64(v)
		case protowire.Fixed64Type:
			f.scalar, n = protowire.ConsumeFixed64(raw)
		case protowire.BytesType:
			f.bytes, n = protowire.ConsumeBytes(raw)
		default: // groups, which ONNX has none of
			return d.broken(message, fmt.Errorf("field %d has wire type %d", number, kind))
		}
		if n < 0 {
			return d.broken(message, protowire.ParseError(n))
		}
		raw = raw[n:]
		if err := visit(f); err != nil {
			return err
		}
	}
	return nil
}

// broken returns the error of a message that cannot be decoded.
func (d *onnxDecoder) broken(message string, err error) error {
	return d.at.broken("is this an ONNX file, and was it copied completely?",
		"cannot be read as ONNX: %s: %w", message, err)
}

// is returns an error unless the field has the wire type that its number asks for.
func (d *onnxDecoder) is(f wireField, message string, kind protowire.Type) error {
	if f.kind != kind {
		return d.broken(message,
			fmt.Errorf("field %d has wire type %d, expected %d", f.number, f.kind, kind))
	}
	return nil
}

func (d *onnxDecoder) text(f wireField, message string, into *string) error {
	*into = string(f.bytes)
	return d.is(f, message, protowire.BytesType)
}

func (d *onnxDecoder) whole(f wireField, message string, into *int64) error {
	*into = int64(f.scalar)
	return d.is(f, message, protowire.VarintType)
}

// wholes appends the values of a repeated int64, packed or not.
func (d *onnxDecoder) wholes(f wireField, message string, into *[]int64) error {
	if f.kind != protowire.BytesType {
		*into = append(*into, int64(f.scalar))
		return d.is(f, message, protowire.VarintType)
	}
	for raw := f.bytes; len(raw) > 0; {
		v, n := protowire.ConsumeVarint(raw)
		if n < 0 {
			return d.broken(message, protowire.ParseError(n))
		}
		*into = append(*into, int64(v))
		raw = raw[n:]
	}
	return nil
}

// floats appends the values of a repeated float, packed or not.
func (d *onnxDecoder) floats(f wireField, message string, into *[]float32) error {
	if f.kind != protowire.BytesType {
		*into = append(*into, math.Float32frombits(uint32(f.scalar)))
		return d.is(f, message, protowire.Fixed32Type)
	}
	for raw := f.bytes; len(raw) > 0; {
		v, n := protowire.ConsumeFixed32(raw)
		if n < 0 {
			return d.broken(message, protowire.ParseError(n))
		}
		*into = append(*into, math.Float32frombits(v))
		raw = raw[n:]
	}
	return nil
}

// doubles appends the values of a repeated double, packed or not.
func (d *onnxDecoder) doubles(f wireField, message string, into *[]float64) error {
	if f.kind != protowire.BytesType {
		*into = append(*into, math.Float64frombits(f.scalar))
		return d.is(f, message, protowire.Fixed64Type)
	}
	for raw := f.bytes; len(raw) > 0; {
		v, n := protowire.ConsumeFixed64(raw)
		if n < 0 {
			return d.broken(message, protowire.ParseError(n))
		}
		*into = append(*into, math.Float64frombits(v))
		raw = raw[n:]
	}
	return nil
}
