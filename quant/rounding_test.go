package quant

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// correlatedInputs are steps of inputs of which the second half nearly repeats
// the first, around a mean of their own.
func correlatedInputs(random *rand.Rand, n, steps int) ([][]float64, *Moments) {
	sum := newMomentSum(n)
	var all [][]float64
	for range steps {
		v := make([]float64, n)
		for i := range v {
			if i < n/2 {
				v[i] = random.NormFloat64()*(1+float64(i)) + 0.5
			} else {
				v[i] = v[i-n/2] + 0.1*random.NormFloat64()
			}
		}
		sum.add(v)
		all = append(all, v)
	}
	return all, sum.moments()
}

func TestMomentsAreMeanAndCovariance(t *testing.T) {
	sum := newMomentSum(2)
	other := newMomentSum(2)
	sum.add([]float64{1, 10})
	sum.add([]float64{3, 10})
	other.add([]float64{5, 16})
	sum.merge(other)
	m := sum.moments()
	// By hand: means 3 and 12; variances (4+0+4)/3 and (4+4+16)/3; covariance (4+0+8)/3.
	want := mat.NewSymDense(2, []float64{8.0 / 3, 4, 4, 8})
	if m.Mean[0] != 3 || m.Mean[1] != 12 || !mat.EqualApprox(m.Covariance, want, 1e-12) {
		t.Errorf("mean %v, covariance %v", m.Mean, mat.Formatted(m.Covariance))
	}
}

// On correlated inputs compensated rounding must do less damage to the result
// than rounding to nearest: here its root mean square is measured on the very
// inputs, over many rows.
func TestCompensatedRoundingDoesLessDamage(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 0))
	inputs, moments := correlatedInputs(random, 16, 400)
	for _, bits := range []int{4, 8} {
		w, b := make([]float64, 30*16), make([]float64, 30)
		for i := range w {
			w[i] = random.NormFloat64()
		}
		damage := func(c *compensator) float64 {
			m, err := quantizeMatrix(w, b, rowSpec{name: "w", rows: 30, cols: 16, wordBits: bits,
				in: 10, out: 8, compensate: c})
			if err != nil {
				t.Fatal(err)
			}
			total := 0.0
			for r := range 30 {
				for _, v := range inputs {
					e := -float64(m.Bias[r]) * math.Ldexp(1, -m.Fraction[r]-10)
					for c, x := range v {
						e += (w[r*16+c] - float64(m.W[r*16+c])*math.Ldexp(1, -m.Fraction[r])) * x
					}
					total += e * e
				}
			}
			return math.Sqrt(total / float64(30*len(inputs)))
		}
		nearest, compensated := damage(nil), damage(newCompensator(moments))
		t.Logf("int%d: rms of the result to nearest %.4g, compensated %.4g", bits, nearest,
			compensated)
		if compensated > 0.7*nearest {
			t.Errorf("int%d: compensated rounding leaves %.4g, to nearest %.4g", bits, compensated,
				nearest)
		}
	}
}

// With independent inputs there is nothing to push an error into: both ways of
// rounding give the same integers at the same scale.
func TestIndependentInputsAreRoundedToNearest(t *testing.T) {
	n := 8
	m := &Moments{Mean: make([]float64, n), Covariance: mat.NewSymDense(n, nil)}
	for i := range n {
		m.Covariance.SetSym(i, i, float64(i+1))
	}
	random := rand.New(rand.NewPCG(6, 0))
	row := make([]float64, n)
	for i := range row {
		row[i] = random.NormFloat64()
	}
	words := newCompensator(m).round(row, 5, 127)
	for i, v := range row {
		if want := int32(math.Round(v * 32)); words[i] != want {
			t.Errorf("weight %g becomes %d, want %d", v, words[i], want)
		}
	}
}

// Inputs that never change carry no information: rounding falls back to nearest.
func TestConstantInputsGiveNoCompensator(t *testing.T) {
	sum := newMomentSum(3)
	for range 10 {
		sum.add([]float64{1, 2, 3})
	}
	if c := newCompensator(sum.moments()); c != nil {
		t.Error("a compensator without variance")
	}
}

// The bound is proven for compensated rows as for any other, after the refit too.
func TestBoundHoldsWithEveryRounding(t *testing.T) {
	for seed := range uint64(20) {
		p := RandomFloat(seed, 11, 9, 3)
		net, err := Quantize(p, Calibrate(p, RandomRecordings(seed, p, 4, 100)),
			Widths(4, 8, 16, 16), Roundings[seed%uint64(len(Roundings))])
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range net.Matrices() {
			for r := range m.Rows {
				sum := int64(0)
				for _, w := range m.W[r*m.Cols : (r+1)*m.Cols] {
					if limit := int32(largestWord(m.WordBits)); w > limit || w < -limit {
						t.Fatalf("%s, row %d: weight %d leaves its word", m.Name, r, w)
					}
					sum += int64(max(w, -w))
				}
				if bound := sum*32768 + int64(max(m.Bias[r], -m.Bias[r])); bound > m.Bound[r] ||
					m.Bound[r] > AccumulatorLimit {
					t.Errorf("%s, row %d: bound %d, proven %d", m.Name, r, bound, m.Bound[r])
				}
			}
		}
	}
}
