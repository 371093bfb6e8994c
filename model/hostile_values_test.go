package model

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
)

// Floats of every size and byte order keep every bit. Values that no trained weight has are refused
// when the network is built.
func TestUnusualValuesAreReadExactly(t *testing.T) {
	values := []float64{0, math.Copysign(0, -1), 5e-324, 2.2250738585072014e-308, 1e-310,
		math.MaxFloat64, 1e-45}
	for descr, order := range map[string]binary.AppendByteOrder{"<f8": binary.LittleEndian,
		">f8": binary.BigEndian} {
		var data []byte
		for _, v := range values {
			data = order.AppendUint64(data, math.Float64bits(v))
		}
		tensor, err := ReadNPY(npyFile(1, fmt.Sprintf("{'descr': '%s', 'fortran_order': False, "+
			"'shape': (%d,), }", descr, len(values)), data), "a.npy")
		if err != nil {
			t.Fatal(err)
		}
		if !slices.EqualFunc(tensor.Data, values, func(a, b float64) bool {
			return math.Float64bits(a) == math.Float64bits(b)
		}) {
			t.Errorf("%s: got %v, want %v", descr, tensor.Data, values)
		}
	}
}

func TestImpossibleWeightsAreRefused(t *testing.T) {
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e31, -3e38,
		math.MaxFloat64} {
		tensors := readSafetensors(t, "gru_1layer")
		tensors["rnn.weight_ih_l0"].Data[7] = v
		_, err := FromTorch("m.safetensors", tensors, Spec{})
		checkRefusal(t, err, ErrFormat, fmt.Sprintf(`m.safetensors: tensor "rnn.weight_ih_l0": `+
			`value at [1, 2] is %v`, v), "another order")
	}
	tensors := readSafetensors(t, "gru_1layer")
	for _, tensor := range tensors {
		for i := range tensor.Data {
			tensor.Data[i] = 5e-324 // the smallest number of all
		}
	}
	if n, err := FromTorch("m", tensors, Spec{}); err != nil || n.Validate() != nil {
		t.Errorf("denormal weights: %v", err)
	}
}

// A file of float32 weights in the other byte order is not read as a network.
func TestSwappedBytesAreRefused(t *testing.T) {
	tensors := readSafetensors(t, "gru_1layer")
	for _, tensor := range tensors {
		for i, v := range tensor.Data {
			var raw [4]byte
			binary.BigEndian.PutUint32(raw[:], math.Float32bits(float32(v)))
			tensor.Data[i] = float64(math.Float32frombits(binary.LittleEndian.Uint32(raw[:])))
		}
	}
	_, err := FromTorch("m", tensors, Spec{})
	checkRefusal(t, err, ErrFormat, "m: tensor", "another order")
}

func TestManyAxesAreRefused(t *testing.T) {
	ones := strings.Repeat("1,", 65)
	npy := npyFile(1, "{'descr': '<f4', 'fortran_order': True, 'shape': ("+ones+"), }",
		make([]byte, 4))
	_, err := ReadNPY(npy, "a.npy")
	checkRefusal(t, err, ErrFormat, "a.npy: shape [of 65 axes]", "")
	file := safetensorsFile(`{"a":{"dtype":"F32","shape":[`+strings.Repeat("1,",
		100_000)+`1],"data_offsets":[0,4]}}`, make([]byte, 4))
	_, err = ReadSafetensors(bytes.NewReader(file), int64(len(file)), "m")
	checkRefusal(t, err, ErrFormat, `m: tensor "a": shape has more than 64 numbers`, "")
	axes := make([]int, 100_000)
	for i := range axes {
		axes[i] = 1
	}
	_, err = readGraph(
		smallGraph([][]byte{gruNode, squeezeNode,
			nodeOf("MatMul", []string{"h", "big"}, []string{"out"})}, floatsOf("big", axes, 1)))
	checkRefusal(t, err, ErrFormat, `tensor "big": has an impossible shape, of 100000 axes`, "")
}

func TestHostileNodes(t *testing.T) {
	var attributes [][]byte
	for i := range 1000 {
		attributes = append(attributes, wholeAttribute(fmt.Sprint("a", i), 1))
	}
	_, err := readGraph(
		smallGraph([][]byte{nodeOf("GRU", []string{"x", "W", "R", "B"}, []string{"y", "state"},
			attributes...), squeezeNode, headNode}))
	checkRefusal(t, err, ErrUnsupported, "m.onnx: node 0 (GRU): has more than 64 attributes", "")
	// A circle: every node takes the result of the other.
	_, err = readGraph(
		smallGraph([][]byte{gruNode, nodeOf("Add", []string{"b", "y"}, []string{"a"}),
			nodeOf("Relu", []string{"a"}, []string{"b"}),
			nodeOf("MatMul", []string{"b", "K"}, []string{"out"})}))
	checkRefusal(t, err, ErrFormat, `node 1 (Add): uses "b" before any node has computed it`, "")
	_, err = readGraph(
		smallGraph([][]byte{gruNode, squeezeNode,
			nodeOf("Add", []string{"out", "h"}, []string{"out"})}))
	checkRefusal(t, err, ErrFormat, `node 2 (Add): uses "out" before any node has computed it`, "")
}

// Long chains of nodes take time in proportion to their length.
func TestLongChains(t *testing.T) {
	chain := func(op string, more ...string) graphFile {
		nodes := [][]byte{gruNode, squeezeNode}
		at := "h"
		for i := range 10_000 {
			next := fmt.Sprint("v", i)
			nodes = append(nodes, nodeOf(op, append([]string{at}, more...), []string{next}))
			at = next
		}
		return smallGraph(append(nodes, nodeOf("MatMul", []string{at, "K"}, []string{"out"})),
			floatsOf("Z", []int{1}, 1), floatsOf("I", []int{3, 3}, 1, 0, 0, 0, 1, 0, 0, 0, 1))
	}
	for _, c := range []struct {
		op, more string
		refusal  string // empty: read
	}{
		{"Identity", "", ""}, {"Transpose", "", ""}, {"Add", "Z", ""},
		{"Relu", "", "(Relu): is dense layer 101, at most 100 are read"},
		{"Tanh", "", "(Tanh): is dense layer 101, at most 100 are read"},
	} {
		g := chain(c.op, strings.Fields(c.more)...)
		raw := g.bytes()
		var err error
		onnxLimits.Check(t, len(raw), "m.onnx", func() error {
			_, err = ReadONNX(bytes.NewReader(raw), int64(len(raw)), "m.onnx")
			return err
		})
		if (c.refusal == "") != (err == nil) || err != nil &&
			!strings.Contains(err.Error(), c.refusal) {
			t.Errorf("%s: got %v, want %q", c.op, err, c.refusal)
		}
	}
}

// Names of members become names of tensors, never of files on disk.
func TestNamesThatClimbOutOfTheFolder(t *testing.T) {
	one := string(npyFile(1, "{'descr': '<f4', 'fortran_order': False, 'shape': (2, 3), }",
		sixFloats("<f4")))
	for _, name := range []string{"../../evil", "/etc/passwd", `C:\evil`, "a\nb", "\x1b[2J"} {
		file := zipFile(t, name+".npy", one)
		tensors, err := ReadNPZ(bytes.NewReader(file), int64(len(file)), "m")
		if err != nil || tensors[name] == nil {
			t.Errorf("%q: got %d tensors, %v", name, len(tensors), err)
		}
	}
}
