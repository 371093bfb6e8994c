package model

import (
	"archive/zip"
	"bytes"
	"encoding/binary"
	"fmt"
	"maps"
	"math"
	"slices"
	"testing"

	"codeberg.org/sbinet/npyio/npy"
	"gonum.org/v1/gonum/mat"
)

func TestNPYAgreesWithNpyio(t *testing.T) {
	// The outside reader is npyio v0.14.0. The package does not use it for the reasons given at
	// parseNPYHeader.
	for _, descr := range []string{"<f4", ">f4", "<f8", ">f8"} {
		for _, fortran := range []string{"False", "True"} {
			raw := npyFile(1, fmt.Sprintf("{'descr': '%s', 'fortran_order': %s, 'shape': (2, 3), }",
				descr, fortran), sixFloats(descr))
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
				t.Errorf("%s fortran %s: got %v, want %v", descr, fortran, got.Data,
					want.RawMatrix().Data)
			}
		}
	}
}

// sixFloats returns the numbers 1 to 6 in the given type.
func sixFloats(descr string) []byte {
	order := map[byte]binary.AppendByteOrder{'<': binary.LittleEndian,
		'>': binary.BigEndian}[descr[0]]
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
	// Source: NumPy reference, numpy.lib.format: versions 1.0 to 3.0, scalar and one-axis shapes,
	// keys in any order.
	one := []byte{0, 0, 0x80, 0x3f}
	for _, c := range []struct {
		name   string
		raw    []byte
		shape  []int
		values []float64
	}{
		{"scalar", npyFile(1, "{'descr': '<f4', 'fortran_order': False, 'shape': (), }", one),
			[]int{}, []float64{1}},
		{"one axis", npyFile(2, "{'descr': '<f4', 'fortran_order': False, 'shape': (1,), }", one),
			[]int{1}, []float64{1}},
		{"other order, no last comma",
			npyFile(3, `{"shape":(1,1),"fortran_order":False,"descr":"<f4"}`, one), []int{1, 1},
			[]float64{1}},
		{"half", npyFile(1, "{'descr': '<f2', 'fortran_order': False, 'shape': (2,), }", one),
			[]int{2}, []float64{0, 1.875}},
		{"empty", npyFile(1, "{'descr': '<f8', 'fortran_order': False, 'shape': (0, 3), }", nil),
			[]int{0, 3}, []float64{}},
		{"column-major, three axes", npyFile(1, "{'descr': '<f4', 'fortran_order': True, "+
			"'shape': (1, 2, 3), }", sixFloats("<f4")),
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
	raw := npyFile(1, "{'descr': '<f4', 'fortran_order': False, 'shape': (2, 3), }",
		sixFloats("<f4"))
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
