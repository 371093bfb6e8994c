package prune

import (
	"math"
	"reflect"
	"slices"
	"testing"
)

// spearman returns Spearman's rank correlation by [Scores.Agree]: items in two scenarios.
func spearman(x, y []float64) float64 {
	s := &Scores{Items: make([]string, len(x)), Columns: []Column{{"x", All, x}, {"y", All, y}}}
	return s.Agree().Correlation[0][1]
}

func TestSpearman(t *testing.T) {
	for _, c := range []struct {
		name string
		x, y []float64
		want float64
	}{
		// Wikipedia, "Spearman's rank correlation coefficient", example (IQ and hours
		// of television); data and result from memory, the sum of squared rank
		// differences, 194, was checked by hand.
		{"worked example", []float64{106, 100, 86, 101, 99, 103, 97, 113, 112, 110},
			[]float64{7, 27, 2, 50, 28, 29, 20, 12, 6, 17}, -29.0 / 165},
		// By hand: ranks 1, 2.5, 2.5, 4 and 1, 3, 2, 4; 4.5 / √(4.5·5).
		{"equal values", []float64{1, 2, 2, 3}, []float64{1, 3, 2, 4}, 4.5 / math.Sqrt(22.5)},
		{"same order", []float64{1, 5, 9}, []float64{2, 3, 400}, 1},
		{"opposite order", []float64{1, 5, 9}, []float64{4, 3, 0}, -1},
	} {
		if got := spearman(c.x, c.y); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
	if got := spearman([]float64{1, 1, 1}, []float64{1, 2, 3}); !math.IsNaN(got) {
		t.Errorf("a scenario that ranks nothing: %v, want NaN", got)
	}
}

func TestMoves(t *testing.T) {
	s := &Scores{Items: []string{"a", "b", "c"}, Columns: []Column{
		{All, All, []float64{1, 1, 1}}, // an average says nothing beside the scenarios
		{"cold", "leak", []float64{5, 3, 2}}, {"cold", "air", []float64{0, 3, 7}},
		{"warm", "leak", []float64{1, 3, 6}}, {"warm", "air", []float64{1, 3, 6}},
	}}
	// Largest shares in cold: 0.5, 0.3, 0.7; in warm: 0.1, 0.3, 0.6.
	got := s.Agree()
	if !slices.Equal(got.Scenarios, []string{"cold", "warm"}) {
		t.Errorf("scenarios %v", got.Scenarios)
	}
	want := []Move{
		{0, "a", 2, 3, "cold", "warm"}, {1, "b", 2, 3, "warm", "cold"},
		{2, "c", 1, 1, "cold", "cold"},
	}
	if !reflect.DeepEqual(got.Moves, want) {
		t.Errorf("%+v, want %+v", got.Moves, want)
	}
}

// Two draws move the items of the first column, one draw moves those of the second. By hand: a draw
// moves a group by the sum of its movements of the items.
func TestGroups(t *testing.T) {
	s := &Scores{
		Items: []string{"a", "b", "c"},
		Columns: []Column{
			{"cold", "leak", []float64{1, 2, 4}}, {"warm", "leak", []float64{0, 8, 1}},
		},
		Deviations: [][][]float64{{{3, 0, 1}, {-1, 2, 1}}, {{0, 0.5, 1}}},
	}
	got := s.Groups([]string{"supply", "return", "supply"})
	want := &Scores{
		Items:      []string{"supply", "return"},
		Columns:    []Column{{"cold", "leak", []float64{5, 2}}, {"warm", "leak", []float64{1, 8}}},
		Deviations: [][][]float64{{{4, 0}, {0, 2}}, {{1, 0.5}}},
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("%+v, want %+v", got, want)
	}
	// Of shares 5/7 and 8/9: the first draw takes the sum from 7 to 11 and supply from 5 to 9, to
	// first order 4 - 5/7·4; the second 0 - 5/7·2. In warm 0.5 - 8/9·1.5.
	shares := got.Shares()
	if shares[0].Share != 5.0/7 || shares[1].Share != 8.0/9 {
		t.Errorf("shares %+v", shares)
	}
	for i, want := range []float64{math.Hypot(4-5.0/7*4, 5.0/7*2) / 7, (8.0/9*1.5 - 0.5) / 9} {
		if e := got.ShareError(shares[i]); math.Abs(e-want) > 1e-15 {
			t.Errorf("standard error of the share %+v: %v, want %v", shares[i], e, want)
		}
	}
}

// A group that is little needed adds little in every scenario, with its error on top.
func TestLittle(t *testing.T) {
	s := &Scores{Items: []string{"always", "once", "unsure", "never"}, Columns: []Column{
		{"cold", "leak", []float64{90, 2, 4, 4}}, {"warm", "leak", []float64{84, 8, 4, 4}}}}
	names := func() (all []string) {
		for _, r := range s.Little() {
			all = append(all, r.Name)
		}
		return all
	}
	if got := names(); !slices.Equal(got, []string{"unsure", "never"}) {
		t.Errorf("without errors: %v", got)
	}
	draws := [][]float64{{-0.6, 0, 0.6, 0}, {-0.1, 0, 0, 0.1}} // of a sum that stays as it is
	s.Deviations = [][][]float64{draws, draws}
	if got := names(); !slices.Equal(got, []string{"never"}) {
		t.Errorf("with errors: %v", got)
	}
}
