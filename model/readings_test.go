package model

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"kerf/fault"
)

// ofShape is an array without values of interest.
func ofShape(shape ...int) *Tensor {
	n, _ := elements(shape)
	return &Tensor{shape, make([]float64, n)}
}

// numbered names arrays as numpy.savez does without names.
func numbered(arrays ...*Tensor) map[string]*Tensor {
	all := map[string]*Tensor{}
	for i, a := range arrays {
		all[fmt.Sprintf("arr_%d", i)] = a
	}
	return all
}

// withGRU adds a GRU of torch with three inputs and five units to dense layers by shape.
func withGRU(dense map[string][2]int) map[string]*Tensor {
	all := map[string]*Tensor{"g.weight_ih_l0": ofShape(15, 3), "g.weight_hh_l0": ofShape(15, 5)}
	for name, shape := range dense {
		all[name+".weight"] = ofShape(shape[0], shape[1])
	}
	return all
}

func storedNPZ(t *testing.T, tensors map[string]*Tensor) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "model.npz")
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if err := WriteNPZ(f, tensors); err != nil {
		t.Fatal(err)
	}
	return path
}

// The usual readings come first, and every reading gives a network. The numbers follow from four
// activations, orders of layers of one shape, and cells with the same number of gates; of all
// readings there are four times as many, for the activation behind the outputs, and of torch's
// GRUs twice as many, for the reset gate.
func TestReadings(t *testing.T) {
	for _, c := range []struct {
		name       string
		arrays     map[string]*Tensor
		usual, all int
	}{
		{"one dense layer", withGRU(map[string][2]int{"h": {2, 5}}), 1, 8},
		{"two of unlike shapes", withGRU(map[string][2]int{"a": {4, 5}, "b": {2, 4}}), 4, 32},
		{"two of one shape", withGRU(map[string][2]int{"a": {5, 5}, "b": {5, 5}}), 8, 64},
		{"four, three of one shape",
			withGRU(map[string][2]int{"a": {5, 5}, "b": {5, 5}, "c": {5, 5}, "h": {2, 5}}), 384,
			3072},
		{"keras says the reset gate by the bias", numbered(ofShape(3, 15), ofShape(5, 15),
			ofShape(15), ofShape(5, 2)), 1, 4},
		{"keras without bias does not", numbered(ofShape(3, 15), ofShape(5, 15), ofShape(5, 2)), 2,
			8},
		{"an Elman layer or two dense ones behind an LSTM", numbered(ofShape(3, 20), ofShape(5, 20),
			ofShape(5, 5), ofShape(5, 5), ofShape(5, 2)), 2 + 16, 4 * (2 + 16)},
	} {
		t.Run(c.name, func(t *testing.T) {
			readings, err := Readings(storedNPZ(t, c.arrays))
			if err != nil {
				t.Fatal(err)
			}
			usual := 0
			for i, r := range readings {
				if r.Usual {
					usual++
				}
				if r.Usual && usual != i+1 || r.Inferred != (r.Usual && c.usual == 1) {
					t.Errorf("reading %d is %+v", i, r.Spec)
				}
				n := r.Import().Network
				if n.Inputs() != r.Inputs || n.Outputs() != r.Outputs ||
					(n.Dense[len(n.Dense)-1].Activation != Identity) != r.ActivatesOutputs() {
					t.Errorf("%s reads as %s", r.Spec, n)
				}
			}
			if usual != c.usual || len(readings) != c.all {
				t.Errorf("%d usual readings of %d, want %d of %d", usual, len(readings), c.usual,
					c.all)
			}
		})
	}
}

// Files without a reading, or with too many, are refused in a sentence whose hint does not need a
// job.
func TestFilesWithoutReadings(t *testing.T) {
	many := map[string][2]int{}
	for i := range 12 {
		many[fmt.Sprint("d", i)] = [2]int{5, 5}
	}
	long := []*Tensor{ofShape(3, 3), ofShape(3, 3)}
	for range 500 {
		long = append(long, ofShape(3, 3))
	}
	extra := withGRU(map[string][2]int{"h": {2, 5}})
	extra["norm.running_mean"] = ofShape(5)
	for _, c := range []struct {
		arrays map[string]*Tensor
		want   string
	}{
		{nil, "holds no arrays"},
		{map[string]*Tensor{"W": ofShape(3, 3), "b": ofShape(3)},
			`names say no layer, such as "W", "b"`},
		{extra, `has tensors of unknown meaning: "norm.running_mean" [5]`},
		{withGRU(map[string][2]int{"a": {6, 5}, "b": {2, 5}}),
			`no order of its layers makes a chain: "g" 3→5, "a" 5→6, "b" 5→2`},
		{withGRU(many), "can be read in more than 4096 ways"},
		{numbered(long...), "can be read in more than 4096 ways"},
		{numbered(ofShape(3, 15), ofShape(5, 15), ofShape(7), ofShape(5, 2)),
			`array "arr_2": has shape [7], expected [15]`},
		{numbered(ofShape(3, 15), ofShape(5, 15), ofShape(15)),
			"has no dense layer after the recurrent one"},
		{numbered(ofShape(15, 3), ofShape(15, 5), ofShape(15), ofShape(15), ofShape(2, 5),
			ofShape(2)),
			"has the arrays of a state dict of torch without their names"},
	} {
		readings, err := Readings(storedNPZ(t, c.arrays))
		if err == nil {
			t.Errorf("%s: read in %d ways", c.want, len(readings))
			continue
		}
		if !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v, want %s", err, c.want)
		}
		if hint := fault.Hint(err); hint == "" || strings.Contains(hint, "job") ||
			strings.Contains(hint, "model.layer") {
			t.Errorf("%v: the hint is %q", err, hint)
		}
	}
}

// Whatever shapes arrays have, every reading that is listed reads them.
func FuzzReadings(f *testing.F) {
	f.Add(false, []byte{3, 12, 4, 12, 12, 0, 4, 4, 4, 4, 4, 2}) // keras: a GRU and three dense
	f.Add(false, []byte{3, 3, 3, 3, 3, 3, 3, 3, 3, 0, 3, 2})
	f.Add(true, []byte{12, 3, 12, 4, 4, 4, 4, 4, 2, 4}) // torch: a GRU and three dense
	f.Fuzz(func(t *testing.T, torch bool, sizes []byte) {
		const most = 16 // of rows and columns, so that the weights stay small
		tensors := map[string]*Tensor{}
		for i := 0; i+1 < len(sizes) && i < 2*most; i += 2 {
			shape := []int{int(sizes[i]) % most, int(sizes[i+1]) % most}
			if shape[1] == 0 {
				shape = shape[:1]
			}
			name := fmt.Sprintf("arr_%d", i/2)
			if torch {
				name = fmt.Sprintf("m%d.weight", i/2)
				if i < 4 {
					name = []string{"m.weight_ih_l0", "m.weight_hh_l0"}[i/2]
				}
			}
			tensors[name] = ofShape(shape...)
		}
		at := place{file: "fuzz"}
		convention, err := conventionOf(at, tensors)
		if err != nil {
			checkErrorType(t, err)
			return
		}
		readings, err := arrayReadings(at, tensors, convention)
		if err != nil {
			checkErrorType(t, err)
			return
		}
		if len(readings) == 0 || len(readings) > mostReadings || !readings[0].Usual {
			t.Fatalf("%d readings", len(readings))
		}
		for _, r := range readings[:min(len(readings), 100)] {
			if n := r.Import().Network; n.Inputs() != r.Inputs || n.Outputs() != r.Outputs {
				t.Fatalf("%s reads as %s", r.Spec, n)
			}
		}
	})
}
