package quant

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/mat"

	"kerf/portable"
)

// Rounding says how weights become integers.
type Rounding int

const (
	// Nearest rounds every weight by itself, at the finest scale that holds the
	// largest weight of the row.
	Nearest Rounding = iota
	// Compensated rounds the weights of a row one after the other and pushes the error of each
	// into the weights not yet rounded, through the inverse covariance of the inputs, so that the
	// error of the result is small for inputs as they occur (Hassibi and Stork 1993; Frantar et
	// al. 2022). The mean of the remaining error goes into the bias. Finer scales that clip the
	// largest weights are tried too, and the scale with the least error of the result is kept.
	Compensated
	// AtState rounds like Compensated, but by the effect that an error has on the state of its
	// unit over time (see eligibility.go), row by row. Recurrent weights and bias take up the part
	// of the error of the input weights that they can, and the last dense layer is refitted to the
	// integers that it really gets.
	AtState
	// AtStateHalf is AtState after the columns of the first layer's input weights
	// were made half alike by a scale for every feature.
	AtStateHalf
	// AtStateEven is AtState after the columns of the first layer's input weights were made alike.
	AtStateEven
)

// Roundings lists every way of rounding, the plainest first.
var Roundings = []Rounding{Nearest, Compensated, AtState, AtStateHalf, AtStateEven}

// String returns the name of the rounding for reports.
func (r Rounding) String() string {
	return [...]string{"to nearest", "error-compensated", "compensated at the state",
		"compensated at the state, input columns scaled half alike",
		"compensated at the state, input columns scaled alike"}[r]
}

// Fitted reports whether a way of rounding fits the outputs to the recordings that the network is
// calibrated on: on these recordings it then looks better than it is.
func (r Rounding) Fitted() bool { return r >= AtState }

// evening returns the strength with which columns are made alike.
func (r Rounding) evening() float64 {
	return map[Rounding]float64{AtStateHalf: 0.5, AtStateEven: 1}[r]
}

// compensatorFor returns the compensator of a matrix whose inputs have the moments m. It is nil, so
// that weights are rounded to nearest, for Nearest, without moments, and for inputs that never
// change.
func (r Rounding) compensatorFor(m *Moments) *compensator {
	if r == Nearest || m == nil {
		return nil
	}
	return newCompensator(m)
}

// Moments holds the mean and covariance of the inputs of a matrix over selection recordings, in the
// order of its columns.
type Moments struct {
	Mean       []float64     // per input
	Covariance *mat.SymDense // inputs × inputs
}

// momentSum gathers [Moments] step by step.
type momentSum struct {
	steps   float64
	sum     []float64
	outer   []float64 // padded × padded, upper half
	waiting portable.WaitingVectors
}

// newMomentSum returns a sum over no step, for n inputs.
func newMomentSum(n int) *momentSum {
	size := portable.Padded(n)
	return &momentSum{sum: make([]float64, n), outer: make([]float64, size*size),
		waiting: portable.NewWaitingVectors(size)}
}

// add adds one step with the inputs v.
func (m *momentSum) add(v []float64) {
	m.steps++
	for i, a := range v {
		m.sum[i] += a
	}
	copy(m.waiting.Next(), v)
	if m.waiting.Added() {
		m.addWaiting()
	}
}

// addWaiting adds the products of the steps that wait.
func (m *momentSum) addWaiting() { portable.AddOuters(m.outer, m.waiting.Take()) }

// merge adds the steps of another sum.
func (m *momentSum) merge(o *momentSum) {
	m.addWaiting()
	o.addWaiting()
	m.steps += o.steps
	for i, v := range o.sum {
		m.sum[i] += v
	}
	for i, v := range o.outer {
		m.outer[i] += v
	}
}

// moments returns mean and covariance over the steps added so far.
func (m *momentSum) moments() *Moments {
	m.addWaiting()
	n, size := len(m.sum), portable.Padded(len(m.sum))
	r := &Moments{Mean: make([]float64, n), Covariance: mat.NewSymDense(n, nil)}
	for i, s := range m.sum {
		r.Mean[i] = s / m.steps
	}
	for i := range n {
		for j := i; j < n; j++ {
			r.Covariance.SetSym(i, j, m.outer[i*size+j]/m.steps-float64(r.Mean[i]*r.Mean[j]))
		}
	}
	return r
}

// damping is added to the diagonal of the covariance, relative to its mean: it
// keeps the inverse finite when inputs are constant or copies of each other
// (1 % as in Frantar et al. 2022, section 4).
const damping = 0.01

// compensator holds what the rows of one matrix share: the order in which columns are rounded and
// the factor that spreads their errors.
type compensator struct {
	moments *Moments
	order   []int            // columns, the one with the largest variance first
	factor  *portable.Square // upper Cholesky factor of the inverse covariance, in that order
}

// newCompensator returns the compensator of inputs with the moments m; nil when the inputs never
// change.
func newCompensator(m *Moments) *compensator {
	n := len(m.Mean)
	trace := 0.0
	for i := range n {
		trace += m.Covariance.At(i, i)
	}
	if !(trace > 0) {
		return nil
	}
	c := &compensator{moments: m, order: make([]int, n)}
	for i := range c.order {
		c.order[i] = i
	}
	sort.SliceStable(c.order, func(a, b int) bool {
		return m.Covariance.At(c.order[a], c.order[a]) > m.Covariance.At(c.order[b], c.order[b])
	})
	ordered := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			ordered.SetSym(i, j, m.Covariance.At(c.order[i], c.order[j]))
		}
		ordered.SetSym(i, i, ordered.At(i, i)+damping*trace/float64(n))
	}
	factor, ok := portable.Cholesky(ordered)
	if !ok {
		return nil
	}
	if factor, ok = portable.Cholesky(factor.Inverse()); !ok {
		return nil
	}
	c.factor = factor.Upper()
	return c
}

// round returns the integers of a row with some fraction bits, within ±limit.
func (c *compensator) round(row []float64, fraction int, limit float64) []int32 {
	n := len(row)
	left := make([]float64, n) // in the order of rounding
	for i, column := range c.order {
		left[i] = row[column] * scale(fraction)
	}
	words := make([]int32, n)
	for i, column := range c.order {
		q := math.Max(-limit, math.Min(limit, math.Round(left[i])))
		words[column] = int32(q)
		factor := c.factor.Row(i)
		rest := (left[i] - q) / factor[i]
		for j := i + 1; j < n; j++ {
			left[j] -= float64(rest * factor[j])
		}
	}
	return words
}

// damage returns the variance that rounding adds to the result of a row.
func (c *compensator) damage(row []float64, words []int32, fraction int) float64 {
	n := len(row)
	e := make([]float64, n)
	for i, v := range row {
		e[i] = v - float64(words[i])/scale(fraction)
	}
	total := 0.0
	for i := range n {
		for j := range n {
			total += float64(float64(e[i]*e[j]) * c.moments.Covariance.At(i, j))
		}
	}
	return total
}

// meanRest returns what rounding takes from the result of a row on average.
func (c *compensator) meanRest(row []float64, words []int32, fraction int) float64 {
	rest := 0.0
	for i, v := range row {
		rest += float64((v - float64(words[i])/scale(fraction)) * c.moments.Mean[i])
	}
	return rest
}
