package model

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"testing"
)

// cityWeather is the folder of a real job: daily weather of two cities, with a network that torch
// 1.13.1 trained and ran in float32 (see the README there).
const cityWeather = "../testdata/cityweather"

func TestCityWeatherAgreesWithTorch(t *testing.T) {
	// The expected values are printed with eight digits and come from float32 sums of about 20
	// degrees Celsius.
	const tolerance = 1e-4 // degC
	features := readTable(t, "features.csv")
	signoff := readTable(t, "signoff.csv")
	expected := readTable(t, "expected_signoff.csv")
	names := features.columnText(t, "name")
	mean, std := features.column(t, "mean"), features.column(t, "std")
	for file, spec := range map[string]Spec{"model.safetensors": {Convention: "torch"},
		"model.npz": {Convention: "torch"}, "model.onnx": {}} {
		n, err := ReadFile(filepath.Join(cityWeather, file), spec)
		if err != nil {
			t.Fatal(err)
		}
		var columns [][]float64
		for _, name := range names {
			columns = append(columns, signoff.column(t, name))
		}
		want := [][]float64{expected.column(t, "temp_max_next"),
			expected.column(t, "temp_min_next")}
		run, x, y := n.NewRun(), make([]float64, n.Inputs()), make([]float64, n.Outputs())
		worst, steps := 0.0, signoff.column(t, "t")
		for row, step := range steps {
			if step == 0 {
				run.Reset()
			}
			for i, c := range columns {
				x[i] = (c[row] - mean[i]) / std[i]
			}
			run.Step(x, y)
			for o := range y {
				worst = max(worst, math.Abs(y[o]-want[o][row]))
			}
		}
		if len(steps) != 714 { // README: sign-off steps
			t.Errorf("%d steps, want 714", len(steps))
		}
		if !(worst <= tolerance) {
			t.Errorf("%s: largest difference %.2g degC, want at most %g", file, worst, tolerance)
		}
		t.Logf("%s: largest difference %.2g degC over %d steps", file, worst, len(steps))
	}
}

// table is a CSV file with a header line.
type table struct {
	head []string
	rows [][]string
}

func readTable(t *testing.T, name string) table {
	t.Helper()
	f, err := os.Open(filepath.Join(cityWeather, name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return table{head: rows[0], rows: rows[1:]}
}

func (c table) columnText(t *testing.T, name string) []string {
	t.Helper()
	at := slices.Index(c.head, name)
	if at < 0 {
		t.Fatalf("no column %q", name)
	}
	var texts []string
	for _, row := range c.rows {
		texts = append(texts, row[at])
	}
	return texts
}

func (c table) column(t *testing.T, name string) []float64 {
	t.Helper()
	var values []float64
	for _, text := range c.columnText(t, name) {
		v, err := strconv.ParseFloat(text, 64)
		if err != nil {
			t.Fatal(err)
		}
		values = append(values, v)
	}
	return values
}
