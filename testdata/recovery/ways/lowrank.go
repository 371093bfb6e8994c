package main

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"kerf/dataset"
	"kerf/model"
	"kerf/prune"
)

// lowRank is a network with all units, whose matrices of recurrent layers are products of two. The
// gates of a layer share the right one, so that a matrix [gates·units × n] of rank r takes r·(n +
// gates·units) multiply-accumulates. Dense layers stay whole.
//
// It begins with the singular value decomposition of the matrices as given, their columns weighed
// by the standard deviation of what they multiply. Ranks are dealt one by one to the matrix whose
// next singular value has the largest square per multiply-accumulate.
type lowRank struct {
	p       *dataset.Float // biases and dense layers are trained as they are
	factors []*factors
}

// factors stand for a matrix of the network.
type factors struct {
	values        int // place in model.Network.Values
	rows, columns int
	rank          int
	left, right   []float64 // [rows × rank], [rank × columns]
	svd           mat.SVD
	spreads       []float64
	singular      []float64
}

func (f *factors) cost() int { return f.rows + f.columns }

// newLowRank returns nil where even rank 1 takes more multiply-accumulates than are given.
func newLowRank(d *data, most int) *lowRank {
	low := &lowRank{p: withNet(d.given, d.given.Net.Clone())}
	observed := prune.Observe(d.given, d.rest, nil)
	spreads := make([]float64, len(d.given.Kept))
	for i := range spreads {
		spreads[i] = 1 // features are standardised
	}
	for l, r := range low.p.Net.Recurrent {
		low.add(r.W, r.Inputs, spreads)
		spreads = nil
		for _, u := range observed.Layers[l].Units {
			spreads = append(spreads, max(u.Std, 1e-6))
		}
		low.add(r.U, r.Units, spreads)
	}
	for _, l := range low.p.Net.Dense {
		most -= len(l.W)
	}
	for _, f := range low.factors {
		f.rank = 1
		most -= f.cost()
	}
	if most < 0 {
		return nil
	}
	for {
		var next *factors
		gain := 0.0
		for _, f := range low.factors {
			if f.rank == len(f.singular) || f.cost() > most {
				continue
			}
			s := f.singular[f.rank]
			if g := s * s / float64(f.cost()); g > gain {
				next, gain = f, g
			}
		}
		if next == nil {
			break
		}
		next.rank++
		most -= next.cost()
	}
	for _, f := range low.factors {
		f.split()
	}
	return low
}

// add lists a matrix of the network.
func (low *lowRank) add(w []float64, columns int, spreads []float64) {
	f := &factors{rows: len(w) / columns, columns: columns, spreads: spreads}
	for i, values := range low.p.Net.Values() {
		if &values[0] == &w[0] {
			f.values = i
		}
	}
	m := mat.NewDense(f.rows, columns, nil)
	m.Apply(func(r, c int, _ float64) float64 { return w[r*columns+c] * spreads[c] }, m)
	if !f.svd.Factorize(m, mat.SVDThin) {
		panic("ways: no singular values")
	}
	f.singular = f.svd.Values(nil)
	low.factors = append(low.factors, f)
}

// split sets the factors to what the largest singular values give.
func (f *factors) split() {
	var u, v mat.Dense
	f.svd.UTo(&u)
	f.svd.VTo(&v)
	f.left, f.right = make([]float64, f.rows*f.rank), make([]float64, f.rank*f.columns)
	for k := range f.rank {
		root := math.Sqrt(f.singular[k])
		for r := range f.rows {
			f.left[r*f.rank+k] = u.At(r, k) * root
		}
		for c := range f.columns {
			f.right[k*f.columns+c] = v.At(c, k) * root / f.spreads[c]
		}
	}
}

func (low *lowRank) macs() int {
	all := 0
	for _, l := range low.p.Net.Dense {
		all += len(l.W)
	}
	for _, f := range low.factors {
		all += f.rank * f.cost()
	}
	return all
}

func (low *lowRank) predictor() *dataset.Float {
	net := low.p.Net.Clone()
	low.effective(net)
	return withNet(low.p, net)
}

// weights lists those of the network, in which matrices that are products do not move, and then the
// factors.
func (low *lowRank) weights() [][]float64 {
	all := low.p.Net.Values()
	for _, f := range low.factors {
		all = append(all, f.left, f.right)
	}
	return all
}

func (low *lowRank) effective(to *model.Network) {
	values := to.Values()
	copyAll(values, low.p.Net.Values())
	for _, f := range low.factors {
		product(values[f.values], f.left, f.right, f.rows, f.rank, f.columns)
	}
}

func (low *lowRank) slopes(by *model.Network, to [][]float64) {
	values := by.Values()
	copyAll(to, values)
	for i, f := range low.factors {
		whole := values[f.values]
		clear(to[f.values])
		left, right := to[len(values)+2*i], to[len(values)+2*i+1]
		clear(left)
		clear(right)
		for r := range f.rows {
			for k := range f.rank {
				for c := range f.columns {
					g := whole[r*f.columns+c]
					left[r*f.rank+k] += g * f.right[k*f.columns+c]
					right[k*f.columns+c] += g * f.left[r*f.rank+k]
				}
			}
		}
	}
}

func (low *lowRank) updated(_, _ float64) {}

// product sets to to a product of two matrices.
func product(to, left, right []float64, rows, inner, columns int) {
	clear(to)
	for r := range rows {
		for k := range inner {
			for c := range columns {
				to[r*columns+c] += left[r*inner+k] * right[k*columns+c]
			}
		}
	}
}
