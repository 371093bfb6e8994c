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
	chosen, err := NewPlanner(in).Choose(t.Context(), CutByHand(in.Whole(quant.Formats{})))
	if err != nil {
		t.Fatal(err)
	}
	return chosen
}

// judgedSet is recordings with the outputs of the float network.
type judgedSet struct {
	name  string
	rec   *dataset.Recordings
	float [][]float64
}

func (in *Inputs) judgedSet(name string, rec *dataset.Recordings) judgedSet {
	return judgedSet{name, rec, predictions(rec, in.Float)}
}

// rises are, per output, the rise of the RMSE and the distance from the float
// network in float RMSEs.
func (s judgedSet) rises(fixed *quant.Network) (rise, distance []float64) {
	outputs := s.rec.Outputs
	float, other, apart := make([]float64, outputs), make([]float64, outputs),
		make([]float64, outputs)
	for i, predicted := range predictions(s.rec, fixed) {
		for k, y := range s.rec.Sequences[i].Y {
			e, f, d := s.float[i][k]-y, predicted[k]-y, predicted[k]-s.float[i][k]
			float[k%outputs] += e * e
			other[k%outputs] += f * f
			apart[k%outputs] += d * d
		}
	}
	for o := range outputs {
		rise = append(rise, math.Sqrt(other[o]/float[o])-1)
		distance = append(distance, math.Sqrt(apart[o]/float[o]))
	}
	return rise, distance
}

// cells shows rise and, in brackets, distance of every output, in percent.
func cells(rise, distance []float64) string {
	var texts []string
	for o := range rise {
		// + 0 turns -0 into 0
		texts = append(texts,
			fmt.Sprintf("%.2f %% (%.1f %%)", math.Round(1e4*rise[o])/100+0, 100*distance[o]))
	}
	return strings.Join(texts, " | ")
}

// shown is docs/accuracy-figures.md; need wants a line on it.
type shown string

func accuracyPage(t *testing.T) shown {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "docs", "accuracy-figures.md"))
	if err != nil {
		t.Fatal(err)
	}
	return shown(text)
}

func (p shown) need(t *testing.T, line string) {
	t.Helper()
	t.Log(line)
	if !strings.Contains(string(p), line+"\n") {
		t.Errorf("docs/accuracy-figures.md does not show this line; its last section says how "+
			"to bring it up to date:\n%s", line)
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
	sets := []judgedSet{in.judgedSet("demo, sign-off", in.Signoff)}
	for _, seed := range freshSeeds {
		var text bytes.Buffer
		if err := (plant.Set{Name: "fresh", Prefix: "new", Seed: seed,
			PerScenario: plant.Signoff.PerScenario}).WriteCSV(&text); err != nil {
			t.Fatal(err)
		}
		rec, err := dataset.ReadCSV(&text, "fresh", dataset.FeatureNames(in.Float.Features),
			dataset.Reference{Outputs: dataset.OutputNames(in.Float.Outputs)})
		if err != nil {
			t.Fatal(err)
		}
		sets = append(sets, in.judgedSet(fmt.Sprintf("demo, seed %d", seed), rec))
	}
	for _, weights := range []string{"int4", "int8"} {
		chosen := wholeAt(t, in, weights)
		for _, set := range sets {
			page.holds(t, in, chosen, set, weights)
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
		page.holds(t, in, wholeAt(t, in, weights),
			in.judgedSet("city-weather, sign-off", in.Signoff), weights)
	}
}

func (p shown) holds(t *testing.T, in *Inputs, chosen *Chosen, set judgedSet, weights string) {
	t.Helper()
	rise, distance := set.rises(chosen.Fixed)
	p.need(t, fmt.Sprintf("| %s | %s | %s | %s |", set.name, weights, chosen.Candidate.Rounding,
		cells(rise, distance)))
	for o, r := range rise {
		if r > aim[weights] {
			t.Errorf("%s, %s weights: the RMSE of %s rises by %.2f %%, the aim is %.1f %%",
				set.name, weights, in.Float.Outputs[o].Name, 100*r, 100*aim[weights])
		}
	}
}
