package main

import (
	"math"
	"math/rand/v2"
	"strconv"

	"kerf/dataset"
)

// world says how two predictors err. Sequences differ: each has a scale of its own, exp(spread·N), and
// the other predictor a factor of its own, exp(spread/2·N), over the base. Within a sequence errors follow
// their predecessors with a memory of so many steps, exp(-1/memory) each.
type world struct {
	name   string
	spread float64
	memory float64
	steps  int
	// own says how much of its squared error the other predictor makes by itself. Of shared errors 1 - own
	// are those of the base. With ownScale the sequences have scales of their own for it.
	own      float64
	ownScale bool
}

// errors of both predictors on sequences, which share no random numbers with any other draw.
func (w world) errors(random *rand.Rand, sequences int) (base, other [][]float64) {
	follow := math.Exp(-1 / w.memory)
	fresh := math.Sqrt(1 - follow*follow)
	for range sequences {
		scale, factor := math.Exp(w.spread*random.NormFloat64()), math.Exp(w.spread/2*random.NormFloat64())
		ownScale := scale * factor
		if w.ownScale {
			ownScale, factor = math.Exp(w.spread*random.NormFloat64()), 1
		}
		u, v := random.NormFloat64(), random.NormFloat64()
		a, b := make([]float64, w.steps), make([]float64, w.steps)
		for k := range w.steps {
			u, v = follow*u+fresh*random.NormFloat64(), follow*v+fresh*random.NormFloat64()
			a[k] = scale * u
			b[k] = scale*factor*math.Sqrt(1-w.own)*u + ownScale*math.Sqrt(w.own)*v
		}
		base, other = append(base, a), append(other, b)
	}
	return base, other
}

// meanSquares are the expected squares of both errors: E exp(2sN) = exp(2s²).
func (w world) meanSquares() (base, other float64) {
	of := func(s float64) float64 { return math.Exp(2 * s * s) }
	base = of(w.spread)
	if w.ownScale {
		return base, base
	}
	return base, base * of(w.spread/2)
}

// meanMagnitudes are the expected magnitudes: sqrt(2/π) times E exp(sN) = exp(s²/2), for errors whose
// scale is that of one sequence.
func (w world) meanMagnitudes() (base, other float64) {
	of := func(s float64) float64 { return math.Exp(s * s / 2) }
	base = math.Sqrt(2/math.Pi) * of(w.spread)
	return base, base * of(w.spread/2)
}

// given predicts what a recording holds as its feature.
type given struct{ column int }

func (g given) Predict(s *dataset.Sequence, dst []float64) {
	for step := range s.Steps {
		dst[step] = s.X[2*step+g.column]
	}
}

// scores are those of both predictors; the reference is 0 throughout, so that what is predicted is the error.
func scores(base, other [][]float64, memory int) (a, b *dataset.Score) {
	rec := &dataset.Recordings{Features: 2, Outputs: 1, Memory: memory}
	for i := range base {
		s := &dataset.Sequence{Name: strconv.Itoa(i), Scenario: "s", Steps: len(base[i]), Y: make([]float64, len(base[i]))}
		for k := range base[i] {
			s.X = append(s.X, base[i][k], other[i][k])
		}
		rec.Sequences = append(rec.Sequences, s)
	}
	return dataset.Measure(given{0}, rec, nil), dataset.Measure(given{1}, rec, nil)
}
