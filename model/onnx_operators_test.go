package model

import (
	"archive/zip"
	"fmt"
	"io"
	"math"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

func TestONNXOperatorsOnConstants(t *testing.T) {
	// Source: operator tests of the ONNX standard (testdata/onnxnodes/README.md). All inputs are
	// stored, so that the graph folds to a constant. What is refused is listed; every other test
	// must give the standard's values.
	refused := map[string]string{
		// no network uses a tensor without values
		"test_slice_start_out_of_bounds": "takes nothing of an axis of size 10",
	}
	archive, err := zip.OpenReader(filepath.Join(onnxNodes, "operators.zip"))
	if err != nil {
		t.Fatal(err)
	}
	defer archive.Close()
	tests := map[string]map[string][]byte{}
	for _, member := range archive.File {
		f, err := member.Open()
		if err != nil {
			t.Fatal(err)
		}
		raw, err := io.ReadAll(f)
		if err != nil {
			t.Fatal(err)
		}
		folder, file := path.Split(member.Name)
		folder = strings.TrimSuffix(folder, "/")
		if tests[folder] == nil {
			tests[folder] = map[string][]byte{}
		}
		tests[folder][file] = raw
	}
	if len(tests) != 98 {
		t.Errorf("%d tests", len(tests))
	}
	for name, files := range tests {
		t.Run(name, func(t *testing.T) {
			at := place{file: name}
			m, err := decodeONNX(files["model.onnx"], at)
			if err != nil {
				t.Fatal(err)
			}
			for k, in := range m.graph.inputs {
				m.graph.initializers[in.name] = files[fmt.Sprintf("input_%d.pb", k)]
			}
			e := newONNXEval(m, 1<<16, at)
			if err := e.run(); err != nil {
				if message, listed := refused[name]; !listed ||
					!strings.Contains(err.Error(), message) {
					t.Errorf("refused: %v", err)
				}
				return
			}
			if _, listed := refused[name]; listed {
				t.Fatal("is read, but listed as refused")
			}
			got, ok := e.values[m.graph.outputs[0]].(*constant)
			want, err := decodeONNXTensor(files["output_0.pb"], at)
			if !ok || err != nil {
				t.Fatalf("got %T, %v", e.values[m.graph.outputs[0]], err)
			}
			if !slices.Equal(got.dims(), want.dims()) || got.whole != want.whole {
				t.Fatalf("got shape %v whole %v, want %v %v", got.shape, got.whole, want.shape,
					want.whole)
			}
			for i := range want.count() {
				// The standard's tests are computed in float32.
				if g, w := got.float(i),
					want.float(i); !(math.Abs(g-w) <= 1e-6*math.Max(1, math.Abs(w))) {
					t.Fatalf("value %d: got %v, want %v", i, g, w)
				}
			}
		})
	}
}
