package budget

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"kerf/fault"
	"kerf/model"
)

const vectors = "../testdata/vectors"

// graphJob writes a job around a graph of the vectors. features.csv gets one mean and std per
// feature; the recordings hold the input that the graph was run with.
func graphJob(t *testing.T, name string, mean, std []float64,
	outputs string) (path string, want *model.Tensor) {
	t.Helper()
	dir := t.TempDir()
	write := func(file string, data []byte) {
		if err := os.WriteFile(filepath.Join(dir, file), data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	graph, err := os.ReadFile(filepath.Join(vectors, name+".onnx"))
	if err != nil {
		t.Fatal(err)
	}
	write("model.onnx", graph)
	raw, err := os.ReadFile(filepath.Join(vectors, name+".npz"))
	if err != nil {
		t.Fatal(err)
	}
	arrays, err := model.ReadNPZ(bytes.NewReader(raw), int64(len(raw)), name)
	if err != nil {
		t.Fatal(err)
	}
	var features, recording strings.Builder
	features.WriteString("name,channel,kind,unit,mean,std\n")
	recording.WriteString("sequence,scenario,t")
	for i := range mean {
		fmt.Fprintf(&features, "x%d,c,level,bar,%v,%v\n", i, mean[i], std[i])
		fmt.Fprintf(&recording, ",x%d", i)
	}
	recording.WriteString(",y0,y1,class\n")
	input := arrays["input"]
	for row := range len(input.Data) / len(mean) {
		fmt.Fprintf(&recording, "%d,calm,%d", row/input.Shape[1], row%input.Shape[1])
		for _, v := range input.Data[row*len(mean):][:len(mean)] {
			fmt.Fprintf(&recording, ",%v", v)
		}
		recording.WriteString(",0,0,0\n")
	}
	write("features.csv", []byte(features.String()))
	write("outputs.csv", []byte("name,unit,mean,std\ny0,bar,0,1\ny1,bar,0,1\n"))
	write("all.csv", []byte(recording.String()))
	write("job.toml", []byte(`name = "graph"
model = { file = "model.onnx" }
features = { file = "features.csv" }
outputs = { `+outputs+` }
recordings = { selection = "all.csv", signoff = "all.csv" }
`))
	return filepath.Join(dir, "job.toml"), arrays["output"]
}

// Source of graph and numbers: torch 1.13 (testdata/vectors/README.md, onnx_form_sub_div).
func TestNormalisationIsAppliedOnce(t *testing.T) {
	const file = `file = "outputs.csv"`
	ones, zeros := []float64{1, 1, 1, 1, 1}, make([]float64, 5)
	// generate_onnx_forms.py
	mean, std := []float64{10, -3, 0.5, 200, 0}, []float64{4, 0.25, 1.5, 30, 1}
	for _, c := range []struct {
		name      string
		mean, std []float64
		warning   string
	}{
		{"features.csv has none", zeros, ones, ""},
		{"both have it", mean, std, "they are applied once"},
	} {
		path, want := graphJob(t, "onnx_form_sub_div", c.mean, c.std, file)
		in, err := Load(path)
		if err != nil {
			t.Fatal(err)
		}
		if has := slices.ContainsFunc(in.Warnings, func(w string) bool {
			return strings.Contains(w, "applied once")
		}); has != (c.warning != "") {
			t.Errorf("%s: warnings %q", c.name, in.Warnings)
		}
		at := 0
		for _, s := range in.Selection.Sequences {
			got := make([]float64, 2*s.Steps)
			in.Float.Predict(s, got)
			for _, v := range got {
				// outputs of about 20, in float32
				if d := math.Abs(v - want.Data[at]); !(d < 1e-4) {
					t.Fatalf("%s: value %d is %v, torch has %v", c.name, at, v, want.Data[at])
				}
				at++
			}
		}
		if at != len(want.Data) {
			t.Errorf("%s: %d values compared, want %d", c.name, at, len(want.Data))
		}
	}
	path, _ := graphJob(t, "onnx_form_sub_div", []float64{10, -3, 0.5, 180, 0}, std, file)
	_, err := Load(path)
	var input *fault.Error
	if !errors.As(err, &input) || input.Line != 5 ||
		!strings.Contains(err.Error(), "x3 has mean 180 and std 30 here, but the network in "+
			"model.onnx normalises it itself, with mean 200 and std 30") {
		t.Errorf("another normalisation: got %v", err)
	}
}

func TestWhatAGraphSaysReachesTheJob(t *testing.T) {
	ones, zeros := []float64{1, 1, 1, 1, 1}, make([]float64, 5)
	path, _ := graphJob(t, "onnx_form_last_layer_state", zeros, ones,
		`classes = ["a", "b", "c"], column = "class"`)
	in, err := Load(path)
	if err != nil {
		t.Fatal(err)
	}
	if !slices.ContainsFunc(in.Warnings, func(w string) bool {
		return strings.Contains(w, "after the last step of a sequence only")
	}) {
		t.Errorf("no warning about the last step: %q", in.Warnings)
	}
	path, _ = graphJob(t, "onnx_form_last_layer_state", zeros, ones, `file = "outputs3.csv"`)
	outputs := filepath.Join(filepath.Dir(path), "outputs3.csv")
	if err := os.WriteFile(outputs, []byte("name,unit,mean,std\ny0,1,0,1\ny1,1,0,1\ny2,1,0,1\n"),
		0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := Load(path); err == nil ||
		!strings.Contains(err.Error(), "ends with a softmax, but the job has no classes") {
		t.Errorf("regression with a softmax: got %v", err)
	}
}
