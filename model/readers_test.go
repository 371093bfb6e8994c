package model

import (
	"archive/zip"
	"bytes"
	"encoding/binary"
	"fmt"
	"maps"
	"math"
	"reflect"
	"slices"
	"testing"

	"codeberg.org/sbinet/npyio/npy"
	"gonum.org/v1/gonum/mat"
)

func TestSafetensorsAndNPZAgree(t *testing.T) {
	// Both files of a case were written from the same torch state dict.
	for _, name := range []string{"gru_1layer", "gru_1layer_nobias", "gru_2layer"} {
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
	want := ToTorch(fromTorch(t, readSafetensors(t, "gru_1layer")))
	for _, prefixes := range [][2]string{{"gru.", "head."}, {"net.rnn.", "net.out.0."}, {"", "fc."}, {"gru.", ""}} {
		renamed := map[string]*Tensor{}
		for name, tensor := range want {
			prefix, leaf := splitName(name)
			renamed[map[string]string{"gru.": prefixes[0], "head.": prefixes[1]}[prefix]+leaf] = tensor
		}
		n, err := FromTorch("renamed", renamed)
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
	n := fromTorch(t, tensors)
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
	if !bytes.Contains(first, []byte(`"wide":{"dtype":"F64","shape":[]`)) || !bytes.Contains(first, []byte(`"head.bias":{"dtype":"F32"`)) {
		t.Errorf("types are not the narrowest exact ones: %s", first[8:][:binary.LittleEndian.Uint64(first)])
	}
}

func TestWriteMatchesTorchFile(t *testing.T) {
	// gru_1layer.safetensors was written by the generator of the vectors in the published layout, names sorted, header padded.
	want := readBytes(t, vectors, "gru_1layer.safetensors")
	if got := write(t, readSafetensors(t, "gru_1layer"), map[string]string{"format": "pt"}); !bytes.Equal(got, want) {
		t.Error("bytes differ from the vector file")
	}
}

func TestWriteRefusesWrongShape(t *testing.T) {
	for name, tensor := range map[string]*Tensor{
		"short": {Shape: []int{2}, Data: []float64{1}}, "negative": {Shape: []int{-1}}, "__metadata__": {Shape: []int{1}, Data: []float64{1}},
	} {
		if err := WriteSafetensors(&bytes.Buffer{}, map[string]*Tensor{name: tensor}, nil); err == nil {
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
	// Values of binary16 from IEEE 754-2008: one, -2, largest, smallest normal, smallest subnormal, infinity. Of bfloat16: the upper
	// half of the float32 patterns of 1, -2 and 2^127.
	file := safetensorsFile(`{"h":{"dtype":"F16","shape":[6],"data_offsets":[0,12]},"b":{"dtype":"BF16","shape":[3],"data_offsets":[12,18]}}`,
		[]byte{0x00, 0x3c, 0x00, 0xc0, 0xff, 0x7b, 0x00, 0x04, 0x01, 0x00, 0x00, 0x7c, 0x80, 0x3f, 0x00, 0xc0, 0x00, 0x7f})
	tensors, err := ReadSafetensors(bytes.NewReader(file), int64(len(file)), "narrow")
	if err != nil {
		t.Fatal(err)
	}
	if got, want := tensors["h"].Data, []float64{1, -2, 65504, 0x1p-14, 0x1p-24, math.Inf(1)}; !slices.Equal(got, want) {
		t.Errorf("F16: got %v, want %v", got, want)
	}
	if got, want := tensors["b"].Data, []float64{1, -2, 0x1p127}; !slices.Equal(got, want) {
		t.Errorf("BF16: got %v, want %v", got, want)
	}
	if !math.IsNaN(fromFloat16(0x7e00)) {
		t.Error("0x7e00 is not NaN")
	}
}

func TestNPYAgreesWithNpyio(t *testing.T) {
	// The outside reader is npyio v0.14.0. It is not used by the package: see the comment at parseNPYHeader.
	for _, descr := range []string{"<f4", ">f4", "<f8", ">f8"} {
		for _, fortran := range []string{"False", "True"} {
			raw := npyFile(1, fmt.Sprintf("{'descr': '%s', 'fortran_order': %s, 'shape': (2, 3), }", descr, fortran), sixFloats(descr))
			got, err := parseNPY(raw, place{})
			if err != nil {
				t.Fatal(err)
			}
			if !slices.Equal(got.Shape, []int{2, 3}) {
				t.Errorf("%s: got shape %v", descr, got.Shape)
			}
			want := mat.NewDense(2, 3, nil)
			if descr[1:] == "f4" { // npyio fills matrices from float64 only
				var flat []float32
				if err := npy.Read(bytes.NewReader(raw), &flat); err != nil {
					t.Fatal(err)
				}
				for i, v := range flat {
					if fortran == "True" {
						want.Set(i%2, i/2, float64(v))
					} else {
						want.Set(i/3, i%3, float64(v))
					}
				}
			} else if err := npy.Read(bytes.NewReader(raw), want); err != nil {
				t.Fatal(err)
			}
			if !slices.Equal(got.Data, want.RawMatrix().Data) {
				t.Errorf("%s fortran %s: got %v, want %v", descr, fortran, got.Data, want.RawMatrix().Data)
			}
		}
	}
}

// sixFloats returns 1 to 6 in the given type.
func sixFloats(descr string) []byte {
	order := map[byte]binary.AppendByteOrder{'<': binary.LittleEndian, '>': binary.BigEndian}[descr[0]]
	var data []byte
	for v := 1.0; v <= 6; v++ {
		if descr[1:] == "f4" {
			data = order.AppendUint32(data, math.Float32bits(float32(v)))
		} else {
			data = order.AppendUint64(data, math.Float64bits(v))
		}
	}
	return data
}

func TestNPYForms(t *testing.T) {
	// Source: NumPy reference, numpy.lib.format: versions 1.0 to 3.0, scalar and one-axis shapes, keys in any order.
	one := []byte{0, 0, 0x80, 0x3f}
	for _, c := range []struct {
		name   string
		raw    []byte
		shape  []int
		values []float64
	}{
		{"scalar", npyFile(1, "{'descr': '<f4', 'fortran_order': False, 'shape': (), }", one), []int{}, []float64{1}},
		{"one axis", npyFile(2, "{'descr': '<f4', 'fortran_order': False, 'shape': (1,), }", one), []int{1}, []float64{1}},
		{"other order, no last comma", npyFile(3, `{"shape":(1,1),"fortran_order":False,"descr":"<f4"}`, one), []int{1, 1}, []float64{1}},
		{"half", npyFile(1, "{'descr': '<f2', 'fortran_order': False, 'shape': (2,), }", one), []int{2}, []float64{0, 1.875}},
		{"empty", npyFile(1, "{'descr': '<f8', 'fortran_order': False, 'shape': (0, 3), }", nil), []int{0, 3}, []float64{}},
		{"column-major, three axes", npyFile(1, "{'descr': '<f4', 'fortran_order': True, 'shape': (1, 2, 3), }", sixFloats("<f4")),
			[]int{1, 2, 3}, []float64{1, 3, 5, 2, 4, 6}},
	} {
		got, err := parseNPY(c.raw, place{})
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
		} else if !slices.Equal(got.Shape, c.shape) || !slices.Equal(got.Data, c.values) {
			t.Errorf("%s: got %v %v, want %v %v", c.name, got.Shape, got.Data, c.shape, c.values)
		}
	}
}

func TestCompressedNPZ(t *testing.T) {
	raw := npyFile(1, "{'descr': '<f4', 'fortran_order': False, 'shape': (2, 3), }", sixFloats("<f4"))
	var out bytes.Buffer
	archive := zip.NewWriter(&out)
	member, err := archive.Create("a.b.npy") // deflated
	if err != nil {
		t.Fatal(err)
	}
	member.Write(raw)
	archive.Close()
	tensors, err := ReadNPZ(bytes.NewReader(out.Bytes()), int64(out.Len()), "compressed")
	if err != nil {
		t.Fatal(err)
	}
	if names := slices.Collect(maps.Keys(tensors)); !slices.Equal(names, []string{"a.b"}) {
		t.Fatalf("got arrays %q", names)
	}
	if got := tensors["a.b"].Data; !slices.Equal(got, []float64{1, 2, 3, 4, 5, 6}) {
		t.Errorf("got %v", got)
	}
}

// safetensorsFile puts the length in front of a header.
func safetensorsFile(header string, data []byte) []byte {
	file := binary.LittleEndian.AppendUint64(nil, uint64(len(header)))
	return append(append(file, header...), data...)
}

// npyFile puts magic, version and length in front of a header.
func npyFile(version byte, header string, data []byte) []byte {
	file := append([]byte("\x93NUMPY"), version, 0)
	if version == 1 {
		file = binary.LittleEndian.AppendUint16(file, uint16(len(header)+1))
	} else {
		file = binary.LittleEndian.AppendUint32(file, uint32(len(header)+1))
	}
	return append(append(append(file, header...), '\n'), data...)
}

// zipFile stores members, given as name and content in turn.
func zipFile(t testing.TB, members ...string) []byte {
	t.Helper()
	var out bytes.Buffer
	archive := zip.NewWriter(&out)
	for i := 0; i < len(members); i += 2 {
		w, err := archive.CreateHeader(&zip.FileHeader{Name: members[i], Method: zip.Store})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write([]byte(members[i+1])); err != nil {
			t.Fatal(err)
		}
	}
	if err := archive.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}
