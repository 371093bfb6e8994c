package prune

import (
	"math"
	"reflect"
	"slices"
	"testing"

	"kerf/dataset"
)

// CutAndRun gives the network of Cut, bit for bit, and the predictions of that network, as near as
// float32 comes, for every kind of network.
func TestCutAndRunIsCutAndPredict(t *testing.T) {
	for i, kinds := range stacks {
		p, rec := stacked(uint64(i), kinds...)
		s := MeasureStatistics(p, rec)
		smaller := AllUnits(p.Net)
		smaller[len(smaller)-1] = smaller[len(smaller)-1][1:]
		for _, c := range []struct {
			features []int
			units    [][]int
		}{{Without(4), AllUnits(p.Net)}, {Without(4, 2), AllUnits(p.Net)},
			{Without(4, 0), smaller}} {
			net, predicted := s.CutAndRun(c.features, c.units)
			if !reflect.DeepEqual(net, s.Cut(c.features, c.units, Refit)) {
				t.Errorf("%v, features %v, units %v: another network than Cut gives", kinds,
					c.features, c.units)
			}
			for k, sequence := range rec.Sequences {
				near := func(a, b float64) bool { return math.Abs(a-b) <= playError }
				if !slices.EqualFunc(predicted[k], predict(net, sequence, rec.Outputs), near) {
					t.Errorf("%v, features %v, units %v: sequence %d is predicted otherwise", kinds,
						c.features, c.units, k)
				}
			}
		}
	}
}

// A sketch keeps a whole network as it is. Otherwise it loses about as much as the cut without the
// refit: on average over kinds of networks within a factor of two of the squared error.
func TestSketchIsNearTheCut(t *testing.T) {
	sketched, cut := 0.0, 0.0
	for i, kinds := range stacks {
		p, rec := stacked(uint64(i), kinds...)
		s := MeasureStatistics(p, rec)
		if got := s.Sketch(Without(4), AllUnits(p.Net)); !reflect.DeepEqual(got, p) {
			t.Errorf("%v: the whole network is not equal", kinds)
		}
		units := AllUnits(p.Net)
		units[0] = units[0][1:]
		squares := func(q *dataset.Float) float64 {
			sum, all := 0.0, 0.0
			for _, sequence := range rec.Sequences {
				whole, got := predict(p, sequence, rec.Outputs), predict(q, sequence, rec.Outputs)
				for k := range whole {
					sum += (whole[k] - got[k]) * (whole[k] - got[k])
					all += whole[k] * whole[k]
				}
			}
			return sum / all
		}
		sketched += squares(s.Sketch(Without(4, 1), units))
		cut += squares(s.Cut(Without(4, 1), units, Reconstruction))
	}
	if ratio := sketched / cut; ratio < 0.5 || ratio > 2 {
		t.Errorf("the squared error of sketches is %.2f times that of the cuts", ratio)
	}
}
