package quant

import (
	"math"
	"testing"

	"kerf/dataset"
	"kerf/model"
)

// baked moves the normalisation of a network into its weights: its inputs are
// then at physical scale, from 0..1 to 0..1000 side by side.
func baked(p *dataset.Float) *dataset.Float {
	q := *p
	q.Net = p.Net.Clone()
	q.Features = append([]dataset.Feature(nil), p.Features...)
	l := q.Net.Recurrent[0]
	for i := range q.Features {
		f := &q.Features[i]
		for r := range l.B {
			w := &l.W[r*l.Inputs+i]
			*w /= f.Std
			l.B[r] -= *w * f.Mean
		}
		f.Mean, f.Std = 0, 1
	}
	return &q
}

func physicalScales() (*dataset.Float, *dataset.Recordings) {
	p := layered(4, []model.Kind{model.GRUResetAfter}, []model.Activation{model.Identity})
	for i := range p.Features {
		size := math.Pow(10, float64(i)/2-0.5) // 0.3 .. 100
		p.Features[i].Mean, p.Features[i].Std = 3*size, size
	}
	return p, RandomRecordings(4, p, 4, 200)
}

func worstDifference(t *testing.T, p *dataset.Float, rec *dataset.Recordings,
	fixed *Network) float64 {
	t.Helper()
	worst := 0.0
	for _, s := range rec.Sequences {
		want, got := make([]float64, 2*s.Steps), make([]float64, 2*s.Steps)
		p.Predict(s, want)
		fixed.Predict(s, got)
		for i := range want {
			worst = math.Max(worst, math.Abs(got[i]-want[i])/p.Outputs[i%2].Std)
		}
	}
	return worst
}

// Standardise changes no output of the float network, and a network with the normalisation in its
// weights then works as well in fixed point as the normalised network. Without Standardise the
// network does not work as well: the test can fail.
func TestBakedNormalisation(t *testing.T) {
	p, rec := physicalScales()
	formats := Uniform(p.Net, 8, 16, 16)
	normal := mustQuantize(t, p, Calibrate(p, rec), formats)
	raw := baked(p)
	again := Standardise(raw, Calibrate(raw, rec))
	for _, s := range rec.Sequences {
		want, got := make([]float64, 2*s.Steps), make([]float64, 2*s.Steps)
		p.Predict(s, want)
		again.Predict(s, got)
		for i := range want {
			if math.Abs(got[i]-want[i]) > 1e-9 {
				t.Fatalf("output %d is %g, want %g", i, got[i], want[i])
			}
		}
	}
	good := worstDifference(t, p, rec, normal)
	folded := worstDifference(t, p, rec, mustQuantize(t, again, Calibrate(again, rec), formats))
	bad := worstDifference(t, p, rec, mustQuantize(t, raw, Calibrate(raw, rec), formats))
	t.Logf("worst difference to float: normalised %.3g, baked and folded %.3g, baked as it is "+
		"%.3g std", good, folded, bad)
	if folded > 1.5*good {
		t.Errorf("folded %.3g, normalised %.3g", folded, good)
	}
	if bad < 2*good {
		t.Errorf("as it is %.3g, normalised %.3g: the case is too easy to show anything", bad, good)
	}
}

func TestStandardisedNetworksAreLeftAlone(t *testing.T) {
	p, rec := physicalScales()
	if q := Standardise(p, Calibrate(p, rec)); q != p {
		t.Error("a normalised network was changed")
	}
}
