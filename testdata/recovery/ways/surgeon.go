package main

import (
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/mat"

	"kerf/model"
	"kerf/model/lanes"
	"kerf/prune"
)

// Our choices: draws, and a share of the mean diagonal that is added so that the matrix of second
// derivatives has an inverse.
const (
	draws   = 1000
	damping = 1e-3
)

// surgeon chooses units by what the loss would rise to second order if all weights by which a unit
// is read became zero and all others moved to make up for it (Hassibi and Stork 1993, "Second order
// derivatives for network pruning: optimal brain surgeon"; blocks instead of single weights). The
// others are the weights by which other units are read, and all biases. Second derivatives are
// Σ JᵀΛJ over the recorded training steps, J the derivatives of the outputs of a step, through time
// within a segment, and Λ the second derivatives of the loss by outputs. JᵀΛJ is the mean of
// ggᵀ where g are the derivatives for a change by Λ^½ times random signs, or for classes a class
// that is drawn from the shares.
type surgeon struct {
	units   [][]int        // that are left
	block   map[[2]int]int // first index of a unit
	size    map[[2]int]int
	weights *mat.VecDense
	inverse *mat.Dense
}

func newSurgeon(d *data, seed uint64) *surgeon {
	s := &surgeon{units: prune.AllUnits(d.given.Net), block: map[[2]int]int{},
		size: map[[2]int]int{}}
	all := s.pointers(d.given.Net)
	s.weights = mat.NewVecDense(len(all), nil)
	for i, w := range all {
		s.weights.SetVec(i, *w)
	}
	s.inverse = inverse(secondDerivatives(d, s, seed))
	return s
}

// pointers lists the weights that may move: unit by unit, then biases.
func (s *surgeon) pointers(net *model.Network) []*float64 {
	var all []*float64
	for l, units := range prune.AllUnits(net) {
		for _, j := range units {
			r := readers(net, l, j)
			s.block[[2]int{l, j}], s.size[[2]int{l, j}] = len(all), len(r)
			all = append(all, r...)
		}
	}
	bias := func(b []float64) {
		for i := range b {
			all = append(all, &b[i])
		}
	}
	for _, l := range net.Recurrent {
		bias(l.B)
		if l.Kind == model.GRUResetAfter {
			bias(l.D[2*l.Units:])
		}
	}
	for _, l := range net.Dense {
		bias(l.B)
	}
	return all
}

// secondDerivatives returns their estimate, with damping.
func secondDerivatives(d *data, s *surgeon, seed uint64) *mat.SymDense {
	random := rand.New(rand.NewPCG(seed, 4))
	recorded := *d
	recorded.invented = [][]example{nil}
	examples := &stream{d: &recorded, random: rand.New(rand.NewPCG(seed, 5))}
	tape, gradient := lanes.NewTape(d.given.Net, recoveryLength), d.given.Net.Clone()
	all := s.pointers(gradient)
	g := mat.NewDense(draws, len(all), nil)
	outputs := len(d.given.Outputs)
	for n := range draws {
		examples.segment(tape, recoveryLength, func(_ int, y, _, to []float64) {
			for at := range slices.Chunk(indices(len(y)), outputs) {
				if d.byShares() {
					shares := make([]float64, outputs)
					model.Shares(y[at[0]:at[0]+outputs], shares)
					u, drawn := random.Float64(), outputs-1
					for o, v := range shares {
						to[at[o]] = v
						if u -= v; u < 0 && drawn == outputs-1 {
							drawn = o
						}
					}
					to[at[drawn]]--
					continue
				}
				for o, k := range at {
					to[k] = math.Sqrt(d.weights[o]) * float64(1-2*random.IntN(2))
				}
			}
		})
		tape.Backward(gradient, false)
		for i, w := range all {
			g.Set(n, i, *w)
		}
	}
	h := mat.NewSymDense(len(all), nil)
	h.SymOuterK(1.0/draws, g.T())
	trace := 0.0
	for i := range all {
		trace += h.At(i, i)
	}
	for i := range all {
		h.SetSym(i, i, h.At(i, i)+damping*trace/float64(len(all)))
	}
	return h
}

func indices(n int) []int {
	all := make([]int, n)
	for i := range all {
		all[i] = i
	}
	return all
}

func inverse(h *mat.SymDense) *mat.Dense {
	var factor mat.Cholesky
	if !factor.Factorize(h) {
		panic("ways: damped second derivatives are positive definite")
	}
	var inverse mat.SymDense
	if err := factor.InverseTo(&inverse); err != nil {
		panic(err)
	}
	return mat.DenseCopyOf(&inverse)
}

// choose takes units out until counts are left, and returns those. Counts may only fall from call
// to call.
func (s *surgeon) choose(counts []int) [][]int {
	for {
		least, at, layer := math.Inf(1), -1, -1
		for l, units := range s.units {
			if len(units) <= counts[l] {
				continue
			}
			for i, j := range units {
				if v := s.saliency(l, j); v < least {
					least, at, layer = v, i, l
				}
			}
		}
		if at < 0 {
			return slices.Clone(s.units)
		}
		s.remove(layer, s.units[layer][at])
		s.units[layer] = slices.Delete(slices.Clone(s.units[layer]), at, at+1)
	}
}

// solved returns the inverse of a block of the inverse times the weights of the block.
func (s *surgeon) solved(l, j int) (of *mat.VecDense, factor *mat.Cholesky) {
	from, size := s.block[[2]int{l, j}], s.size[[2]int{l, j}]
	block := mat.NewSymDense(size, nil)
	for r := range size {
		for c := r; c < size; c++ {
			block.SetSym(r, c, s.inverse.At(from+r, from+c))
		}
	}
	factor = &mat.Cholesky{}
	if !factor.Factorize(block) {
		panic("ways: a block of a positive definite matrix is positive definite")
	}
	of = &mat.VecDense{}
	if err := factor.SolveVecTo(of, s.weights.SliceVec(from, from+size)); err != nil {
		panic(err)
	}
	return of, factor
}

func (s *surgeon) saliency(l, j int) float64 {
	from, size := s.block[[2]int{l, j}], s.size[[2]int{l, j}]
	of, _ := s.solved(l, j)
	return mat.Dot(s.weights.SliceVec(from, from+size), of) / 2
}

// remove sets a block to zero and moves the other weights. What was removed keeps an identity in
// the inverse, apart from everything else.
func (s *surgeon) remove(l, j int) {
	from, size := s.block[[2]int{l, j}], s.size[[2]int{l, j}]
	of, factor := s.solved(l, j)
	n, _ := s.inverse.Dims()
	columns := mat.DenseCopyOf(s.inverse.Slice(0, n, from, from+size))
	var move mat.VecDense
	move.MulVec(columns, of)
	s.weights.SubVec(s.weights, &move)
	var right, product mat.Dense
	if err := factor.SolveTo(&right, columns.T()); err != nil {
		panic(err)
	}
	product.Mul(columns, &right)
	s.inverse.Sub(s.inverse, &product)
	for i := from; i < from+size; i++ {
		s.weights.SetVec(i, 0)
		for k := range n {
			s.inverse.Set(i, k, 0)
			s.inverse.Set(k, i, 0)
		}
		s.inverse.Set(i, i, 1)
	}
}
