package model

import (
	"encoding/binary"
	"math"

	"google.golang.org/protobuf/encoding/protowire"
)

// These helpers write ONNX messages for tests; field numbers as in onnx.proto of onnx 1.12.0.

func message(number protowire.Number, content []byte) []byte {
	return protowire.AppendBytes(protowire.AppendTag(nil, number, protowire.BytesType), content)
}

func text(number protowire.Number, s string) []byte { return message(number, []byte(s)) }

func varint(number protowire.Number, v int64) []byte {
	return protowire.AppendVarint(protowire.AppendTag(nil, number, protowire.VarintType), uint64(v))
}

func join(parts ...[]byte) []byte {
	var all []byte
	for _, p := range parts {
		all = append(all, p...)
	}
	return all
}

// floatsOf returns a TensorProto of float32.
func floatsOf(name string, shape []int, values ...float64) []byte {
	raw := join(varint(2, 1), text(8, name))
	for _, d := range shape {
		raw = append(raw, varint(1, int64(d))...)
	}
	var data []byte
	for _, v := range values {
		data = binary.LittleEndian.AppendUint32(data, math.Float32bits(float32(v)))
	}
	return append(raw, message(9, data)...)
}

// wholesOf returns a TensorProto of int64 with one axis.
func wholesOf(name string, values ...int64) []byte {
	raw := join(varint(1, int64(len(values))), varint(2, 7), text(8, name))
	var data []byte
	for _, v := range values {
		data = binary.LittleEndian.AppendUint64(data, uint64(v))
	}
	return append(raw, message(9, data)...)
}

func attribute(name string, value []byte) []byte { return join(text(1, name), value) }

func wholeAttribute(name string, v int64) []byte { return attribute(name, varint(3, v)) }

// nodeOf returns a NodeProto; attributes stand behind the outputs.
func nodeOf(op string, inputs, outputs []string, attributes ...[]byte) []byte {
	raw := text(4, op)
	for _, in := range inputs {
		raw = append(raw, text(1, in)...)
	}
	for _, out := range outputs {
		raw = append(raw, text(2, out)...)
	}
	for _, a := range attributes {
		raw = append(raw, message(5, a)...)
	}
	return raw
}

// valueOf returns a ValueInfoProto of float32; a size of 0 is open.
func valueOf(name string, sizes ...int64) []byte {
	var axes []byte
	for _, s := range sizes {
		var axis []byte
		if s != 0 {
			axis = varint(1, s)
		}
		axes = append(axes, message(1, axis)...)
	}
	return join(text(1, name), message(2, message(1, join(varint(1, 1), message(2, axes)))))
}

// graphFile returns a ModelProto around a graph.
type graphFile struct {
	opset                         int64
	nodes, tensors, inputs, other [][]byte
	outputs                       []string
}

func (g graphFile) bytes() []byte {
	var graph []byte
	for _, n := range g.nodes {
		graph = append(graph, message(1, n)...)
	}
	for _, t := range g.tensors {
		graph = append(graph, message(5, t)...)
	}
	for _, i := range g.inputs {
		graph = append(graph, message(11, i)...)
	}
	for _, o := range g.outputs {
		graph = append(graph, message(12, text(1, o))...)
	}
	for _, o := range g.other {
		graph = append(graph, o...)
	}
	return join(varint(1, 7), message(7, graph), message(8, varint(2, g.opset)))
}

// smallGraph returns a file with a GRU of two inputs and three units, and a head of one output at
// every step. The given nodes make "out" of "x" [steps × 1 × 2]. The tensors W, R, B, K [3 × 1] and
// those given are stored.
func smallGraph(nodes [][]byte, tensors ...[]byte) graphFile {
	counted := func(n int) []float64 {
		v := make([]float64, n)
		for i := range v {
			v[i] = math.Sin(float64(i + 1))
		}
		return v
	}
	return graphFile{
		opset: 14, nodes: nodes, inputs: [][]byte{valueOf("x", 0, 1, 2)}, outputs: []string{"out"},
		tensors: append([][]byte{
			floatsOf("W", []int{1, 9, 2}, counted(18)...),
			floatsOf("R", []int{1, 9, 3}, counted(27)...),
			floatsOf("B", []int{1, 18}, counted(18)...), floatsOf("K", []int{3, 1}, counted(3)...),
			wholesOf("one", 1), wholesOf("zero", 0), wholesOf("last", -1),
		}, tensors...),
	}
}

var (
	gruNode = nodeOf("GRU", []string{"x", "W", "R", "B"}, []string{"y", "state"},
		wholeAttribute("hidden_size", 3))
	squeezeNode = nodeOf("Squeeze", []string{"y", "one"}, []string{"h"})
	headNode    = nodeOf("MatMul", []string{"h", "K"}, []string{"out"})
)
