package notebooks

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"kerf/dataset"
	"kerf/frontend"
	"kerf/portable"
)

// frontEnd is what features.csv of a job declares, with the samples of its sequences.
func frontEnd(t *testing.T, j *Job) (*frontend.FrontEnd, []*frontend.Stretch) {
	t.Helper()
	f := &frontend.FrontEnd{Sampling: dataset.Sampling{Samples: Samples, Rate: Rate,
		Period: Period}}
	for i, name := range channelNames {
		high := []float64{250, 20}[i]
		converter := frontend.Converter{Low: 0, High: high, Bits: 12}
		f.Channels = append(f.Channels, frontend.Channel{Name: name, Converter: converter,
			Cycles: Cycles, Floor: converter.Step(), Baseline: frontend.Baseline{Seconds: stretch}})
	}
	for _, feature := range j.Features {
		d, err := frontend.ParseDefinition(feature.Computed)
		if err != nil {
			t.Fatal(err)
		}
		f.Features = append(f.Features, frontend.Feature{Name: feature.Name, Definition: d,
			Channel: slices.Index(channelNames, feature.Channel), Scale: 1})
	}
	var stretches []*frontend.Stretch
	for s, channels := range j.Windows {
		stretch := &frontend.Stretch{Samples: &dataset.Samples{Sequence: fmt.Sprint(s)}}
		for step := range channels[0] {
			stretch.Samples.T = append(stretch.Samples.T, float64(step)*Period)
		}
		for _, windows := range channels {
			stretch.Samples.X = append(stretch.Samples.X, slices.Concat(windows...))
		}
		for _, feature := range j.Features {
			stretch.Recorded = append(stretch.Recorded, feature.Values[s])
		}
		stretches = append(stretches, stretch)
	}
	return f, stretches
}

// matches reports whether a reading is what the notebook did with a feature.
func matches(f *Feature, r *frontend.Reading) bool {
	want, err := frontend.ParseDefinition(f.Computed)
	if err != nil {
		return false
	}
	scale, offset, later := 1.0, 0.0, 0
	for _, c := range f.Changes {
		switch c {
		case RMS:
			scale /= math.Sqrt2
		case Order:
			want.Order = f.K
		case Sine:
			offset += math.Pi / 2
		case Shift:
			later = 1
			offset += 2 * math.Pi * float64(want.Order*Cycles) / Samples
		case Ratio:
			scale /= 100
		}
	}
	if f.did(Sign) {
		scale = -scale
	}
	if f.did(Degrees) {
		scale *= 180 / math.Pi
	}
	turn := 2 * math.Pi * math.Abs(scale)
	apart := math.Abs(math.Remainder(r.Offset-scale*offset, turn))
	return r.Definition == want && math.Abs(r.Scale/scale-1) < 1e-9 && apart < 1e-6*turn &&
		r.Later == later && r.WholeStretch == f.did(Baseline) && r.Square == f.did(Power)
}

// Of sixty jobs at least 54 are told rightly: nothing is said of what is computed as declared, and
// what was done otherwise is found, with all that was changed.
func TestWhatNotebooksDidIsFound(t *testing.T) {
	right := 0
	for _, j := range Jobs() {
		f, stretches := frontEnd(t, j)
		wrong := ""
		for i := range j.Features {
			feature := &j.Features[i]
			var values []float64
			for _, v := range feature.Values {
				values = append(values, v...)
			}
			_, std := portable.MeanStd(values)
			d := f.Compare(&f.Features[i], i, stretches)
			said := !d.IsWithin(std)
			if !said && i != j.Changed {
				continue
			}
			r, ok := f.Recognise(i, std, stretches)
			if said != (i == j.Changed) || said && (!ok || !matches(feature, &r)) {
				wrong += fmt.Sprintf("; %s with %v (K %d), said %t, found %t: %s %s, %.2g of %.2g "+
					"std", feature.Computed, feature.Changes, feature.K, said, ok, r.Line(),
					r.Why(), r.Difference.RMS/std, d.RMS/std)
			}
		}
		if wrong == "" {
			right++
			continue
		}
		t.Logf("job %d%s", j.Number, wrong)
	}
	t.Logf("%d of 60 jobs are told rightly", right)
	if right < 54 {
		t.Errorf("only %d of 60 jobs are told rightly", right)
	}
}
