package demo

import (
	"bytes"
	"encoding/binary"
	"encoding/csv"
	"encoding/json"
	"maps"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/BurntSushi/toml"

	"kerf/testdata/demo/packed"
	"kerf/testdata/demo/plant"
)

func files(t *testing.T) map[string][]byte {
	t.Helper()
	all, err := Files()
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// table parses a CSV file of the job into one map per line.
func table(t *testing.T, name string) []map[string]string {
	t.Helper()
	lines, err := csv.NewReader(bytes.NewReader(files(t)[name])).ReadAll()
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	var rows []map[string]string
	for _, line := range lines[1:] {
		row := make(map[string]string)
		for i, column := range lines[0] {
			row[column] = line[i]
		}
		rows = append(rows, row)
	}
	return rows
}

func number(t *testing.T, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		t.Fatalf("%q is not a finite number", text)
	}
	return v
}

func column(rows []map[string]string, name string) []string {
	var values []string
	for _, row := range rows {
		values = append(values, row[name])
	}
	return values
}

func TestFilesOfTheJob(t *testing.T) {
	want := []string{
		"README.md", "features.csv", "job.toml", "model.safetensors",
		"outputs.csv", "scores.csv", "selection.csv", "selection_samples.csv", "signoff.csv",
		"signoff_samples.csv",
	}
	all := files(t)
	if got := slices.Sorted(maps.Keys(all)); !slices.Equal(got, want) {
		t.Errorf("files %q, want %q", got, want)
	}
	for name, content := range all {
		if name != "model.safetensors" && bytes.ContainsFunc(content, func(r rune) bool {
			return r > 126 || r == '\r'
		}) {
			t.Errorf("%s is not plain ASCII with line feeds", name)
		}
	}
	if !bytes.Contains(all["README.md"], []byte("synthetic")) {
		t.Error("README.md does not say that the data is synthetic")
	}
}

// The recordings in the repository are what the generator makes, byte for byte.
func TestRecordingsAreReproduced(t *testing.T) {
	for _, set := range []plant.Set{plant.Selection, plant.Signoff} {
		var made bytes.Buffer
		if err := set.WriteCSV(&made); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(made.Bytes(), files(t)[set.Name+".csv"]) {
			t.Errorf("%s.csv differs from what the generator makes: run go run "+
				"./testdata/demo/generate again, then train.py and check.py", set.Name)
		}
		var kept bytes.Buffer
		if err := set.Samples().Write(&kept); err != nil {
			t.Fatal(err)
		}
		samples, err := packed.CSV(&kept)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(samples, files(t)[set.Name+"_samples.csv"]) {
			t.Errorf("%s_samples.csv differs from what the generator makes", set.Name)
		}
	}
}

func TestRecordings(t *testing.T) {
	seen := make(map[string]string)
	for _, name := range []string{"selection.csv", "signoff.csv"} {
		scenarios := make(map[string]map[string]bool)
		masked := make(map[string]bool)
		for _, row := range table(t, name) {
			sequence, scenario := row["sequence"], row["scenario"]
			if before, ok := seen[sequence]; ok && before != name {
				t.Fatalf("sequence %s is in both files", sequence)
			}
			seen[sequence] = name
			if scenarios[scenario] == nil {
				scenarios[scenario] = make(map[string]bool)
			}
			scenarios[scenario][sequence] = true
			for column, text := range row {
				if column != "sequence" && column != "scenario" {
					number(t, text)
				}
			}
			// The region "air masks leakage" of job.toml.
			if air := number(t, row["air"]); air >= 5 && number(t, row["leakage"]) < air {
				masked[sequence] = true
			}
		}
		if len(scenarios) != 4 {
			t.Errorf("%s has %d scenarios, want 4", name, len(scenarios))
		}
		for scenario, sequences := range scenarios {
			if len(sequences) < 10 {
				t.Errorf("%s has %d sequences of %s, want 10 or more", name, len(sequences),
					scenario)
			}
		}
		if len(masked) < 8 {
			t.Errorf("in %s air masks leakage in %d sequences, want 8 or more", name, len(masked))
		}
	}
}

func TestFeaturesAreInModelOrder(t *testing.T) {
	features := table(t, "features.csv")
	if got := column(features, "name"); !slices.Equal(got, plant.FeatureNames[:]) {
		t.Errorf("features.csv lists %q, the generator %q", got, plant.FeatureNames)
	}
	for _, row := range features {
		number(t, row["mean"])
		if number(t, row["std"]) <= 0 {
			t.Errorf("standard deviation of %s is not positive", row["name"])
		}
	}
	header, _, _ := bytes.Cut(files(t)["selection.csv"], []byte("\n"))
	want := "sequence,scenario,t," + strings.Join(plant.FeatureNames[:], ",") + ",leakage,air"
	if string(header) != want {
		t.Errorf("selection.csv begins with %q, want %q", header, want)
	}
	if got := column(table(t, "outputs.csv"), "name"); !slices.Equal(got,
		[]string{"leakage", "air"}) {
		t.Errorf("outputs.csv lists %q", got)
	}
}

// Shapes of torch.nn.GRU(19, 24) and torch.nn.Linear(24, 2), PyTorch documentation.
func TestModelShapes(t *testing.T) {
	raw := files(t)["model.safetensors"]
	size := binary.LittleEndian.Uint64(raw)
	var tensors map[string]struct {
		Dtype string
		Shape []int
		Range [2]int `json:"data_offsets"`
	}
	if err := json.Unmarshal(raw[8:8+size], &tensors); err != nil {
		t.Fatal(err)
	}
	want := map[string][]int{
		"gru.weight_ih_l0": {72, 19}, "gru.weight_hh_l0": {72, 24},
		"gru.bias_ih_l0": {72}, "gru.bias_hh_l0": {72},
		"head.weight": {2, 24}, "head.bias": {2},
	}
	if len(tensors) != len(want) {
		t.Errorf("%d tensors, want %d", len(tensors), len(want))
	}
	end := 0
	for name, shape := range want {
		if got := tensors[name]; got.Dtype != "F32" || !slices.Equal(got.Shape, shape) {
			t.Errorf("%s is %s %v, want F32 %v", name, got.Dtype, got.Shape, shape)
		}
		end = max(end, tensors[name].Range[1])
	}
	if have := len(raw) - 8 - int(size); have != end {
		t.Errorf("%d bytes of data, the header tells of %d", have, end)
	}
}

func TestScoresAreComplete(t *testing.T) {
	seen := make(map[[3]string]bool)
	for _, row := range table(t, "scores.csv") {
		key := [3]string{row["feature"], row["scenario"], row["output"]}
		if seen[key] {
			t.Errorf("two scores for %q", key)
		}
		seen[key] = true
		if number(t, row["score"]) < 0 {
			t.Errorf("score of %q is negative", key)
		}
	}
	for _, feature := range plant.FeatureNames {
		for _, scenario := range []string{"all", "warm_up", "steady_splitting", "fast_cycling",
			"aerated_oil"} {
			for _, output := range []string{"all", "leakage", "air"} {
				if key := [3]string{feature, scenario, output}; !seen[key] {
					t.Errorf("no score for %q", key)
				}
				delete(seen, [3]string{feature, scenario, output})
			}
		}
	}
	if len(seen) != 0 {
		t.Errorf("unexpected scores: %v", seen)
	}
}

// job.toml and features.csv name the same code and channels, and tolerances stand for both outputs.
func TestJobFitsItsTables(t *testing.T) {
	var job struct {
		FrontEnd  []struct{ Name string } `toml:"front_end"`
		Channel   []struct{ Name string }
		Tolerance map[string]any
	}
	if _, err := toml.Decode(string(files(t)["job.toml"]), &job); err != nil {
		t.Fatal(err)
	}
	var declared []string
	for _, group := range job.FrontEnd {
		declared = append(declared, group.Name)
	}
	used := slices.DeleteFunc(column(table(t, "features.csv"), "front_end"), func(g string) bool {
		return g == ""
	})
	if used = slices.Compact(used); !slices.Equal(used, declared) {
		t.Errorf("features.csv uses the groups %q, job.toml declares %q", used, declared)
	}
	for i, channel := range job.Channel {
		if channel.Name != plant.Channels[i].Name {
			t.Errorf("channel %d is %s, that of the plant %s", i, channel.Name,
				plant.Channels[i].Name)
		}
	}
	if given := slices.Index(column(table(t, "features.csv"), "computed"), ""); given != 18 {
		t.Errorf("feature %d is the first that is given, want oil_temperature, the last", given)
	}
	outputs := slices.Sorted(slices.Values(column(table(t, "outputs.csv"), "name")))
	if got := slices.Sorted(maps.Keys(job.Tolerance)); !slices.Equal(got, outputs) {
		t.Errorf("job.toml has tolerances for %q, outputs.csv lists %q", got, outputs)
	}
}

// README.md shows the figures of float_errors.csv, which check.py writes.
func TestReadmeShowsTheFloatErrors(t *testing.T) {
	raw, err := os.ReadFile("float_errors.csv")
	if err != nil {
		t.Fatal(err)
	}
	lines, err := csv.NewReader(bytes.NewReader(raw)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(lines) != 1+2*5 {
		t.Fatalf("float_errors.csv has %d lines, want a header, two outputs and five scenarios",
			len(lines))
	}
	for _, line := range lines[1:] {
		shown := false
		for row := range strings.Lines(string(files(t)["README.md"])) {
			rmse := strconv.FormatFloat(number(t, line[2]), 'f', 4, 64)
			shown = shown || strings.HasPrefix(row, "| "+line[1]+" |") &&
				strings.Contains(row, "| "+rmse+" |")
		}
		if !shown {
			t.Errorf("README.md does not show %s of %s in scenario %s", line[2], line[0], line[1])
		}
	}
}

// The demo is part of every kerf: it may have 3 MB.
func TestStoredFilesStaySmall(t *testing.T) {
	entries, err := stored.ReadDir(".")
	if err != nil {
		t.Fatal(err)
	}
	bytes := int64(0)
	for _, entry := range entries {
		info, err := entry.Info()
		if err != nil {
			t.Fatal(err)
		}
		bytes += info.Size()
	}
	if bytes < 1e6 || bytes > 3e6 {
		t.Errorf("the stored files of the demo have %d bytes", bytes)
	}
}
