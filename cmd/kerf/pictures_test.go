package main

import (
	"math"
	"slices"
	"testing"

	"kerf/budget"
	"kerf/dataset"
	"kerf/exporter/report"
)

// checkPictures compares what the pictures show with the tables of the same sign-off: cells and
// sequences are parts of the whole.
func checkPictures(t *testing.T, s report.Signoff) {
	t.Helper()
	steps := map[budget.Role]int{}
	for _, r := range s.Recorded {
		steps[r.Use] = r.Steps
	}
	whole := func(output string, metric dataset.Metric) report.LossRow {
		for _, l := range s.Loss {
			if l.Output == output && l.Metric == metric && l.IsEverywhere() {
				return l
			}
		}
		t.Fatalf("no row %s of %s", metric, output)
		return report.LossRow{}
	}
	if len(s.Space) == 0 || len(s.Tracks) == 0 || s.Scores == nil {
		t.Fatalf("%d spaces, %d tracks, scores %v", len(s.Space), len(s.Tracks), s.Scores)
	}
	for _, m := range s.Space {
		if n := sum(m.Steps); n != steps["selection"] {
			t.Errorf("%d steps in cells, %d in the selection recordings", n, steps["selection"])
		}
		if n := sum(m.Judged); n != steps["signoff"] {
			t.Errorf("%d steps in cells, %d in the sign-off recordings", n, steps["signoff"])
		}
		kept := 0
		for _, u := range m.Units {
			if u.Kept {
				kept++
			}
		}
		if len(m.Units) != s.Network.TrainedUnits || kept != s.Network.Units {
			t.Errorf("%d units, %d of them kept; the network has %d and %d", len(m.Units), kept,
				s.Network.TrainedUnits, s.Network.Units)
		}
		for _, e := range m.Errors {
			for name, cells := range map[string][]*float64{"float": e.Float, "fixed": e.Fixed} {
				square, wrong := 0.0, 0.0
				for c, n := range m.Judged {
					if n > 0 {
						square += float64(n) * *cells[c] * *cells[c] / float64(steps["signoff"])
						wrong += float64(n) * *cells[c] / float64(steps["signoff"])
					}
				}
				got, row := math.Sqrt(square), report.LossRow{}
				if len(m.Axes[0].Classes) > 0 {
					got, row = 1-wrong, whole(e.Output, "accuracy")
				} else {
					row = whole(e.Output, "rmse")
				}
				want := map[string]float64{"float": row.Float, "fixed": row.Fixed}[name]
				if math.Abs(got-want) > 1e-4*want { // cells are rounded to five digits
					t.Errorf("%s: the cells of %s give an error of %g, the table %g", e.Output,
						name, got, want)
				}
			}
		}
	}
	for _, k := range s.Tracks {
		for _, o := range k.Outputs {
			largest := 0.0
			for i := range o.Fixed {
				largest = math.Max(largest, math.Abs(o.Fixed[i]-o.Reference[i]))
			}
			if len(o.Classes) == 0 && largest > whole(o.Output, "max_error").Fixed*(1+1e-3) {
				t.Errorf("%s: sequence %s shows an error of %g, the largest is %g", o.Output,
					k.Sequence, largest, whole(o.Output, "max_error").Fixed)
			}
			if len(o.Fixed) != len(k.At) || len(k.At) != (k.Steps+k.Every-1)/k.Every {
				t.Errorf("%d values at %d of %d steps, every %d", len(o.Fixed), len(k.At), k.Steps,
					k.Every)
			}
		}
	}
	for i, f := range s.Scores.Features {
		if math.Abs(slices.Max(f.Shares)-f.Share) > 1e-12 {
			t.Errorf("%s: largest share %g, by scenario %v", f.Feature, f.Share, f.Shares)
		}
		if f.Kept != slices.Contains(s.Kept.Features, f.Feature) {
			t.Errorf("%s: kept %v", f.Feature, f.Kept)
		}
		if i > 0 && f.Share > s.Scores.Features[i-1].Share {
			t.Errorf("%s stands below a feature with a smaller share", f.Feature)
		}
	}
}

func sum(values []int) int {
	total := 0
	for _, v := range values {
		total += v
	}
	return total
}
