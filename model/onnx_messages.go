package model

import (
	"math"

	"google.golang.org/protobuf/encoding/protowire"
)

// decodeONNX decodes a ModelProto.
func decodeONNX(raw []byte, at place) (*onnxModel, error) {
	d := &onnxDecoder{at: at}
	m := &onnxModel{}
	var graph []byte
	err := d.fields(raw, "ModelProto", func(f wireField) error {
		switch f.number {
		case 7:
			graph = f.bytes
			return d.is(f, "ModelProto", protowire.BytesType)
		case 8:
			return d.opset(f, m)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	if graph == nil {
		return nil, at.broken("is this an ONNX file, and was it copied completely?",
			"holds no graph")
	}
	m.graph, err = d.graph(graph)
	return m, err
}

// opset decodes an OperatorSetIdProto and keeps the version of the standard's own set.
func (d *onnxDecoder) opset(f wireField, m *onnxModel) error {
	if err := d.is(f, "ModelProto", protowire.BytesType); err != nil {
		return err
	}
	var domain string
	var version int64
	err := d.fields(f.bytes, "OperatorSetIdProto", func(f wireField) error {
		switch f.number {
		case 1:
			return d.text(f, "OperatorSetIdProto", &domain)
		case 2:
			return d.whole(f, "OperatorSetIdProto", &version)
		}
		return nil
	})
	if standardDomain(domain) {
		m.opset = version
	}
	return err
}

// standardDomain reports whether a domain is the ONNX standard's own, which has two names (ONNX
// specification, "Operator Sets").
func standardDomain(domain string) bool { return domain == "" || domain == "ai.onnx" }

// graph decodes a GraphProto.
func (d *onnxDecoder) graph(raw []byte) (*onnxGraph, error) {
	const message = "GraphProto"
	g := &onnxGraph{initializers: map[string][]byte{}}
	err := d.fields(raw, message, func(f wireField) error {
		switch f.number {
		case 1, 5, 11, 12, 15:
			if err := d.is(f, message, protowire.BytesType); err != nil {
				return err
			}
		}
		switch f.number {
		case 1:
			n, err := d.node(f.bytes, len(g.nodes))
			g.nodes = append(g.nodes, n)
			return err
		case 5:
			return d.initializer(f.bytes, g)
		case 11:
			in, err := d.valueInfo(f.bytes)
			g.inputs = append(g.inputs, in)
			return err
		case 12:
			out, err := d.valueInfo(f.bytes)
			g.outputs = append(g.outputs, out.name)
			return err
		case 15:
			return d.at.unsupported("save the network with dense tensors", "holds a sparse tensor")
		}
		return nil
	})
	return g, err
}

// initializer keeps a tensor encoded, so that only tensors that are used take memory.
func (d *onnxDecoder) initializer(raw []byte, g *onnxGraph) error {
	var name string
	err := d.fields(raw, "TensorProto", func(f wireField) error {
		if f.number == 8 {
			return d.text(f, "TensorProto", &name)
		}
		return nil
	})
	if err != nil {
		return err
	}
	if name == "" {
		return d.at.broken("", "holds a tensor without a name")
	}
	if g.initializers[name] != nil {
		return d.at.tensor(name).broken("", "stands twice in the file")
	}
	g.initializers[name] = raw
	return nil
}

// maxAttributes is the most attributes of one node. Our choice: LSTM has eight (ONNX operator
// documentation).
const maxAttributes = 64

// node decodes the NodeProto at position index of the graph.
func (d *onnxDecoder) node(raw []byte, index int) (*onnxNode, error) {
	const message = "NodeProto"
	n := &onnxNode{index: index}
	err := d.fields(raw, message, func(f wireField) error {
		switch f.number {
		case 1, 2:
			var name string
			if err := d.text(f, message, &name); err != nil {
				return err
			}
			if f.number == 1 {
				n.inputs = append(n.inputs, name)
			} else {
				n.outputs = append(n.outputs, name)
			}
		case 3:
			return d.text(f, message, &n.name)
		case 4:
			return d.text(f, message, &n.op)
		case 5:
			if err := d.is(f, message, protowire.BytesType); err != nil {
				return err
			}
			a, err := d.attribute(f.bytes)
			if err != nil {
				return err
			}
			if len(n.attributes) == maxAttributes {
				return n.place(d.at).unsupported("operators of the standard have some ten at most",
					"has more than %d attributes", maxAttributes)
			}
			if n.attribute(a.name) != nil {
				return n.place(d.at).broken("", "attribute %q stands twice", a.name)
			}
			n.attributes = append(n.attributes, a)
		case 7:
			return d.text(f, message, &n.domain)
		}
		return nil
	})
	return n, err
}

// attribute decodes an AttributeProto.
func (d *onnxDecoder) attribute(raw []byte) (*onnxAttribute, error) {
	const message = "AttributeProto"
	a := &onnxAttribute{}
	err := d.fields(raw, message, func(f wireField) error {
		switch f.number {
		case 1:
			return d.text(f, message, &a.name)
		case 2:
			a.f = math.Float32frombits(uint32(f.scalar))
			return d.is(f, message, protowire.Fixed32Type)
		case 3:
			return d.whole(f, message, &a.i)
		case 4:
			return d.text(f, message, &a.s)
		case 5:
			a.tensor = f.bytes
			return d.is(f, message, protowire.BytesType)
		case 6, 11:
			a.subgraph = true
		case 7:
			return d.floats(f, message, &a.floats)
		case 8:
			return d.wholes(f, message, &a.ints)
		case 9:
			var s string
			err := d.text(f, message, &s)
			a.strings = append(a.strings, s)
			return err
		}
		return nil
	})
	return a, err
}

// valueInfo decodes name, type and axes of an input or output.
func (d *onnxDecoder) valueInfo(raw []byte) (onnxInput, error) {
	var in onnxInput
	err := d.fields(raw, "ValueInfoProto", func(f wireField) error {
		switch f.number {
		case 1:
			return d.text(f, "ValueInfoProto", &in.name)
		case 2:
			return d.nested(f, "TypeProto", 1, func(f wireField) error {
				return d.tensorType(f, &in)
			})
		}
		return nil
	})
	return in, err
}

// nested decodes a message and calls visit for the fields of one number.
func (d *onnxDecoder) nested(f wireField, message string, number protowire.Number,
	visit func(wireField) error) error {
	if err := d.is(f, message, protowire.BytesType); err != nil {
		return err
	}
	return d.fields(f.bytes, message, func(f wireField) error {
		if f.number != number {
			return nil
		}
		return visit(f)
	})
}

func (d *onnxDecoder) tensorType(f wireField, in *onnxInput) error {
	const message = "TypeProto.Tensor"
	if err := d.is(f, message, protowire.BytesType); err != nil {
		return err
	}
	return d.fields(f.bytes, message, func(f wireField) error {
		switch f.number {
		case 1:
			return d.whole(f, message, &in.dtype)
		case 2:
			in.rank = true
			return d.nested(f, "TensorShapeProto", 1, func(f wireField) error {
				var axis onnxAxis
				err := d.axis(f, &axis)
				in.axes = append(in.axes, axis)
				return err
			})
		}
		return nil
	})
}

func (d *onnxDecoder) axis(f wireField, axis *onnxAxis) error {
	const message = "TensorShapeProto.Dimension"
	if err := d.is(f, message, protowire.BytesType); err != nil {
		return err
	}
	return d.fields(f.bytes, message, func(f wireField) error {
		switch f.number {
		case 1:
			return d.whole(f, message, &axis.size)
		case 2:
			return d.text(f, message, &axis.name)
		}
		return nil
	})
}
