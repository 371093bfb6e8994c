package main

import (
	"math"

	"kerf/dataset"
	"kerf/model"
)

// startPenalty and penaltyStep set how the penalty follows the number of units that are left; our
// choices, made so that units go in the time that they have.
const (
	startPenalty = 0.1
	penaltyStep  = 1.01
)

// lasso is a network with a group lasso: after every update the weights by which a unit reads and is
// read are shrunk together by rate times penalty, down to zero (Wen et al. 2018, arXiv:1709.05027,
// section 3, as a proximal step). A unit at zero stays there. The penalty of a layer rises while
// more units are left than wanted, and else falls.
type lasso struct {
	*direct
	counts  []int
	penalty []float64
	gone    [][]bool
	norms   [][]float64
}

func newLasso(p *dataset.Float, counts []int) *lasso {
	s := &lasso{direct: plain(p), counts: counts}
	for _, l := range p.Net.Recurrent {
		s.penalty = append(s.penalty, startPenalty)
		s.gone = append(s.gone, make([]bool, l.Units))
		s.norms = append(s.norms, make([]float64, l.Units))
	}
	return s
}

// group returns the weights of a unit.
func group(net *model.Network, layer, unit int) []*float64 {
	return append(rows(net, layer, unit), readers(net, layer, unit)...)
}

func (s *lasso) updated(rate, done float64) {
	for l := range s.counts {
		n, left := float64(len(s.gone[l])), 0
		for _, gone := range s.gone[l] {
			if !gone {
				left++
			}
		}
		if left > s.counts[l] &&
			float64(left) > n-(n-float64(s.counts[l]))*min(1, done/closeUntil) {
			s.penalty[l] *= penaltyStep
		} else {
			s.penalty[l] /= penaltyStep
		}
		for j := range s.gone[l] {
			weights, squares := group(s.p.Net, l, j), 0.0
			for _, w := range weights {
				squares += *w * *w
			}
			norm := math.Sqrt(squares)
			shrink := 0.0
			if !s.gone[l][j] && norm > 0 {
				shrink = 1 - rate*s.penalty[l]/norm
			}
			if !s.gone[l][j] && shrink <= 0 && left > s.counts[l] {
				s.gone[l][j] = true
				left--
			}
			s.norms[l][j] = norm * max(0, shrink)
			for _, w := range weights {
				*w *= max(0, shrink)
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
