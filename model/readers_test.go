package model

import (
	"bytes"
	"encoding/binary"
	"math"
	"reflect"
	"slices"
	"testing"
)

func TestSafetensorsAndNPZAgree(t *testing.T) {
	// Both files of a case were written from the same torch state dict.
	for _, name := range []string{"gru_1layer", "gru_1layer_nobias", "gru_1layer_dense",
		"gru_2layer", "lstm_1layer", "lstm_2layer", "rnn_tanh", "rnn_relu"} {
		fromZip, fromHeader := weightsOf(readNPZ(t, name)), readSafetensors(t, name)
		if !reflect.DeepEqual(fromZip, fromHeader) {
			t.Errorf("%s: tensors differ", name)
		}
		if len(fromHeader) < 4 {
			t.Errorf("%s: only %d tensors", name, len(fromHeader))
		}
	}
}

func TestUnpaddedHeader(t *testing.T) {
	// The header of rnn_tanh has 413 bytes (README of the vectors), so the data are not aligned.
	tensors := readSafetensors(t, "rnn_tanh")
	if got := tensors["rnn.weight_ih_l0"].Shape; !slices.Equal(got, []int{7, 5}) {
		t.Errorf("got shape %v, want [7 5]", got)
	}
}

func TestAnyModuleNames(t *testing.T) {
	want := ToTorch(fromTorch(t, readSafetensors(t, "gru_1layer"), Spec{}))
	for _, prefixes := range [][2]string{{"gru.", "head."}, {"net.rnn.", "net.out.0."}, {"", "fc."},
		{"gru.", ""}} {
		renamed := map[string]*Tensor{}
		for name, tensor := range want {
			prefix, leaf := splitName(name)
			renamed[map[string]string{"gru.": prefixes[0],
				"head.": prefixes[1]}[prefix]+leaf] = tensor
		}
		n, err := FromTorch("renamed", renamed, Spec{})
		if err != nil {
			t.Errorf("%q: %v", prefixes, err)
		} else if !reflect.DeepEqual(ToTorch(n), want) {
			t.Errorf("%q: tensors differ", prefixes)
		}
	}
}

func TestMissingBiasesAreZero(t *testing.T) {
	tensors := readSafetensors(t, "gru_1layer_nobias")
	delete(tensors, "head.bias")
	n := fromTorch(t, tensors, Spec{})
	if err := n.Validate(); err != nil {
		t.Fatal(err)
	}
	for _, b := range [][]float64{n.Recurrent[0].B, n.Recurrent[0].D, n.Dense[0].B} {
		if slices.ContainsFunc(b, func(v float64) bool { return v != 0 }) {
			t.Errorf("bias %v, want zeros", b)
		}
	}
}

func TestWriteReadWriteIsStable(t *testing.T) {
	tensors := readSafetensors(t, "gru_1layer")
	third := 1.0 / 3 // no float32
	tensors["wide"] = &Tensor{Shape: []int{}, Data: []float64{third}}
	tensors["empty"] = &Tensor{Shape: []int{0, 3}, Data: []float64{}}
	tensors["quote\" and é"] = &Tensor{Shape: []int{1}, Data: []float64{math.Copysign(0, -1)}}
	metadata := map[string]string{"written_by": "test", "a": "b"}
	first := write(t, tensors, metadata)
	back, err := ReadSafetensors(bytes.NewReader(first), int64(len(first)), "first")
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(back, tensors) {
		t.Error("tensors changed on the way")
	}
	if second := write(t, back, metadata); !bytes.Equal(first, second) {
		t.Error("the second file differs from the first")
	}
	if n := binary.LittleEndian.Uint64(first); n%8 != 0 {
		t.Errorf("header of %d bytes is not padded to 8", n)
	}
	if !bytes.Contains(first, []byte(`"wide":{"dtype":"F64","shape":[]`)) ||
		!bytes.Contains(first, []byte(`"head.bias":{"dtype":"F32"`)) {
		t.Errorf("types are not the narrowest exact ones: %s",
			first[8:][:binary.LittleEndian.Uint64(first)])
	}
}

func TestWriteMatchesTorchFile(t *testing.T) {
	// gru_1layer.safetensors was written by the generator of the vectors in the published layout,
	// names sorted, header padded.
	want := readBytes(t, vectors, "gru_1layer.safetensors")
	if got := write(t, readSafetensors(t, "gru_1layer"),
		map[string]string{"format": "pt"}); !bytes.Equal(got, want) {
		t.Error("bytes differ from the vector file")
	}
}

func TestWriteRefusesWrongShape(t *testing.T) {
	for name, tensor := range map[string]*Tensor{
		"short": {Shape: []int{2}, Data: []float64{1}}, "negative": {Shape: []int{-1}},
		"__metadata__":   {Shape: []int{1}, Data: []float64{1}},
		"not UTF-8 \xff": {Shape: []int{1}, Data: []float64{1}},
	} {
		if err := WriteSafetensors(&bytes.Buffer{}, map[string]*Tensor{name: tensor}, nil); err ==
			nil {
			t.Errorf("%s was written", name)
		}
	}
}

func write(t *testing.T, tensors map[string]*Tensor, metadata map[string]string) []byte {
	t.Helper()
	var out bytes.Buffer
	if err := WriteSafetensors(&out, tensors, metadata); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

func TestNarrowFloats(t *testing.T) {
	// Values of binary16 from IEEE 754-2008: one, -2, largest, smallest normal, smallest subnormal,
	// infinity. Of bfloat16: the upper half of the float32 patterns of 1, -2 and 2^127.
	file := safetensorsFile(
		`{"h":{"dtype":"F16","shape":[6],"data_offsets":[0,12]},"b":{"dtype":"BF16","shape":[3],"data_offsets":[12,18]}}`,
		[]byte{0x00, 0x3c, 0x00, 0xc0, 0xff, 0x7b, 0x00, 0x04, 0x01, 0x00, 0x00, 0x7c, 0x80, 0x3f,
			0x00, 0xc0, 0x00, 0x7f})
	tensors, err := ReadSafetensors(bytes.NewReader(file), int64(len(file)), "narrow")
	if err != nil {
		t.Fatal(err)
	}
	if got, want := tensors["h"].Data,
		[]float64{1, -2, 65504, 0x1p-14, 0x1p-24, math.Inf(1)}; !slices.Equal(got, want) {
		t.Errorf("F16: got %v, want %v", got, want)
	}
	if got, want := tensors["b"].Data, []float64{1, -2, 0x1p127}; !slices.Equal(got, want) {
		t.Errorf("BF16: got %v, want %v", got, want)
	}
	if !math.IsNaN(fromFloat16(0x7e00)) {
		t.Error("0x7e00 is not NaN")
	}
}
