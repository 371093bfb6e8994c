package model

import (
	"bytes"
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

func readGraph(g graphFile) (*Import, error) {
	raw := g.bytes()
	return ReadONNX(bytes.NewReader(raw), int64(len(raw)), "m.onnx")
}

func TestSmallGraphIsRead(t *testing.T) {
	// The graph that the refusals below change is itself read.
	i, err := readGraph(smallGraph([][]byte{gruNode, squeezeNode, headNode}))
	if err != nil || i.Network.String() != "GRU (reset-before) 2→3, dense 3→1" {
		t.Fatalf("got %v, %v", i, err)
	}
}

func TestGraphsThatAreRefused(t *testing.T) {
	gru := func(attributes ...[]byte) [][]byte {
		return [][]byte{nodeOf("GRU", []string{"x", "W", "R", "B"}, []string{"y", "state"},
			attributes...), squeezeNode, headNode}
	}
	started := func(tensor []byte) graphFile {
		return smallGraph([][]byte{nodeOf("GRU", []string{"x", "W", "R", "", "", "h0"},
			[]string{"y"}), squeezeNode, headNode}, tensor)
	}
	behind := func(nodes ...[]byte) [][]byte {
		return append([][]byte{gruNode, squeezeNode}, nodes...)
	}
	in := func(names ...string) []string { return names }
	two := func(op, a, b, out string) []byte { return nodeOf(op, in(a, b), in(out)) }
	opset := func(version int64) graphFile {
		g := smallGraph([][]byte{gruNode, squeezeNode, headNode})
		g.opset = version
		return g
	}
	layers := [][]byte{gruNode}
	for _, l := range []string{"b", "c", "d"} { // each takes "y" of the one before
		from := "y" + string(rune(l[0]-1))
		if l == "b" {
			from = "y"
		}
		layers = append(layers, nodeOf("Squeeze", in(from, "one"), in("s"+l)),
			nodeOf("GRU", in("s"+l, "R", "R"), in("y"+l)))
	}
	layers = append(layers, nodeOf("Squeeze", in("yd", "one"), in("h")), headNode)
	for _, c := range []struct {
		name          string
		graph         graphFile
		sentinel      error
		message, hint string
	}{
		{"direction", smallGraph(gru(attribute("direction", text(4, "reverse")))), ErrUnsupported,
			`m.onnx: node 0 (GRU): has direction "reverse"`, "one direction"},
		{"clip", smallGraph(gru(attribute("clip", nil))), ErrUnsupported,
			"clips the inputs of its activations", "without clip"},
		{"activations",
			smallGraph(gru(attribute("activations",
				join(text(9, "HardSigmoid"), text(9, "Tanh"))))), ErrUnsupported,
			"has the activations HardSigmoid, Tanh", "train with the activations Sigmoid, Tanh"},
		{"hidden size", smallGraph(gru(wholeAttribute("hidden_size", 4))), ErrFormat,
			"has a hidden_size of 4, but recurrent weights for 3 units", ""},
		{"stored start", started(floatsOf("h0", []int{1, 1, 3}, 0, 0.5, 0)), ErrUnsupported,
			"starts from a stored hidden state that is not zero", "zeros"},
		{"weights of another cell",
			smallGraph([][]byte{nodeOf("LSTM", in("x", "W", "R"), in("y")), squeezeNode, headNode}),
			ErrFormat,
			"has recurrent weights of shape [1 × 9 × 3], expected [1 × 4*units × units]", ""},
		{"short sequences",
			smallGraph([][]byte{nodeOf("GRU", in("x", "W", "R", "", "one"), in("y")), squeezeNode,
				headNode}), ErrUnsupported,
			"ends sequences before the last step", "without sequence lengths"},
		{"weights not stored",
			smallGraph([][]byte{nodeOf("GRU", in("x", "x", "R"), in("y")), squeezeNode, headNode}),
			ErrUnsupported,
			`input weights ("x") are computed from the features, or an input of the graph`,
			"stored"},
		{"four layers", smallGraph(layers), ErrUnsupported, "node 6 (GRU): is recurrent layer " +
			"4, at most 3 are read", "fewer layers"},
		{"dense in front",
			smallGraph([][]byte{two("MatMul", "x", "M", "x2"),
				nodeOf("GRU", in("x2", "W", "R"), in("y")), squeezeNode, headNode},
				floatsOf("M", []int{2, 2}, 1, 2, 3, 4)), ErrUnsupported, "node 0 (MatMul): is a " +
				"dense layer in front of the recurrent ones", "start the network"},
		{"activation in front",
			smallGraph([][]byte{nodeOf("Tanh", in("x"), in("x2")),
				nodeOf("GRU", in("x2", "W", "R"), in("y")), squeezeNode, headNode}),
			ErrUnsupported, "node 0 (Tanh): stands in front of the recurrent layers",
			"shifted and scaled"},
		{"recurrent behind dense",
			smallGraph(behind(nodeOf("Relu", in("h"), in("a")),
				nodeOf("GRU", in("a", "R", "R"), in("y2")),
				nodeOf("Squeeze", in("y2", "one"), in("h2")), two("MatMul", "h2", "K", "out"))),
			ErrUnsupported, "node 3 (GRU): is a recurrent layer after a dense one", "first"},
		{"around a layer", smallGraph(behind(two("Add", "h", "h", "out"))), ErrUnsupported,
			"combines two computed values", "chains"},
		{"all steps at once", func() graphFile {
			g := smallGraph(behind(nodeOf("Reshape", in("h", "flat"), in("f")),
				two("MatMul", "f", "wide", "out")), wholesOf("flat", 1, 12),
				floatsOf("wide", []int{12, 1}, make([]float64, 12)...))
			g.inputs = [][]byte{valueOf("x", 4, 1, 2)}
			return g
		}(), ErrUnsupported, "node 3 (MatMul): is a dense layer over several steps at once",
			"every step"},
		{"first step",
			smallGraph(behind(nodeOf("Gather", in("h", "zero"), in("f"), wholeAttribute("axis", 0)),
				two("MatMul", "f", "K", "out"))), ErrUnsupported,
			"node 2 (Gather): takes 1 of the steps, which is not the last one", "every step"},
		{"some features of some steps",
			smallGraph(append([][]byte{nodeOf("Slice", in("x", "zero", "last", "zero"), in("x2")),
				nodeOf("GRU", in("x2", "W", "R"), in("y"))}, squeezeNode, headNode)),
			ErrUnsupported, "node 1 (GRU): takes axes of shape [1008 × 1 × 2] in another order",
			"transpose"},
		{"mixing reshape",
			smallGraph(behind(nodeOf("Reshape", in("h", "odd"), in("f")),
				two("MatMul", "f", "K", "out")), wholesOf("odd", 3, -1)), ErrUnsupported,
			"reshapes [1009 × 1 × 3] to [3 × 1009], which mixes", "axes of their own"},
		{"different steps",
			smallGraph(behind(two("Add", "h", "table", "f"), two("MatMul", "f", "K", "out")),
				floatsOf("table", []int{1009, 1, 1}, counting(1009)...)), ErrUnsupported,
			"constants that differ along axis 0, which holds steps or sequences",
			"same at every step"},
		{"unknown operator", smallGraph(behind(nodeOf("Conv", in("h", "K"), in("out")))),
			ErrUnsupported, "node 2 (Conv): is an operator that kerf does not know",
			"MatMul, Gemm"},
		{"quantized", smallGraph(behind(nodeOf("DequantizeLinear", in("h", "K"), in("out")))),
			ErrUnsupported, "is an operator that kerf does not know", "before quantization"},
		{"class number",
			smallGraph(append(behind(headNode), nodeOf("ArgMax", in("out"), in("class")))).giving(
				"class"), ErrUnsupported, "node 3 (ArgMax)", "scores of the classes"},
		{"loop", smallGraph(
			behind(nodeOf("Loop", in("h"), in("out"), attribute("body", message(6, nil))))),
			ErrUnsupported, "contains a graph of its own", "control flow"},
		{"foreign operator",
			smallGraph(behind(append(nodeOf("GRU", in("h"), in("out")),
				text(7, "example.org")...))), ErrUnsupported, `belongs to the set of operators ` +
				`"example.org"`, "standard only"},
		{"behind a softmax",
			smallGraph(behind(headNode, nodeOf("Softmax", in("out"), in("p")),
				nodeOf("Relu", in("p"), in("q")))).giving("q"), ErrUnsupported,
			"node 4 (Relu): comes after a softmax", "end the network"},
		{"no recurrent layer", smallGraph([][]byte{nodeOf("Identity", in("x"), in("out"))}),
			ErrUnsupported, `output "out": depends on no recurrent layer`, "GRU, LSTM or RNN"},
		{"cell state",
			smallGraph([][]byte{nodeOf("LSTM", in("x", "W4", "R4"), in("", "", "c")),
				nodeOf("Add", in("c", "K"), in("out"))},
				floatsOf("W4", []int{1, 12, 2}, make([]float64, 24)...),
				floatsOf("R4", []int{1, 12, 3}, make([]float64, 36)...)), ErrUnsupported,
			"takes the cell state of an LSTM", "last hidden state"},
		{"not a number", smallGraph([][]byte{gruNode, squeezeNode, two("MatMul", "h", "N", "out")},
			floatsOf("N", []int{3, 1}, 1, math.NaN(), 2)), ErrFormat,
			`node 2 (MatMul): tensor "N" holds the value NaN`, "diverged"},
		{"old operators", opset(6), ErrUnsupported, "uses version 6 of the ONNX operators",
			"opset 17"},
		{"new operators", opset(23), ErrUnsupported, "uses version 23 of the ONNX operators, " +
			"read are 7 to 22", "opset 17"},
		{"no operators", opset(0), ErrUnsupported, "uses version 0", "opset 17"},
		{"used before made", smallGraph([][]byte{squeezeNode, gruNode, headNode}), ErrFormat,
			`node 0 (Squeeze): uses "y" before any node has computed it`, ""},
		{"made twice", smallGraph(behind(headNode, headNode)), ErrFormat,
			`node 3 (MatMul): computes "out" a second time`, ""},
		{"nobody makes it", smallGraph(behind(headNode)).giving("lost"), ErrFormat,
			`no node computes the output "lost"`, ""},
		{"other file",
			smallGraph(behind(two("MatMul", "h", "far", "out")),
				join(floatsOf("far", []int{3, 1}), varint(14, 1))), ErrUnsupported,
			`tensor "far": lies in another file`, "inside"},
		{"whole weights", smallGraph(behind(two("MatMul", "h", "one", "out"))), ErrUnsupported,
			"multiplies computed values of shape [1009 × 1 × 3] by constants of shape [1]", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := readGraph(c.graph)
			checkRefusal(t, err, c.sentinel, c.message, c.hint)
		})
	}
}

// giving returns the graph with another output.
func (g graphFile) giving(name string) graphFile {
	g.outputs = []string{name}
	return g
}

func counting(n int) []float64 {
	v := make([]float64, n)
	for i := range v {
		v[i] = float64(i)
	}
	return v
}

func TestHostileGraphs(t *testing.T) {
	good := smallGraph([][]byte{gruNode, squeezeNode, headNode}).bytes()
	reshaped := func(nodes [][]byte, tensors ...[]byte) []byte {
		return smallGraph(nodes, tensors...).bytes()
	}
	const many = 1 << 26
	for _, c := range []struct {
		name     string
		file     []byte
		sentinel error
		message  string
	}{
		{"empty", nil, ErrFormat, "holds no graph"},
		{"text", []byte("import onnx\n"), ErrFormat, "cannot be read as ONNX"},
		{"cut", good[:len(good)/2], ErrFormat,
			"cannot be read as ONNX: ModelProto: unexpected EOF"},
		{"group", join([]byte{0x0b}, good), ErrFormat, "field 1 has wire type 3"},
		{"graph is a number", varint(7, 1), ErrFormat, "field 7 has wire type 0, expected 2"},
		{"shape larger than the data",
			reshaped([][]byte{gruNode, squeezeNode,
				nodeOf("MatMul", []string{"h", "big"}, []string{"out"})},
				floatsOf("big", []int{3, many}, 1)),
			ErrFormat, `tensor "big": has shape [3 × 67108864], but 1 values`},
		{"negative shape",
			reshaped([][]byte{gruNode, squeezeNode,
				nodeOf("MatMul", []string{"h", "big"}, []string{"out"})},
				floatsOf("big", []int{-3, -1}, 1, 2, 3)),
			ErrFormat, "has an impossible shape, [-3 -1]"},
		{"expanded weights",
			reshaped([][]byte{nodeOf("ConstantOfShape", []string{"sizes"}, []string{"W2"}),
				nodeOf("GRU", []string{"x", "W2", "R"}, []string{"y"}), squeezeNode, headNode},
				wholesOf("sizes", 1, 9, many)), ErrUnsupported,
			"makes a tensor that is far larger " +
				"than the file"},
		{"expanded list",
			reshaped([][]byte{nodeOf("Expand", []string{"K", "sizes"}, []string{"L"}), gruNode,
				squeezeNode, nodeOf("Add", []string{"h", "L"}, []string{"out"})},
				wholesOf("sizes", many, 3, 1)), ErrUnsupported, "far larger than the file"},
		{"doubled again and again", doubling(), ErrUnsupported, "far larger than the file"},
		{"wide input", func() []byte {
			g := smallGraph(
				[][]byte{nodeOf("Slice", []string{"x", "zero", "last", "one"}, []string{"x2"}),
					nodeOf("GRU", []string{"x2", "W", "R"}, []string{"y"}), squeezeNode, headNode})
			g.inputs = [][]byte{valueOf("x", 1, 1<<31-1, 1)}
			return g.bytes()
		}(), ErrUnsupported, "far larger than the file"},
		{"a million nodes", func() []byte {
			var graph []byte
			for range maxONNXMessages {
				graph = append(graph, message(1, nil)...)
			}
			return message(7, graph)
		}(), ErrUnsupported, "holds more than 100000 nodes, attributes and tensors"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := ReadONNX(bytes.NewReader(c.file), int64(len(c.file)), "m.onnx")
			checkRefusal(t, err, c.sentinel, c.message, "")
		})
	}
}

// doubling returns a graph that puts a tensor behind itself forty times.
func doubling() []byte {
	nodes := [][]byte{nodeOf("Concat", []string{"K", "K"}, []string{"d0"},
		wholeAttribute("axis", 0))}
	name := func(i int) string { return "d" + string(rune('0'+i)) }
	for i := range 40 {
		nodes = append(nodes, nodeOf("Concat", []string{name(i), name(i)}, []string{name(i + 1)},
			wholeAttribute("axis", 0)))
	}
	nodes = append(nodes, gruNode, squeezeNode,
		nodeOf("Add", []string{"h", name(40)}, []string{"out"}))
	return smallGraph(nodes).bytes()
}

// damagedGraphs are read in TestDamagedGraphs, and are the first inputs of the fuzzing.
var damagedGraphs = []string{"torch_gru_2layer_dense_seq", "torch_lstm_last", "onnx_form_chosen",
	"onnx_form_mul_add", "onnx_form_two_outputs", "op_rnn"}

func TestDamagedGraphs(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 7))
	refused := 0
	for _, name := range damagedGraphs {
		raw := readBytes(t, vectors, name+".onnx")
		for range 500 {
			file := bytes.Clone(raw)
			for range 1 + random.IntN(3) {
				file[random.IntN(len(file))] = byte(random.Uint32())
			}
			if !checkONNX(t, file) {
				refused++
			}
		}
	}
	if refused < 500 {
		t.Errorf("only %d of 3000 damaged files refused", refused)
	}
}

// checkONNX reads hostile bytes. The reader must not panic, and must return one of the two error
// types or a valid network.
func checkONNX(t *testing.T, file []byte) bool {
	var i *Import
	var err error
	onnxLimits.Check(t, len(file), "fuzz", func() error {
		i, err = ReadONNX(bytes.NewReader(file), int64(len(file)), "fuzz")
		return err
	})
	if err != nil {
		if !errors.Is(err, ErrFormat) && !errors.Is(err, ErrUnsupported) {
			t.Fatalf("untyped error %v", err)
		}
		return false
	}
	if err := i.Network.Validate(); err != nil {
		t.Fatalf("ReadONNX accepted what Validate refuses: %v", err)
	}
	checkNetwork(t, i.Network)
	return true
}

func FuzzReadONNX(f *testing.F) {
	for _, name := range damagedGraphs {
		f.Add(readBytes(f, vectors, name+".onnx"))
	}
	f.Add(smallGraph([][]byte{gruNode, squeezeNode, headNode}).bytes())
	f.Fuzz(func(t *testing.T, file []byte) { checkONNX(t, file) })
}
