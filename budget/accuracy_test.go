package budget

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"kerf/dataset"
	"kerf/prune"
	"kerf/quant"
	"kerf/testdata/demo"
	"kerf/testdata/demo/plant"
)

// loadFiles writes a job into a folder and reads it as kerf does.
func loadFiles(t *testing.T, files map[string][]byte) *Inputs {
	t.Helper()
	dir := t.TempDir()
	for name, content := range files {
		if err := os.WriteFile(filepath.Join(dir, name), content, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	in, err := Load(filepath.Join(dir, "job.toml"))
	if err != nil {
		t.Fatal(err)
	}
	return in
}

func loadDemo(t *testing.T) *Inputs {
	t.Helper()
	files, err := demo.Files()
	if err != nil {
		t.Fatal(err)
	}
	return loadFiles(t, files)
}

// wholeAt is the whole network with weights of one width, a 16-bit state and a
// 16-bit last layer, as kerf chooses to round it.
func wholeAt(t *testing.T, in *Inputs, weights string) *Chosen {
	t.Helper()
	in.Job.Formats = FormatRule{Weights: weights, State: "int16"}
	chosen, err := in.ChooseFormats(prune.MeasureMeans(in.Float, in.Selection), in.Whole(quant.Formats{}))
	if err != nil {
		t.Fatal(err)
	}
	return chosen
}

// echo is recordings with the outputs of a predictor for reference.
func echo(p dataset.Predictor, rec *dataset.Recordings) *dataset.Recordings {
	same := *rec
	same.Sequences = nil
	for _, s := range rec.Sequences {
		c := *s
		c.Y = make([]float64, len(s.Y))
		p.Predict(s, c.Y)
		same.Sequences = append(same.Sequences, &c)
	}
	return &same
}

// rises are, per output, the rise of the RMSE and the distance from the float
// network in float RMSEs.
func rises(in *Inputs, fixed *quant.Network, rec *dataset.Recordings) (rise, distance []float64) {
	float, other, apart := dataset.Measure(in.Float, rec, nil), dataset.Measure(fixed, rec, nil), dataset.Measure(fixed, echo(in.Float, rec), nil)
	for o := range in.Float.Outputs {
		slice := dataset.Slice{Output: o, Region: -1}
		base := float.Value(float, slice, dataset.RMSE)
		rise = append(rise, other.Value(float, slice, dataset.RMSE)/base-1)
		distance = append(distance, apart.Value(float, slice, dataset.RMSE)/base)
	}
	return rise, distance
}

// cells shows rise and, in brackets, distance of every output, in percent.
func cells(rise, distance []float64) string {
	var texts []string
	for o := range rise {
		texts = append(texts, fmt.Sprintf("%.2f %% (%.1f %%)", math.Round(1e4*rise[o])/100+0, 100*distance[o])) // + 0 turns -0 into 0
	}
	return strings.Join(texts, " | ")
}

// shown is docs/accuracy.md; need wants a line on it.
type shown string

func accuracyPage(t *testing.T) shown {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "docs", "accuracy.md"))
	if err != nil {
		t.Fatal(err)
	}
	return shown(text)
}

func (p shown) need(t *testing.T, line string) {
	t.Helper()
	t.Log(line)
	if !strings.Contains(string(p), line+"\n") {
		t.Errorf("docs/accuracy.md does not show this line; its last section says how to bring it up to date:\n%s", line)
	}
}

// The aim with the rounding that kerf chooses by itself, without retraining.
var aim = map[string]float64{"int4": 0.03, "int8": 0.005}

// freshSeeds make further sets of recordings of the demo. They were written down
// before the first of them was measured, and none is left out.
var freshSeeds = []uint64{9101, 9102, 9103, 9104, 9105, 9106, 9107, 9108, 9109, 9110, 9111, 9112}

// TestChosenRoundingHoldsOnTheDemo judges int4 and int8 weights on twelve sets of
// recordings of the size of the sign-off set, and on that one.
func TestChosenRoundingHoldsOnTheDemo(t *testing.T) {
	in, page := loadDemo(t), accuracyPage(t)
	sets := map[string]*dataset.Recordings{"sign-off": in.Signoff}
	names := []string{"sign-off"}
	for _, seed := range freshSeeds {
		var text bytes.Buffer
		if err := (plant.Set{Name: "fresh", Prefix: "new", Seed: seed, PerScenario: plant.Signoff.PerScenario}).WriteCSV(&text); err != nil {
			t.Fatal(err)
		}
		rec, err := dataset.ReadCSV(&text, "fresh", dataset.FeatureNames(in.Float.Features), dataset.Reference{Outputs: dataset.OutputNames(in.Float.Outputs)})
		if err != nil {
			t.Fatal(err)
		}
		name := fmt.Sprintf("seed %d", seed)
		sets[name], names = rec, append(names, name)
	}
	for _, weights := range []string{"int4", "int8"} {
		chosen := wholeAt(t, in, weights)
		for _, name := range names {
			page.holds(t, in, chosen, sets[name], "demo, "+name, weights)
		}
	}
}

// TestChosenRoundingHoldsOnCityWeather does it on real measurements.
func TestChosenRoundingHoldsOnCityWeather(t *testing.T) {
	in, err := Load(filepath.Join("..", "testdata", "cityweather", "job.toml"))
	if err != nil {
		t.Fatal(err)
	}
	page := accuracyPage(t)
	for _, weights := range []string{"int4", "int8"} {
		page.holds(t, in, wholeAt(t, in, weights), in.Signoff, "city-weather, sign-off", weights)
	}
}

func (p shown) holds(t *testing.T, in *Inputs, chosen *Chosen, rec *dataset.Recordings, name, weights string) {
	t.Helper()
	rise, distance := rises(in, chosen.Fixed, rec)
	p.need(t, fmt.Sprintf("| %s | %s | %s | %s |", name, weights, chosen.Candidate.Rounding, cells(rise, distance)))
	for o, r := range rise {
		if r > aim[weights] {
			t.Errorf("%s, %s weights: the RMSE of %s rises by %.2f %%, the aim is %.1f %%", name, weights, in.Float.Outputs[o].Name, 100*r, 100*aim[weights])
		}
	}
}
