package main

import (
	"math"
	"math/rand/v2"
	"strconv"

	"kerf/dataset"
)

// world says how two predictors err. Sequences differ: each has a scale of its own, exp(spread·N),
// and the other predictor a factor of its own, exp(spread/2·N), over the base. Within a sequence
// errors follow their predecessors, exp(-1/memory) each.
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

// errors of both predictors [sequences][steps].
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

// meanSquares are the expected squares of both errors: E exp(2sN) = exp(2s²).
func (w world) meanSquares() (base, other float64) {
	of := func(s float64) float64 { return math.Exp(2 * s * s) }
	base = of(w.spread)
	if w.ownScale {
		return base, base
	}
	return base, base * of(w.spread/2)
}

// meanMagnitudes are the expected magnitudes: sqrt(2/π) times E exp(sN) = exp(s²/2). They are known
// where the scale of an error is that of its sequence.
func (w world) meanMagnitudes() (base, other float64) {
	of := func(s float64) float64 { return math.Exp(s * s / 2) }
	base = math.Sqrt(2/math.Pi) * of(w.spread)
	return base, base * of(w.spread/2)
}

// given predicts what a recording holds as one of its two features.
type given struct{ column int }

// Predict implements [dataset.Predictor].
func (g given) Predict(s *dataset.Sequence, dst []float64) {
	for step := range s.Steps {
		dst[step] = s.X[2*step+g.column]
	}
}

// scores are those of both predictors; the reference is 0 throughout, so that what is predicted is
// the error.
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

// classes is how two classifiers of three classes err. Each is wrong where a latent error exceeds a
// bound, which the base exceeds at the given rate; sequences shift the bound by spread·N, and that
// of the other classifier by spread/2·N more. Latent errors have a memory of ten steps.
type classes struct {
	rate, spread, own float64
}

const (
	classSteps  = 400
	classMemory = 10
	classCount  = 3
	classHold   = 40 // mean steps after which the class changes
)

// scores of both classifiers on so many sequences.
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

// classifier gives the next class where it is wrong, by the name of the sequence.
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
