package quant

import (
	"math"

	"kerf/dataset"

	"gonum.org/v1/gonum/mat"
)

// evenLeast is the least scale of a feature: the feature gives up four of its bits at most (our
// choice).
const evenLeast = 1.0 / 16

// even gives every feature a scale of its own that makes the columns of the first layer's input
// weights alike: x' = x·s, W' = W/s. The network computes the same function. A row of weights has
// one power of two, which its largest weight sets; a column of small weights then falls between the
// steps of a 4-bit word.
//
// The weights of a column are taken relative to the largest weight of their rows, and s is the root
// of the mean of their squares over the rows, divided by the largest such root, to the power of
// strength: at strength 0 nothing changes, at 1 all columns become alike.
func even(p *dataset.Float, c Calibration, strength float64) (*dataset.Float, Calibration) {
	first := p.Net.Recurrent[0]
	s := make([]float64, first.Inputs)
	for r := range first.B {
		row := first.W[r*first.Inputs : (r+1)*first.Inputs]
		top := largest(row)
		for i, w := range row {
			if top > 0 {
				s[i] += float64(w / top * w / top)
			}
		}
	}
	top := largest(s)
	for i, sum := range s {
		s[i] = 1
		if top > 0 {
			s[i] = math.Max(evenLeast, squareRoots(sum/top, strength))
		}
	}
	q := *p
	q.Net = p.Net.Clone()
	q.Features = append([]dataset.Feature(nil), p.Features...)
	for i, k := range p.Kept {
		q.Features[k].Std /= s[i]
	}
	first = q.Net.Recurrent[0]
	for i := range first.W {
		first.W[i] /= s[i%first.Inputs]
	}
	return &q, c.scaled(s)
}

// squareRoots returns v to the power of strength/2. Of the two strengths that occur, 1 takes the
// root and 1/2 the root of the root: roots have the same bits on every processor, other powers need
// not.
func squareRoots(v, strength float64) float64 {
	if v = math.Sqrt(v); strength < 1 {
		v = math.Sqrt(v)
	}
	return v
}

// scaled returns the calibration for features that are s times as large.
func (c Calibration) scaled(s []float64) Calibration {
	c.Input = 0
	features := make([]float64, len(s))
	for i, v := range c.Features {
		features[i] = v * s[i]
		c.Input = math.Max(c.Input, features[i])
	}
	c.Features = features
	c.Layers = append([]LayerRange(nil), c.Layers...)
	l := &c.Layers[0]
	at := func(i int) float64 {
		if i < len(s) {
			return s[i]
		}
		return 1
	}
	scaledSym := func(m *mat.SymDense) *mat.SymDense {
		n := m.SymmetricDim()
		to := mat.NewSymDense(n, nil)
		for i := range n {
			for j := i; j < n; j++ {
				to.SetSym(i, j, m.At(i, j)*at(i)*at(j))
			}
		}
		return to
	}
	mean := make([]float64, len(s))
	for i, v := range l.Inputs.Mean {
		mean[i] = v * s[i]
	}
	l.Inputs = &Moments{Mean: mean, Covariance: scaledSym(l.Inputs.Covariance)}
	followed := make([]halfMatrix, len(l.Followed))
	for r, m := range l.Followed {
		followed[r] = newHalfMatrix(m.n)
		for i := range m.n {
			for j := i; j < m.n; j++ {
				*followed[r].at(i, j) = m.At(i, j) * at(i) * at(j)
			}
		}
	}
	l.Followed = followed
	return c
}
