package model

import (
	"archive/zip"
	"bytes"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"codeberg.org/sbinet/npyio/npy"
)

func TestWrittenNPZIsReadBack(t *testing.T) {
	tensors := map[string]*Tensor{
		"gru.weight": {[]int{2, 3}, []float64{1, -2, 0.5, math.Pi, 1e300, -0.1}},
		"head.bias":  {[]int{2}, []float64{0.25, -8}},
	}
	var file, again bytes.Buffer
	for _, to := range []*bytes.Buffer{&file, &again} {
		if err := WriteNPZ(to, tensors); err != nil {
			t.Fatal(err)
		}
	}
	if !bytes.Equal(file.Bytes(), again.Bytes()) {
		t.Error("the same tensors give other bytes")
	}
	got, err := ReadNPZ(bytes.NewReader(file.Bytes()), int64(file.Len()), "written.npz")
	if err != nil || !reflect.DeepEqual(got, tensors) {
		t.Errorf("read back %v, %v", got, err)
	}
	// The outside reader is npyio v0.14.0.
	archive, err := zip.NewReader(bytes.NewReader(file.Bytes()), int64(file.Len()))
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range archive.File {
		member, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		reader, err := npy.NewReader(member)
		if err != nil {
			t.Fatal(err)
		}
		want := tensors[f.Name[:len(f.Name)-len(".npy")]]
		if reader.Header.Descr.Fortran || !slices.Equal(reader.Header.Descr.Shape, want.Shape) {
			t.Errorf("%s: header %+v, want the shape %v", f.Name, reader.Header, want.Shape)
		}
		if wantType := map[string]string{"gru.weight.npy": "<f8",
			"head.bias.npy": "<f4"}[f.Name]; strings.Trim(reader.Header.Descr.Type, "'") !=
			wantType {
			t.Errorf("%s: type %s, want %s", f.Name, reader.Header.Descr.Type, wantType)
		}
	}
	if err := WriteNPZ(&file, map[string]*Tensor{"a": {[]int{3}, []float64{1}}}); err == nil {
		t.Error("a shape that does not fit its data was written")
	}
}
