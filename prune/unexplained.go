package prune

import (
	"slices"

	"gonum.org/v1/gonum/mat"

	"kerf/portable"
)

// unexplainedRidge keeps the covariance solvable when values repeat each other. It is the strength
// of [gram.predict] in the middle of those that are tried there: a difference of less than this
// share of a variance counts as explained.
const unexplainedRidge = 1e-3

// Unexplained returns, for every kept feature and for every kept unit per layer, the share of its
// variance on the selection recordings, 0 to 1, that no linear combination of the other kept values
// predicts: the part that [Statistics.Cut] cannot replace when the feature or unit goes as well. A
// value is predicted from the values that its layer reads beside it. The residual variance is the
// reciprocal of the diagonal of the inverse covariance (Whittaker 1990, "Graphical models in
// applied multivariate statistics", section 5.7; from memory).
func (s *Statistics) Unexplained(features []int,
	units [][]int) (ofFeatures []float64, ofUnits [][]float64) {
	inputs := features
	for l, layer := range s.float.Net.Recurrent {
		shares := s.layers[l].all.unexplained(slices.Concat(inputs,
			shifted(units[l], layer.Inputs)))
		if l == 0 {
			ofFeatures = shares[:len(inputs)]
		}
		ofUnits = append(ofUnits, shares[len(inputs):])
		inputs = units[l]
	}
	return ofFeatures, ofUnits
}

// Dimensions returns, for every recurrent layer, the dimensions that the states of units take, see
// [LayerView.Dimensions].
func (s *Statistics) Dimensions(units [][]int) []float64 {
	var all []float64
	for l, layer := range s.float.Net.Recurrent {
		all = append(all, s.layers[l].all.dimensions(shifted(units[l], layer.Inputs)))
	}
	return all
}

// unexplained returns the share of the variance of every value with index kept that the other kept
// values do not predict; 0 for a value that never moves.
func (g *gram) unexplained(kept []int) []float64 {
	correlation := mat.NewSymDense(len(kept), nil)
	moves := make([]bool, len(kept))
	for a, i := range kept {
		moves[a] = g.covariance(i, i) > g.least(i)
	}
	for a, i := range kept {
		correlation.SetSym(a, a, 1+unexplainedRidge)
		for b := a + 1; b < len(kept); b++ {
			if j := kept[b]; moves[a] && moves[b] {
				correlation.SetSym(a, b, g.correlation(i, j))
			}
		}
	}
	shares := make([]float64, len(kept))
	var inverse *portable.Square
	factor, solved := portable.Cholesky(correlation)
	if solved {
		inverse = factor.Inverse()
	}
	for a := range shares {
		switch {
		case !moves[a]:
		case solved:
			shares[a] = max(0, 1/inverse.At(a, a)-unexplainedRidge)
		default:
			shares[a] = 1
		}
	}
	return shares
}
