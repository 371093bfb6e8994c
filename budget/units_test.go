package budget

import (
	"slices"
	"testing"
)

// The row that is recommended breaks the fewest limits of those within every tolerance, then costs
// least, then comes first.
func TestRecommendedSize(t *testing.T) {
	size := func(within bool, broken int, share float64) Size {
		cost := price{broken: broken, share: share}
		return Size{Within: within, price: cost, Tightest: Loss{Judged: true}}
	}
	for _, c := range []struct {
		name  string
		sizes []Size
		want  int // -1: none
	}{
		{"none is within", []Size{size(false, 0, 1), size(false, 0, 2)}, -1},
		{"the cheapest", []Size{size(true, 0, 30), size(true, 0, 20), size(false, 0, 10)}, 1},
		{"the cheapest comes first", []Size{size(true, 0, 20), size(true, 0, 30)}, 0},
		{"fewer broken limits count more",
			[]Size{size(true, 1, 10), size(true, 0, 90), size(true, 2, 5)}, 1},
		{"more broken limits behind it", []Size{size(true, 0, 90), size(true, 1, 10)}, 0},
		{"equals", []Size{size(true, 1, 20), size(true, 1, 20)}, 0},
	} {
		recommend(c.sizes)
		if got := slices.IndexFunc(c.sizes, func(s Size) bool {
			return s.Recommended
		}); got != c.want {
			t.Errorf("%s: row %d, want %d", c.name, got, c.want)
		}
	}
	nothing := []Size{{Within: true}}
	if recommend(nothing); nothing[0].Recommended {
		t.Error("without a tolerance a size is recommended")
	}
}
