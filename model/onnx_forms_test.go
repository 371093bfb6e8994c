package model

import (
	"reflect"
	"testing"

	"google.golang.org/protobuf/encoding/protowire"
)

func floatAttribute(name string, bits uint32) []byte {
	return attribute(name,
		protowire.AppendFixed32(protowire.AppendTag(nil, 2, protowire.Fixed32Type), bits))
}

// A small network written in several ways is read as the same network, weight for weight.
func TestWaysToWriteOneNetwork(t *testing.T) {
	base, err := readGraph(smallGraph([][]byte{gruNode, squeezeNode, headNode}))
	if err != nil {
		t.Fatal(err)
	}
	in := func(names ...string) []string { return names }
	last := func(nodes ...[]byte) graphFile { // behind the last hidden state "s" [1 × 3]
		return smallGraph(append([][]byte{gruNode, nodeOf("Squeeze", in("state", "zero"), in("s"))},
			nodes...),
			wholesOf("-1", -1), wholesOf("flat", -1, 3), wholesOf("many", 1<<62),
			wholesOf("two", 2))
	}
	const two, half = 0x40000000, 0x3f000000 // 2 and 0.5 as float32
	layout := smallGraph([][]byte{
		nodeOf("Transpose", in("x"), in("xt"),
			attribute("perm", join(varint(8, 1), varint(8, 0), varint(8, 2)))),
		nodeOf("GRU", in("xt", "W", "R", "B", "", "z"), in("y"), wholeAttribute("layout", 1)),
		nodeOf("Squeeze", in("y", "two"), in("h")), headNode,
	}, wholesOf("two", 2), floatsOf("z", []int{1, 1, 3}, 0, 0, 0))
	lengths := smallGraph([][]byte{nodeOf("GRU", in("x", "W", "R", "B", "lengths"), in("y")),
		squeezeNode, headNode})
	lengths.inputs = append(lengths.inputs, valueOf("lengths", 1))
	for _, c := range []struct {
		name  string
		graph graphFile
		last  bool
	}{
		{"batch first", layout, false},
		{"lengths of sequences come from outside", lengths, false},
		{"gemm", last(nodeOf("Gemm", in("s", "K"), in("out"))), true},
		{"gemm of columns",
			last(nodeOf("Transpose", in("s"), in("c")),
				nodeOf("Gemm", in("c", "K"), in("out"), wholeAttribute("transA", 1))), true},
		{"gemm that doubles and halves",
			last(nodeOf("Gemm", in("s", "K"), in("a"), floatAttribute("alpha", two)),
				nodeOf("Constant", nil, in("h"), floatAttribute("value_float", half)),
				nodeOf("Mul", in("h", "a"), in("out"))), true},
		{"flattened",
			last(nodeOf("Flatten", in("s"), in("f")), nodeOf("MatMul", in("f", "K"), in("out"))),
			true},
		{"last step by a slice",
			smallGraph([][]byte{gruNode, squeezeNode,
				nodeOf("Slice", in("h", "last", "many", "zero"), in("l")),
				nodeOf("MatMul", in("l", "K"), in("out"))}, wholesOf("many", 1<<62)), true},
		{"last step by its number",
			smallGraph([][]byte{gruNode, squeezeNode,
				nodeOf("Shape", in("x"), in("d"), wholeAttribute("end", 1)),
				nodeOf("Sub", in("d", "one"), in("n")),
				nodeOf("Gather", in("h", "n"), in("l"), wholeAttribute("axis", 0)),
				nodeOf("MatMul", in("l", "K"), in("out"))}), true},
		{"output taken apart and turned round twice",
			smallGraph([][]byte{gruNode, squeezeNode, headNode,
				nodeOf("Sub", in("minus", "out"), in("a")),
				nodeOf("Sub", in("minus", "a"), in("b")),
				nodeOf("Identity", in("b"), in("final"))},
				floatsOf("minus", []int{1}, -1)).giving("final"), false},
		{"constants in other types",
			smallGraph([][]byte{gruNode,
				nodeOf("Constant", nil, in("axes"), attribute("value_ints", varint(8, 1))),
				nodeOf("Cast", in("axes"), in("f"), wholeAttribute("to", 1)),
				nodeOf("Cast", in("f"), in("i"), wholeAttribute("to", 7)),
				nodeOf("Squeeze", in("y", "i"), in("h")), headNode}), false},
		{"dropout outside training",
			smallGraph([][]byte{gruNode, squeezeNode, nodeOf("Dropout", in("h"), in("d")),
				nodeOf("MatMul", in("d", "K"), in("out"))}), false},
		{"nodes without use",
			smallGraph([][]byte{gruNode, squeezeNode, headNode,
				nodeOf("Conv", in("h", "lost"), in("unused"))}), false},
	} {
		got, err := readGraph(c.graph)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if !reflect.DeepEqual(got.Network, base.Network) || got.LastStep != c.last ||
			got.Mean != nil || got.Softmax {
			t.Errorf("%s: got %+v of %v, want %v", c.name, got, got.Network, base.Network)
		}
	}
}
