package page

import (
	"fmt"
	"math"
	"testing"
)

func TestTicks(t *testing.T) {
	for _, c := range []struct {
		s     scale
		about int
		want  string
	}{
		{scale{0, 1, 0, 100}, 5, "[0 0.2 0.4 0.6 0.8 1]"},
		{scale{-3.2, 5.1, 0, 100}, 6, "[-2 0 2 4]"},
		{scale{6900, 12800, 0, 100}, 4, "[8000 10000 12000]"},
		{scale{2, 2, 0, 100}, 4, "[2]"},
	} {
		got := c.s.ticks(c.about)
		for i := range got {
			got[i] = math.Round(got[i]*1e9) / 1e9
		}
		if fmt.Sprint(got) != c.want {
			t.Errorf("ticks of %v: %v, want %s", c.s, got, c.want)
		}
	}
}
