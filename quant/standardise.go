package quant

import (
	"math"

	"kerf/dataset"
)

// A network's inputs count as standardised while every one has a mean within ±meanWithin and a
// standard deviation between 1/stdWithin and stdWithin on the selection recordings. A fixed-point
// input then loses at most a bit or two of its resolution to the others (our choice). Networks with
// the normalisation in their weights (mean 0, std 1 in features.csv) are far outside.
const (
	meanWithin = 2
	stdWithin  = 4
)

// constantShare is the variance, as a share of the squared mean, below which nothing but rounding
// is left: a difference of two sums of a million terms at most, each off by 2^-53.
const constantShare = 1e6 * 0x1p-53

// Standardise gives all inputs of a network one scale. If the inputs are not standardised on the
// selection recordings of the calibration c, it returns a predictor whose features carry other
// means and standard deviations and whose weights and biases take that back: W' = W·std, b' = b +
// W·mean. The predictor computes the same function. Otherwise Standardise returns p itself.
func Standardise(p *dataset.Float, c Calibration) *dataset.Float {
	moments := c.Layers[0].Inputs
	mean, std := make([]float64, len(p.Kept)), make([]float64, len(p.Kept))
	needed := false
	for i := range p.Kept {
		mean[i], std[i] = moments.Mean[i], 1
		if variance := moments.Covariance.At(i, i); variance > constantShare*mean[i]*mean[i] {
			std[i] = math.Sqrt(variance)
		} // otherwise the input is constant and keeps its scale
		needed = needed || math.Abs(mean[i]) > meanWithin || std[i] > stdWithin ||
			std[i] < 1.0/stdWithin
	}
	if !needed {
		return p
	}
	q := *p
	q.Net = p.Net.Clone()
	q.Features = append([]dataset.Feature(nil), p.Features...)
	for i, k := range p.Kept {
		f := &q.Features[k]
		f.Mean += float64(f.Std * mean[i])
		f.Std *= std[i]
	}
	first := q.Net.Recurrent[0]
	for r := range first.B {
		row := first.W[r*first.Inputs : (r+1)*first.Inputs]
		for i := range row {
			first.B[r] += float64(row[i] * mean[i])
			row[i] *= std[i]
		}
	}
	return &q
}
