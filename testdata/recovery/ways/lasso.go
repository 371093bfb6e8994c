package main

import (
	"math"

	"kerf/dataset"
)

// steepest is the penalty at the end of the time in which units go (our choice, made so that units
// go in that time; no loss was looked at). Adam moves a group of n weights by the rate times root n
// at most, so a penalty of 1, in roots of n, outweighs any gradient.
const steepest = 2.0

// lasso is a network with a group lasso: after every update the weights by which a unit reads and
// is read are shrunk together by rate times penalty, down to zero (Wen et al. 2018,
// arXiv:1709.05027, section 3, as a proximal step). The penalty rises evenly from zero until so
// many units are left in a layer as are wanted. A unit at zero stays there.
type lasso struct {
	*direct
	counts []int
	groups [][][]*float64 // weights by layer and unit
	norms  [][]float64    // zero: the unit is gone
}

func newLasso(p *dataset.Float, counts []int) *lasso {
	s := &lasso{direct: plain(p), counts: counts}
	net := s.p.Net
	for l, r := range net.Recurrent {
		groups, norms := make([][]*float64, r.Units), make([]float64, r.Units)
		for j := range groups {
			groups[j], norms[j] = append(rows(net, l, j), readers(net, l, j)...), 1
		}
		s.groups, s.norms = append(s.groups, groups), append(s.norms, norms)
	}
	return s
}

func (s *lasso) updated(rate, done float64) {
	penalty := steepest * min(1, done/closeUntil)
	for l, norms := range s.norms {
		left := 0
		for _, norm := range norms {
			if norm > 0 {
				left++
			}
		}
		for j, weights := range s.groups[l] {
			squares := 0.0
			for _, w := range weights {
				squares += *w * *w
			}
			keep, norm := 0.0, math.Sqrt(squares)
			if norms[j] > 0 && left > s.counts[l] {
				keep = max(0, 1-rate*penalty*math.Sqrt(float64(len(weights)))/norm)
			} else if norms[j] > 0 {
				keep = 1
			}
			if keep == 0 && norms[j] > 0 {
				left--
			}
			norms[j] = norm * keep
			for _, w := range weights {
				*w *= keep
			}
		}
	}
}

// cut keeps the units that are left; of more than wanted those with the largest weights.
func (s *lasso) cut(d *data) *dataset.Float {
	units := make([][]int, len(s.counts))
	for l, n := range s.counts {
		units[l] = largest(s.norms[l], n)
	}
	return cutFrom(d, s.predictor(), units)
}
