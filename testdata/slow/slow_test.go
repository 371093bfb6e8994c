package slow

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"math"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"kerf/budget"
	"kerf/dataset"
	"kerf/model"
	"kerf/quant"
)

var files = sync.OnceValues(Files)

// load writes the job into a folder and reads it as kerf does.
func load(t *testing.T) *budget.Inputs {
	t.Helper()
	all, err := files()
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	for name, content := range all {
		if err := os.WriteFile(filepath.Join(dir, name), content, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	in, err := budget.Load(filepath.Join(dir, "job.toml"))
	if err != nil {
		t.Fatal(err)
	}
	return in
}

// The figures of docs/accuracy-figures.md belong to these bytes.
func TestSameSeedSameBytes(t *testing.T) {
	all, err := files()
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]string{
		"model.safetensors": "92fdcaeace901f6f",
		"features.csv":      "6155e9fa776cd793",
		"outputs.csv":       "3143540b0d1899b2",
		"selection.csv":     "1e868cd82a1ad97e",
		"signoff.csv":       "37abe307de8aec31",
	} {
		sum := sha256.Sum256(all[name])
		if got := hex.EncodeToString(sum[:8]); got != want {
			t.Errorf("%s: SHA-256 begins with %s, want %s", name, got, want)
		}
	}
}

func TestAnotherIsAnother(t *testing.T) {
	all, err := files()
	if err != nil {
		t.Fatal(err)
	}
	other, err := Another(1)
	if err != nil {
		t.Fatal(err)
	}
	for name, content := range all {
		random := name == "model.safetensors" || name == "selection.csv" || name == "signoff.csv"
		if bytes.Equal(content, other[name]) == random {
			t.Errorf("%s: the same bytes with another seed: %v", name, !random)
		}
	}
}

func TestWriteWritesTheFiles(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "job")
	if err := Write(dir, 0); err != nil {
		t.Fatal(err)
	}
	all, err := files()
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range all {
		if got, err := os.ReadFile(filepath.Join(dir, name)); err != nil ||
			!bytes.Equal(got, want) {
			t.Errorf("%s: %v, or other bytes than Files gives", name, err)
		}
	}
}

// On the recordings the units forget over about as many steps as their biases are made for: 1/(1 -
// mean update gate) is within a factor of three of it. And the gates move.
func TestUnitsAreSlowAndTheirGatesMove(t *testing.T) {
	in := load(t)
	const update = 1
	sum, low, high := make([]float64, len(TimeConstants)), make([]float64, len(TimeConstants)),
		make([]float64, len(TimeConstants))
	for j := range low {
		low[j] = 1
	}
	for _, s := range in.Signoff.Sequences {
		in.Float.Visit(s, func(_ int, run *model.Run, _ []float64) {
			for j, z := range run.Gate(0, update) {
				sum[j] += z
				low[j], high[j] = min(low[j], z), max(high[j], z)
			}
		})
	}
	for j, want := range TimeConstants {
		got, shortest, longest := 1/(1-sum[j]/float64(in.Signoff.Steps())), 1/(1-low[j]),
			1/(1-high[j])
		t.Logf("unit %d: by its bias %.0f steps, on the recordings %.0f (%.0f to %.0f)", j, want,
			got, shortest, longest)
		if got < want/3 || got > want*3 {
			t.Errorf("unit %d: %.0f steps, its bias says %.0f", j, got, want)
		}
		if longest < 2*shortest {
			t.Errorf("unit %d: its gate hardly moves, %.0f to %.0f steps", j, shortest, longest)
		}
	}
}

// Without the weights between units the outputs are others altogether: the network is no set of
// independent leaky integrators.
func TestUnitsMix(t *testing.T) {
	in := load(t)
	alone := *in.Float
	alone.Net = in.Float.Net.Clone()
	layer := alone.Net.Recurrent[0]
	for r := range layer.D {
		for c := range layer.Units {
			if r%layer.Units != c {
				layer.U[r*layer.Units+c] = 0
			}
		}
	}
	whole, apart := dataset.Measure(in.Float, in.Signoff, nil),
		dataset.Measure(&alone, in.Signoff, nil)
	for o, q := range in.Float.Outputs {
		slice := dataset.Slice{Output: o, Region: -1}
		if c := dataset.Compare(whole, apart, slice, dataset.RMSE); c.Other < 5*c.Base {
			t.Errorf("%s: RMSE %.4g without the weights between units, %.4g with them", q.Name,
				c.Other, c.Base)
		}
	}
}

// The reference outputs are those of the float network plus the error of the laboratory's readings,
// which is about 3 % of their standard deviation.
func TestNoiseOfTheReference(t *testing.T) {
	in := load(t)
	score := dataset.Measure(in.Float, in.Signoff, nil)
	for o, q := range quantities {
		sum, squares, n := 0.0, 0.0, 0.0
		for _, s := range in.Signoff.Sequences {
			for i := o; i < len(s.Y); i += len(quantities) {
				sum, squares, n = sum+s.Y[i], squares+s.Y[i]*s.Y[i], n+1
			}
		}
		deviation := math.Sqrt(squares/n - sum/n*sum/n)
		rmse := score.Value(score, dataset.Slice{Output: o, Region: -1}, dataset.RMSE)
		t.Logf("%s: RMSE of the float network %.4g, %.1f %% of the standard deviation", q.name,
			rmse, 100*rmse/deviation)
		// The estimate of a standard deviation from n values is off by 1/√(2n): 0.4 % here.
		if math.Abs(rmse/q.noise-1) > 0.02 {
			t.Errorf("%s: RMSE of the float network %.4g, the noise is %.4g", q.name, rmse, q.noise)
		}
		if share := rmse / deviation; share < 0.02 || share > 0.05 {
			t.Errorf("%s: noise is %.3f of the standard deviation, want a few per cent", q.name,
				share)
		}
	}
}

// The automatic choice of widths holds 0.5 % on every output and scenario of the
// sign-off recordings, and records which words it had to leave wide.
func TestAutomaticWidthsHold(t *testing.T) {
	in := load(t)
	chosen, err := budget.NewPlanner(in).Choose(t.Context(),
		budget.CutByHand(in.Whole(quant.Formats{})))
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("chosen: %s, rounded %s", chosen.Candidate.Formats, chosen.Candidate.Rounding)
	if !chosen.Within {
		t.Error("no choice of widths leaves a reserve on the selection recordings")
	}
	refused := 0
	for _, w := range chosen.Widths {
		if !w.Taken && w.Tightest.MayReach > w.Tightest.Tolerance {
			refused++
			t.Logf("int%d %s refused: %s may rise by %.2f %% of %.1f %%", w.Bits, w.What,
				w.Tightest.Text(), 100*w.Tightest.MayReach, 100*w.Tightest.Tolerance)
		}
	}
	if refused == 0 {
		t.Error("no word was refused: this job does not force any width")
	}
	for _, f := range chosen.Forced {
		t.Log(f.Explain())
		if len(f.Rows) == 0 || f.Rows[0].Share <= 0 || !(f.Rest.MayReach <= f.Rest.Tolerance) {
			t.Errorf("int%d %s: nobody is named who needs it, or that does not help: %+v", f.Bits,
				f.What, f)
		}
	}
	if len(chosen.Forced) != refused {
		t.Errorf("%d words are refused, units are named for %d", refused, len(chosen.Forced))
	}
	float, fixed := dataset.Measure(in.Float, in.Signoff, nil),
		dataset.Measure(chosen.Fixed, in.Signoff, nil)
	for o, q := range quantities {
		for _, scenario := range append([]string{""}, in.Signoff.Scenarios()...) {
			c := dataset.Compare(float, fixed,
				dataset.Slice{Output: o, Scenario: scenario, Region: -1}, dataset.RMSE)
			t.Logf("%s, scenario %q: rise %.2f %%, up to %.2f %%", q.name, scenario, 100*c.Rise,
				100*c.RiseHigh)
			if !(c.RiseHigh <= 0.005) {
				t.Errorf("%s, scenario %q: the RMSE rises by %.2f %%, up to %.2f %%, allowed "+
					"is 0.5 %%", q.name, scenario, 100*c.Rise, 100*c.RiseHigh)
			}
		}
	}
}

// Where the tolerance is so tight that a 16-bit state breaks it, the choice names the slow units
// and says that they stand still.
func TestSlowUnitsForceTheWideState(t *testing.T) {
	in := load(t)
	for name := range in.Job.Tolerances {
		in.Job.Tolerances[name] = budget.Tolerance{
			Figures: budget.Figures{RMSERise: &budget.Share{Value: 0.0015}}}
	}
	in.Job.Formats.Weights = "int16"
	chosen, err := budget.NewPlanner(in).Choose(t.Context(),
		budget.CutByHand(in.Whole(quant.Formats{})))
	if err != nil {
		t.Fatal(err)
	}
	if !chosen.Within || len(chosen.Forced) != 1 || chosen.Forced[0].What != "state" {
		t.Fatalf("within %v with %s; forced: %+v", chosen.Within, chosen.Candidate.Formats,
			chosen.Forced)
	}
	t.Log(chosen.Forced[0].Explain())
	if first := chosen.Forced[0].Rows[0]; first.Memory < 300 || first.Stalled == 0 {
		t.Errorf("unit %s needs the wide state most; it remembers %.0f steps and stands still "+
			"on %d", first.Name, first.Memory, first.Stalled)
	}
}

// A 16-bit state of slow units stands still at times, a 32-bit state never does.
func TestSlowUnitsStandStillWith16Bits(t *testing.T) {
	in := load(t)
	calibration := quant.Calibrate(in.Float, in.Selection)
	for _, stateBits := range []int{16, 32} {
		net, err := quant.Quantize(in.Float, calibration,
			quant.Uniform(in.Float.Net, 16, 16, stateBits), quant.Compensated)
		if err != nil {
			t.Fatal(err)
		}
		counts := net.Count(in.Signoff)
		stalled := counts.Layers[0].Stalled
		t.Logf("int%d state: steps of %d on which the units stood still although 1 %% away: %v",
			stateBits, counts.Steps, stalled)
		slowest := stalled[len(stalled)-1]
		if (slowest > 0) != (stateBits == 16) {
			t.Errorf("int%d state: the slowest unit stood still on %d steps", stateBits, slowest)
		}
	}
}
