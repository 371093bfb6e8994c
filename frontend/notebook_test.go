//go:build notebook

package frontend

import (
	"bytes"
	"encoding/json"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"os/exec"
	"testing"

	"kerf/dataset"
)

// transform reads windows with the cycles of their fundamental, and prints the harmonics below half
// the sampling rate: 2/N times the lines of numpy.fft.rfft, as real and imaginary parts.
const transform = `
import json, sys
import numpy as np
for window in json.load(sys.stdin):
    x = np.array(window["X"])
    lines = 2 / len(x) * np.fft.rfft(x)[window["Cycles"]:(len(x) + 1) // 2:window["Cycles"]]
    print(json.dumps([[v.real, v.imag] for v in lines]))
`

// Amplitudes and phases of every harmonic against numpy's transform, on 400 drawn windows.
func TestNotebookTransform(t *testing.T) {
	const python = "/usr/bin/python3" // Debian's, which has Debian's packages
	if out, err := exec.Command(python, "-c", "import numpy").CombinedOutput(); err != nil {
		t.Fatalf("install the Debian package python3-numpy: %v\n%s", err, out)
	}
	type window struct {
		X      []float64
		Cycles int
	}
	rng := rand.New(rand.NewPCG(1811, 1))
	windows := make([]window, 400)
	for i := range windows {
		n := 4 + rng.IntN(500)
		w := window{make([]float64, n), 1 + rng.IntN((n-1)/2)}
		for k := range w.X {
			w.X[k] = 100*rng.Float64() - 30
		}
		windows[i] = w
	}
	given, err := json.Marshal(windows)
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(python, "-c", transform)
	cmd.Stdin = bytes.NewReader(given)
	printed, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	answers, compared := json.NewDecoder(bytes.NewReader(printed)), 0
	for i, w := range windows {
		var lines [][2]float64
		if err := answers.Decode(&lines); err != nil {
			t.Fatal(err)
		}
		sampling := dataset.Sampling{Samples: len(w.X)}
		analysis := NewAnalyser(sampling, w.Cycles, len(lines)).Analyse(w.X)
		for k, line := range lines {
			want := complex(line[0], line[1])
			got := cmplx.Rect(analysis.Amplitude(k+1, len(w.X)), analysis.Angle(k+1))
			if compared++; cmplx.Abs(got-want) > 1e-9 || math.IsNaN(real(got)) {
				t.Errorf("window %d of %d samples, harmonic %d of %d cycles: %v, numpy has %v", i,
					len(w.X), k+1, w.Cycles, got, want)
			}
		}
	}
	if compared < 1000 {
		t.Errorf("only %d lines were compared", compared)
	}
}
