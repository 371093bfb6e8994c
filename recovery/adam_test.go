package recovery

import (
	"math"
	"os"
	"testing"

	"kerf/model"
)

// single returns a network that is one dense layer of n weights and a bias.
func single(n int) *model.Network {
	return &model.Network{Dense: []*model.Dense{{Inputs: n, Outputs: 1, W: make([]float64, n),
		B: make([]float64, 1)}}}
}

// TestUpdatesAgreeWithTorch compares with torch.optim.AdamW; see testdata/vectors/README.md.
func TestUpdatesAgreeWithTorch(t *testing.T) {
	file, err := os.Open("../testdata/vectors/adamw.npz")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	info, err := file.Stat()
	if err != nil {
		t.Fatal(err)
	}
	tensors, err := model.ReadNPZ(file, info.Size(), "adamw")
	if err != nil {
		t.Fatal(err)
	}
	start, gradients, after := tensors["start"].Data, tensors["gradients"].Data,
		tensors["after"].Data
	net, gradient := single(len(start)), single(len(start))
	copy(net.Dense[0].W, start)
	a := newAdam(net)
	for update := range len(after) / len(start) {
		copy(gradient.Dense[0].W, gradients[update*len(start):])
		a.update(net, gradient, tensors["rate"].Data[0], tensors["decay"].Data[0])
		for i, got := range net.Dense[0].W {
			if want := after[update*len(start)+i]; !(math.Abs(got-want) <=
				1e-12*math.Max(1, math.Abs(want))) {
				t.Errorf("update %d, weight %d: %v, torch gives %v", update, i, got, want)
			}
		}
	}
}

func TestClip(t *testing.T) {
	// 3, 4 and 0 have the norm 5
	for _, c := range []struct{ limit, want float64 }{{1, 1}, {5, 5}, {6, 5}} {
		g := single(2)
		g.Dense[0].W[0], g.Dense[0].W[1] = 3, -4
		clip(g, c.limit)
		if got := math.Hypot(g.Dense[0].W[0], g.Dense[0].W[1]); math.Abs(got-c.want) > 1e-15 ||
			g.Dense[0].W[0]*4 != -g.Dense[0].W[1]*3 {
			t.Errorf("limit %g: clipped to %v", c.limit, g.Dense[0].W)
		}
	}
}

func TestGradientsThatAreNotFiniteAreFoundOut(t *testing.T) {
	for _, v := range []float64{math.NaN(), math.Inf(1), 1} {
		g := single(2)
		g.Dense[0].W[1] = v
		if got := clip(g, 1); got != (v == 1) {
			t.Errorf("%v is finite: %v", v, got)
		}
	}
}

func TestRateRisesAndFalls(t *testing.T) {
	// 5 of 100 updates rise to the top, then half a cosine: half of the top in its middle, next to
	// nothing at the end.
	for _, c := range []struct {
		done int
		want float64
	}{{0, 0.2}, {4, 1}, {5, 1}, {52, (1 + math.Cos(math.Pi*47/95)) / 2},
		{99, (1 + math.Cos(math.Pi*94/95)) / 2}} {
		if got := rateAt(1, c.done, 100); math.Abs(got-c.want) > 1e-15 {
			t.Errorf("update %d has rate %v, want %v", c.done, got, c.want)
		}
	}
	for done := range 7 {
		if got := rateAt(1, done, 7); !(got > 0 && got <= 1) {
			t.Errorf("update %d of 7 has rate %v", done, got)
		}
	}
}
