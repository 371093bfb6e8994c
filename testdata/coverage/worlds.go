package main

import (
	"math"
	"math/rand/v2"
	"strconv"

	"kerf/dataset"
)

// world describes the errors of two predictors, base and other. Each sequence has a scale of its
// own, exp(spread·N), and for the other predictor a factor over the base, exp(spread/2·N), where N
// is normally distributed. Within a sequence an error keeps the share exp(-1/memory) of the error
// one step before.
type world struct {
	spread float64
	memory float64 // steps
	steps  int     // of a sequence
	// own is the share of its squared error that the other predictor makes by itself; the rest it
	// shares with the base. With ownScale sequences have scales of their own for it, and there is
	// no factor.
	own      float64
	ownScale bool
}

// errors draws the errors of both predictors [sequences][steps].
func (w world) errors(random *rand.Rand, sequences int) (base, other [][]float64) {
	follow := math.Exp(-1 / w.memory)
	fresh := math.Sqrt(1 - follow*follow)
	for range sequences {
		scale, factor := math.Exp(w.spread*random.NormFloat64()),
			math.Exp(w.spread/2*random.NormFloat64())
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

// meanSquares returns the expected squares of both errors: E exp(2sN) = exp(2s²).
func (w world) meanSquares() (base, other float64) {
	of := func(s float64) float64 { return math.Exp(2 * s * s) }
	base = of(w.spread)
	if w.ownScale {
		return base, base
	}
	return base, base * of(w.spread/2)
}

// meanMagnitudes returns the expected magnitudes of both errors: sqrt(2/π) times E exp(sN) =
// exp(s²/2). They are right without ownScale only, where the scale of an error is that of its
// sequence.
func (w world) meanMagnitudes() (base, other float64) {
	of := func(s float64) float64 { return math.Exp(s * s / 2) }
	base = math.Sqrt(2/math.Pi) * of(w.spread)
	return base, base * of(w.spread/2)
}

// given is a predictor whose output is one of the two features of a recording.
type given struct{ column int }

// Predict implements [dataset.Predictor].
func (g given) Predict(s *dataset.Sequence, dst []float64) {
	for step := range s.Steps {
		dst[step] = s.X[2*step+g.column]
	}
}

// scores returns the scores of two predictors with given errors [sequences][steps]. The reference
// is 0 throughout, so that the prediction is the error.
func scores(base, other [][]float64, memory int) (a, b *dataset.Score) {
	rec := &dataset.Recordings{Features: 2, Outputs: 1, Memory: memory}
	for i := range base {
		s := &dataset.Sequence{Name: strconv.Itoa(i), Scenario: "s", Steps: len(base[i]),
			Y: make([]float64, len(base[i]))}
		for k := range base[i] {
			s.X = append(s.X, base[i][k], other[i][k])
		}
		rec.Sequences = append(rec.Sequences, s)
	}
	return dataset.Measure(given{0}, rec, nil), dataset.Measure(given{1}, rec, nil)
}

// classes describes the errors of two classifiers of three classes, base and other. A classifier is
// wrong where its latent error exceeds a bound, which the base exceeds at the given rate. A
// sequence shifts the bound by spread·N, and that of the other classifier by spread/2·N more. own
// is the share of its squared latent error that the other classifier makes by itself.
type classes struct {
	rate, spread, own float64
}

const (
	classSteps  = 400 // of a sequence
	classMemory = 10  // of a latent error, steps
	classCount  = 3
	classHold   = 40 // mean steps after which the class changes
)

// scores returns the scores of both classifiers on a number of sequences.
func (c classes) scores(random *rand.Rand, sequences int) (a, b *dataset.Score) {
	follow := math.Exp(-1.0 / classMemory)
	fresh := math.Sqrt(1 - follow*follow)
	bound := math.Sqrt2 * math.Erfinv(1-2*c.rate) // the quantile of a normal distribution
	rec := &dataset.Recordings{Features: 1, Outputs: classCount, Classes: true}
	wrong := [2]classifier{{}, {}}
	for i := range sequences {
		shift, more := c.spread*random.NormFloat64(), c.spread/2*random.NormFloat64()
		u, v := random.NormFloat64(), random.NormFloat64()
		s := &dataset.Sequence{Name: strconv.Itoa(i), Scenario: "s", Steps: classSteps,
			X: make([]float64, classSteps)}
		class := random.IntN(classCount)
		for range classSteps {
			u, v = follow*u+fresh*random.NormFloat64(), follow*v+fresh*random.NormFloat64()
			mixed := math.Sqrt(1-c.own)*u + math.Sqrt(c.own)*v
			wrong[0][s.Name] = append(wrong[0][s.Name], u > bound-shift)
			wrong[1][s.Name] = append(wrong[1][s.Name], mixed > bound-shift-more)
			if random.IntN(classHold) == 0 {
				class = random.IntN(classCount)
			}
			y := make([]float64, classCount)
			y[class] = 1
			s.Y = append(s.Y, y...)
		}
		rec.Sequences = append(rec.Sequences, s)
	}
	return dataset.Measure(wrong[0], rec, nil), dataset.Measure(wrong[1], rec, nil)
}

// classifier is a predictor that gives the true class, or the next one at the steps where it is
// wrong; the steps are given by the name of the sequence.
type classifier map[string][]bool

// Predict implements [dataset.Predictor].
func (c classifier) Predict(s *dataset.Sequence, dst []float64) {
	clear(dst)
	for step, wrong := range c[s.Name] {
		class := dataset.Class(s.Y[classCount*step : classCount*(step+1)])
		if wrong {
			class = (class + 1) % classCount
		}
		dst[classCount*step+class] = 1
	}
}
