package prune

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"kerf/dataset"
	"kerf/portable"
)

// gram is the sum of v vᵀ over time steps, for v with the constant 1 behind its last value: first
// and second moments in one matrix. It has all steps once it was merged into another one.
type gram struct {
	size    int
	sum     *mat.SymDense // padded beyond [(size+1) × (size+1)] with zeros
	waiting portable.WaitingVectors
}

// newGram returns a sum over no step, for v of the given size.
func newGram(size int) *gram {
	padded := portable.Padded(size + 1)
	return &gram{size: size, sum: mat.NewSymDense(padded, nil),
		waiting: portable.NewWaitingVectors(padded)}
}

// add adds one step; the parts of v stand behind each other.
func (g *gram) add(parts ...[]float64) {
	next := g.waiting.Next()
	v := next[:0]
	for _, p := range parts {
		v = append(v, p...)
	}
	next[g.size] = 1
	if g.waiting.Added() {
		g.addWaiting()
	}
}

// addWaiting adds the products of the steps that wait.
func (g *gram) addWaiting() {
	portable.AddOuters(g.sum.RawSymmetric().Data, g.waiting.Take())
}

// merge adds the steps of another sum.
func (g *gram) merge(o *gram) {
	o.addWaiting()
	g.sum.AddSym(g.sum, o.sum)
}

// steps returns the number of steps.
func (g *gram) steps() float64 { return g.sum.At(g.size, g.size) }

// total returns the sum of value i.
func (g *gram) total(i int) float64 { return g.sum.At(i, g.size) }

// mean returns the mean of value i.
func (g *gram) mean(i int) float64 { return g.total(i) / g.steps() }

// covariance returns the covariance of values i and j.
func (g *gram) covariance(i, j int) float64 {
	return g.sum.At(i, j)/g.steps() - float64(g.mean(i)*g.mean(j))
}

// folds has the moments of several parts of the selection recordings, so that each part can be held
// back while the others are fitted, and the moments of all together.
type folds struct {
	all   *gram
	parts []*gram
	rest  []*gram // all less one part
}

// foldCount is the number of parts that are held back in turn. Five or ten are usual (Hastie,
// Tibshirani and Friedman 2009, section 7.10); scenarios often have as few as ten sequences, of
// which a part should hold several.
const foldCount = 5

// foldOf spreads the sequences of every scenario over the parts. It returns the part of every
// sequence and the number of parts.
func foldOf(selection *dataset.Recordings) (part []int, parts int) {
	parts = min(foldCount, len(selection.Sequences))
	seen := map[string]int{}
	first := 0
	for _, s := range selection.Sequences {
		if _, known := seen[s.Scenario]; !known {
			seen[s.Scenario] = first // scenarios begin at different parts, so that none stays empty
			first++
		}
		part = append(part, seen[s.Scenario]%parts)
		seen[s.Scenario]++
	}
	return part, parts
}

// newFolds adds up the moments of sequences, in the order of the recordings.
func newFolds(size int, selection *dataset.Recordings, sequences []*gram) *folds {
	part, parts := foldOf(selection)
	f := &folds{all: newGram(size)}
	for range parts {
		f.parts, f.rest = append(f.parts, newGram(size)), append(f.rest, newGram(size))
	}
	for i, g := range sequences {
		f.all.merge(g)
		for k := range parts {
			if k == part[i] {
				f.parts[k].merge(g)
			} else {
				f.rest[k].merge(g)
			}
		}
	}
	return f
}

// predict fits the values with index gone by ridge regression on those with index kept: gone ≈
// offset + slope · kept. The strength is relative: strength × variance is added to the variance of
// every kept value, so that units of measure do not matter. An infinite strength, or a matrix that
// cannot be solved, gives the means alone. Source: Hoerl and Kennard 1970.
func (g *gram) predict(kept, gone []int, strength float64) replacement {
	r := replacement{kept: kept, gone: gone, offset: make([]float64, len(gone))}
	for i, k := range gone {
		r.offset[i] = g.mean(k)
	}
	if math.IsInf(strength, 1) || len(kept) == 0 || len(gone) == 0 {
		return r
	}
	between := mat.NewSymDense(len(kept), nil)
	trace := 0.0
	for a, i := range kept {
		for b := a; b < len(kept); b++ {
			between.SetSym(a, b, g.covariance(i, kept[b]))
		}
		trace += between.At(a, a)
	}
	// A value that never moves has no variance to be scaled by: it takes no part.
	least := float64(trace / float64(len(kept)) * leastVariance)
	for a := range kept {
		v := between.At(a, a)
		between.SetSym(a, a, v+float64(strength*v)+least)
	}
	factor, ok := portable.Cholesky(between)
	if !ok {
		return r
	}
	r.slope = make([]float64, len(gone)*len(kept))
	for b, j := range gone {
		slope := r.slope[b*len(kept) : (b+1)*len(kept)]
		for a, i := range kept {
			slope[a] = g.covariance(i, j)
		}
		factor.Solve(slope)
		for a, i := range kept {
			r.offset[b] -= float64(slope[a] * g.mean(i))
		}
	}
	return r
}

// leastVariance is added to the variance of every value, relative to the mean variance: so a value
// that is constant but for rounding takes no part. 1e-8 is half the digits of a float64.
const leastVariance = 1e-8

// strengths holds the ridge strengths that are tried, weakest first (our choice: powers of ten).
// The last one predicts by the mean alone.
var strengths = []float64{1e-6, 1e-5, 1e-4, 1e-3, 1e-2, 1e-1, 1, math.Inf(1)}

// bestPrediction chooses the strength by its error on the parts held back in turn, and fits all
// parts with it. readers [rows × gone] are the weights that multiply removed values: the error is
// the squared error of readers · gone, summed over the rows. With one part nothing can be held
// back, and the mean is taken.
func (f *folds) bestPrediction(kept, gone []int, readers []float64) replacement {
	best, least := math.Inf(1), math.Inf(1)
	if len(f.parts) > 1 && len(gone) > 0 {
		for _, strength := range strengths {
			sum := 0.0
			for k, held := range f.parts {
				fitted := f.rest[k].predict(kept, gone, strength)
				sum += fitted.squaredError(held, readers)
			}
			if sum < least {
				best, least = strength, sum
			}
		}
	}
	return f.all.predict(kept, gone, best)
}
