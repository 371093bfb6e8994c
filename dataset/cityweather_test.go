package dataset

import (
	"encoding/json"
	"io"
	"math"
	"os"
	"path/filepath"
	"testing"

	"kerf/model"
)

// cityWeather is a real job whose network was trained and scored by torch
// 1.13.1 in float32; see the README there.
const cityWeather = "../testdata/cityweather"

func readTable[T any](t *testing.T, name string, read func(io.Reader, string) (T, error)) T {
	t.Helper()
	f, err := os.Open(filepath.Join(cityWeather, name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	table, err := read(f, name)
	if err != nil {
		t.Fatal(err)
	}
	return table
}

// torchScores is the part of metrics.json that is checked: slice, then rmse per output.
type torchScores struct {
	Float struct {
		Signoff map[string]struct {
			Sequences, Steps int
			RMSE             map[string]float64
		}
	}
}

func TestCityWeatherScoresEqualTorch(t *testing.T) {
	const tolerance = 5e-6 // degC: half of the last digit that the README and metrics.json print
	features := readTable(t, "features.csv", ReadFeatures)
	outputs := readTable(t, "outputs.csv", ReadOutputs)
	rec := readTable(t, "signoff.csv", func(r io.Reader, file string) (*Recordings, error) {
		return ReadCSV(r, file, FeatureNames(features), Reference{Outputs: OutputNames(outputs)})
	})
	net, err := model.ReadFile(filepath.Join(cityWeather, "model.safetensors"),
		model.Spec{Convention: "torch"})
	if err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(filepath.Join(cityWeather, "metrics.json"))
	if err != nil {
		t.Fatal(err)
	}
	var torch torchScores
	if err := json.Unmarshal(text, &torch); err != nil {
		t.Fatal(err)
	}
	if len(torch.Float.Signoff) != 1+len(rec.Scenarios()) {
		t.Fatalf("metrics.json has %d slices, the recordings have %d scenarios",
			len(torch.Float.Signoff), len(rec.Scenarios()))
	}
	score := Measure(NewFloat(net, features, outputs), rec, nil)
	for name, want := range torch.Float.Signoff {
		for o, output := range outputs {
			slice := Slice{Output: o, Scenario: name, Region: -1}
			if name == "all" {
				slice.Scenario = ""
			}
			if got := score.Value(nil, slice, RMSE); math.Abs(got-want.RMSE[output.Name]) >
				tolerance {
				t.Errorf("%s, %s: rmse %.7f, torch has %g", name, output.Name, got,
					want.RMSE[output.Name])
			}
			c := Compare(score, score, slice, RMSE)
			if c.Sequences != want.Sequences || c.Steps != want.Steps {
				t.Errorf("%s: %d sequences and %d steps, want %d and %d", name, c.Sequences,
					c.Steps, want.Sequences, want.Steps)
			}
		}
	}
	// README of the data set, "Float result on sign-off".
	for o, want := range []float64{3.00854, 2.3826} {
		if got := score.Value(nil, Slice{Output: o, Region: -1}, RMSE); math.Abs(got-want) >
			tolerance {
			t.Errorf("%s: rmse %.7f, the README has %g", outputs[o].Name, got, want)
		}
	}
}

// Selection and sign-off are different years: they share no sequence.
func TestCityWeatherSelectionAndSignoffShareNothing(t *testing.T) {
	features := readTable(t, "features.csv", ReadFeatures)
	outputs := readTable(t, "outputs.csv", ReadOutputs)
	read := func(r io.Reader, file string) (*Recordings, error) {
		return ReadCSV(r, file, FeatureNames(features), Reference{Outputs: OutputNames(outputs)})
	}
	selection, signoff := readTable(t, "selection.csv", read), readTable(t, "signoff.csv", read)
	if shared := Shared(selection, signoff); len(shared) != 0 {
		t.Errorf("sequence %s is shared", shared[0].Name)
	}
	if shared := Shared(signoff, signoff); len(shared) != len(signoff.Sequences) {
		t.Errorf("%d of %d sequences are shared with themselves", len(shared),
			len(signoff.Sequences))
	}
}
