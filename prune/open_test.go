package prune

import (
	"math"
	"reflect"
	"testing"

	"kerf/dataset"
)

// Neighbours of a ranking are open where their shares lie less than two standard errors of the
// difference apart. Draws that move both alike leave the order decided.
func TestWhatTheErrorsLeaveOpen(t *testing.T) {
	for _, c := range []struct {
		name   string
		values []float64
		draws  [][]float64
		want   [][]string
	}{
		{"far apart", []float64{1, 2, 3}, [][]float64{{0.1, 0, 0}, {0, 0.1, 0}, {0, 0, 0.1}}, nil},
		{"two are near", []float64{1, 1.1, 3}, [][]float64{{0.1, 0, 0}, {0, 0.1, 0}},
			[][]string{{"a", "b"}}},
		{"near, but moved together", []float64{1, 1.1, 3}, [][]float64{{0.1, 0.11, 0.3}}, nil},
		{"all in a row", []float64{1, 1.1, 1.2}, [][]float64{{0.1, 0, 0}, {0, 0.1, 0}, {0, 0, 0.1}},
			[][]string{{"a", "b", "c"}}},
		{"errors are not known", []float64{1, 1, 1}, nil, nil},
	} {
		s := &Scores{Items: []string{"a", "b", "c"},
			Columns: []Column{{Scenario: All, Output: All, Values: c.values}}}
		if c.draws != nil {
			s.Deviations = [][][]float64{c.draws}
		}
		if got := s.Open(); !reflect.DeepEqual(got, c.want) {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}

// An order that the first quarter of the pairs decides is played no further; one that stays open
// takes the work that is allowed.
func TestSamplingEndsWithTheOrder(t *testing.T) {
	const players, pairs = 5, 16
	unlike, alike := randomPredictor(3, players, 4, 1), randomPredictor(3, players, 4, 1)
	for k := range unlike.Net.Recurrent[0].W {
		unlike.Net.Recurrent[0].W[k] *= math.Pow(0.25, float64(k%players))
	}
	rec := &dataset.Recordings{Features: players, Outputs: 1}
	for seed := range uint64(40) {
		rec.Sequences = append(rec.Sequences, randomRecordings(seed, unlike).Sequences[0])
	}
	for what, c := range map[string]struct {
		p    *dataset.Float
		want int
	}{"decided": {unlike, pairs / pilotShare}, "open": {alike, pairs - pairs/pilotShare}} {
		g := featureGame(c.p, dataset.FeatureNames(c.p.Features))
		run := float64(rec.Steps()) * float64(c.p.Net.Parameters())
		v := must(g.sampled(t.Context(), rec, Settings{Work: 2 * players * pairs * run},
			plan{pairs, 2 * pairs}))
		if v.Pairs != c.want {
			t.Errorf("%s: %d pairs, want %d; open %v", what, v.Pairs, c.want, v.Open())
		}
	}
}
