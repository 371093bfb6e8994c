package portable

import (
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"math"
	"math/big"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

const bits = 200

func exact(v float64) *big.Float { return new(big.Float).SetPrec(bits).SetFloat64(v) }

func quotient(a, b *big.Float) *big.Float { return new(big.Float).SetPrec(bits).Quo(a, b) }

// bigExp returns e^x with some 180 bits: the series of x/2^12, squared twelve times.
func bigExp(x float64) *big.Float {
	small := new(big.Float).SetPrec(bits).SetMantExp(exact(x), -12)
	sum, term := exact(1), exact(1)
	for i := 1; i < 60; i++ {
		term.Mul(term, small)
		term.Quo(term, exact(float64(i)))
		sum.Add(sum, term)
	}
	for range 12 {
		sum.Mul(sum, sum)
	}
	return sum
}

func bigTanh(x float64) *big.Float {
	e := bigExp(2 * x)
	return quotient(new(big.Float).SetPrec(bits).Sub(e, exact(1)),
		new(big.Float).SetPrec(bits).Add(e, exact(1)))
}

func bigLogistic(x float64) *big.Float {
	return quotient(exact(1), new(big.Float).SetPrec(bits).Add(exact(1), bigExp(-x)))
}

func nearest(v *big.Float) float64 {
	f, _ := v.Float64()
	return f
}

// lastPlaces returns the distance of got from want in units in the last place of got.
func lastPlaces(got float64, want *big.Float) float64 {
	distance, _ := new(big.Float).SetPrec(bits).Sub(exact(got), want).Float64()
	unit := math.Nextafter(math.Abs(got), math.Inf(1)) - math.Abs(got)
	return math.Abs(distance) / unit
}

// The stated errors, against exact arithmetic (series in package big), and the
// distance from package math.
func TestErrors(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	draw := func(i int) float64 { // all sizes
		if i%2 == 0 {
			return 24 * (random.Float64() - 0.5)
		}
		return math.Ldexp(random.Float64()-0.5, random.IntN(36)-30)
	}
	for _, f := range []struct {
		name          string
		own, standard func(float64) float64
		exact         func(float64) *big.Float
		limit         float64
	}{
		{"exp", Exp, math.Exp, bigExp, 1},
		{"tanh", Tanh, math.Tanh, bigTanh, 4},
		{"logistic", Logistic, func(x float64) float64 {
			return 1 / (1 + math.Exp(-x))
		}, bigLogistic, 3},
	} {
		name := f.name
		worst, apart := 0.0, 0.0
		for i := range 10000 {
			x := draw(i)
			got := f.own(x)
			if e := lastPlaces(got, f.exact(x)); e > worst {
				worst = e
				if e > f.limit {
					t.Errorf("%s(%v) = %v is off by %.2f units in the last place", name, x, got, e)
				}
			}
			apart = math.Max(apart, math.Abs(got-f.standard(x))/math.Abs(got))
		}
		t.Logf("%s: at most %.2f units in the last place; from package math %.1e, relative", name,
			worst, apart)
		if apart > 2e-15 {
			t.Errorf("%s: %g from package math, relative", name, apart)
		}
	}
	// log is compared through exp: |log(x)| times the distance of exp(log(x)) from x.
	worst := 0.0
	for i := range 10000 {
		x := math.Ldexp(0.5+random.Float64(), random.IntN(200)-100)
		if i%3 == 0 {
			x = 1 + (random.Float64()-0.5)/8
		}
		got := Log(x)
		rest, _ := new(big.Float).SetPrec(bits).Sub(quotient(exact(x), bigExp(got)),
			exact(1)).Float64()
		unit := math.Nextafter(math.Abs(got), math.Inf(1)) - math.Abs(got)
		worst = math.Max(worst, math.Abs(rest)/unit)
	}
	t.Logf("log: at most %.2f units in the last place", worst)
	if worst > 2 {
		t.Errorf("log is off by %.2f units in the last place", worst)
	}
	for i := range 1000 {
		x := math.Pi * float64(i) / 999
		if e := math.Abs(Cos(x) - math.Cos(x)); e > 0x1p-50 {
			t.Errorf("cos(%v) is off by %g", x, e)
		}
		if p := Power(0.999, i); math.Abs(p/math.Pow(0.999, float64(i))-1) > 1e-13 {
			t.Errorf("0.999^%d = %v", i, p)
		}
	}
}

func TestEnds(t *testing.T) {
	inf, nan := math.Inf(1), math.NaN()
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"exp(0)", Exp(0), 1}, {"exp(-inf)", Exp(-inf), 0}, {"exp(inf)", Exp(inf), inf},
		{"exp(nan)", Exp(nan), nan},
		{"exp(1000)", Exp(1000), inf}, {"exp(709.7)", Exp(709.7), nearest(bigExp(709.7))},
		{"exp(-1000)", Exp(-1000), 0},
		{"tanh(0)", Tanh(0), 0}, {"tanh(inf)", Tanh(inf), 1}, {"tanh(-inf)", Tanh(-inf), -1},
		{"tanh(nan)", Tanh(nan), nan}, {"tanh(1e-300)", Tanh(1e-300), 1e-300},
		{"logistic(0)", Logistic(0), 0.5}, {"logistic(inf)", Logistic(inf), 1},
		{"logistic(-inf)", Logistic(-inf), 0},
		{"log(1)", Log(1), 0}, {"log(0)", Log(0), -inf}, {"log(-1)", Log(-1), nan},
		{"log(inf)", Log(inf), inf},
	} {
		if math.Float64bits(c.got) != math.Float64bits(c.want) &&
			!(math.IsNaN(c.got) && math.IsNaN(c.want)) && math.Abs(c.got/c.want-1) > 1e-13 {
			t.Errorf("%s = %v, want %v", c.name, c.got, c.want)
		}
	}
	if s := Exp(-744); !(s > 0 && s < 1e-322) {
		t.Errorf("exp(-744) = %v is no denormal number", s)
	}
	for x := 0.0; x < 30; x += 0.0173 {
		if Tanh(-x) != -Tanh(x) {
			t.Errorf("tanh is not odd at %v", x)
		}
	}
}

func TestLogistic(t *testing.T) {
	// s(ln 3) = 3/4 and s(-ln 3) = 1/4 by the definition 1/(1+exp(-x)).
	for _, c := range []struct{ x, want, tolerance float64 }{
		{0, 0.5, 0}, {math.Log(3), 0.75, 1e-15}, {-math.Log(3), 0.25, 1e-15},
		{1e300, 1, 0}, {-1e300, 0, 0}, {math.Inf(1), 1, 0}, {math.Inf(-1), 0, 0},
	} {
		if got := Logistic(c.x); !(math.Abs(got-c.want) <= c.tolerance) {
			t.Errorf("Logistic(%v) = %v, want %v", c.x, got, c.want)
		}
	}
	// Far below zero the function is exp(x) to full precision, although 1+exp(-x) has overflowed at
	// -710.
	for _, x := range []float64{-40, -300, -700, -720} {
		if got, want := Logistic(x), math.Exp(x); math.Abs(got/want-1) > 1e-12 {
			t.Errorf("Logistic(%v) = %v, want %v", x, got, want)
		}
	}
}

// The bits themselves, over a grid. The digest was made on amd64 and is the same
// wherever this test passes: make emulate runs it for arm64 and 386.
func TestBitsAreTheSameEverywhere(t *testing.T) {
	hash := sha256.New()
	add := func(values ...float64) { binary.Write(hash, binary.LittleEndian, values) }
	random := rand.New(rand.NewPCG(3, 4))
	for x := -40.0; x < 40; x += 0.00317 {
		add(Exp(x), Tanh(x), Logistic(x), Log(math.Abs(x)), Cos(x/13))
	}
	for n := 1; n < 40; n++ {
		a := randomDefinite(random, n)
		f, ok := Cholesky(a)
		if !ok {
			t.Fatal("not positive definite")
		}
		add(f.l...)
		add(f.Inverse().v...)
		values := make([]float64, 3*n)
		for i := range values {
			values[i] = random.Float64() - 0.5
		}
		mean, std := MeanStd(values)
		add(mean, std, Correlation(values[:n], values[n:2*n]))
	}
	for range 10000 {
		add(Normal(random))
	}
	const want = "0a6290cf382a02e916f62d3b46261e395274f352a2b3d8258338b9b1a2971744"
	if got := fmt.Sprintf("%x", hash.Sum(nil)); got != want {
		t.Errorf("the digest is %s, want %s", got, want)
	}
}

// The largest distance of the distribution of draws from the normal one, as package distuv of gonum
// has it (Kolmogorov and Smirnov), stays below the value that one in a thousand sets exceeds,
// 1.95/√n (Smirnov, Table for Estimating the Goodness of Fit of Empirical Distributions, 1948); the
// seed is fixed.
func TestNormalIsNormal(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 6))
	draws := make([]float64, 100000)
	for i := range draws {
		draws[i] = Normal(random)
	}
	slices.Sort(draws)
	n := float64(len(draws))
	apart := 0.0
	for i, v := range draws {
		p := distuv.UnitNormal.CDF(v)
		apart = max(apart, p-float64(i)/n, float64(i+1)/n-p)
	}
	t.Logf("apart %.5f, from %.2f to %.2f", apart, draws[0], draws[len(draws)-1])
	if apart > 1.95/math.Sqrt(n) {
		t.Errorf("%d draws are %g apart from the normal distribution", len(draws), apart)
	}
}

// randomDefinite returns B Bᵀ + I/10 for a random B, which is positive definite.
func randomDefinite(random *rand.Rand, n int) *Square {
	b, a := make([]float64, n*n), &Square{n, make([]float64, n*n)}
	for i := range b {
		b[i] = random.Float64() - 0.5
	}
	for i := range n {
		for j := range n {
			a.v[i*n+j] = Dot(b[i*n:(i+1)*n], b[j*n:(j+1)*n])
		}
		a.v[i*n+i] += 0.1
	}
	return a
}

// Outside check: gonum's factorisation, inverse and solution.
func TestCholeskyAgreesWithGonum(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 6))
	for n := 1; n < 60; n += 7 {
		a := randomDefinite(random, n)
		f, ok := Cholesky(a)
		var theirs mat.Cholesky
		if !ok || !theirs.Factorize(mat.NewSymDense(n, append([]float64{}, a.v...))) {
			t.Fatal("not positive definite")
		}
		var inverse mat.SymDense
		if err := theirs.InverseTo(&inverse); err != nil {
			t.Fatal(err)
		}
		var upper mat.TriDense
		theirs.UTo(&upper)
		b := make([]float64, n)
		for i := range b {
			b[i] = random.Float64()
		}
		var x mat.VecDense
		if err := theirs.SolveVecTo(&x, mat.NewVecDense(n, append([]float64{}, b...))); err != nil {
			t.Fatal(err)
		}
		f.Solve(b)
		for i := range n {
			if math.Abs(b[i]-x.AtVec(i)) > 1e-10*(1+math.Abs(b[i])) {
				t.Errorf("n %d: solution %d is %v, gonum has %v", n, i, b[i], x.AtVec(i))
			}
			for j := i; j < n; j++ {
				if math.Abs(f.Upper().At(i, j)-upper.At(i, j)) > 1e-12 ||
					math.Abs(f.Inverse().At(i, j)-inverse.At(i, j)) >
						1e-10*(1+math.Abs(inverse.At(i, j))) {
					t.Errorf("n %d: factor or inverse differs at %d, %d", n, i, j)
				}
			}
		}
	}
	if _, ok := Cholesky(&Square{2, []float64{1, 2, 2, 1}}); ok {
		t.Error("a matrix with a negative eigenvalue was factorised")
	}
}

// Outside check: gonum's statistics.
func TestStatisticsAgreeWithGonum(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 8))
	for n := 2; n < 200; n += 11 {
		x, y := make([]float64, n), make([]float64, n)
		for i := range x {
			x[i], y[i] = float64(i)+random.Float64(), random.Float64()
		}
		mean, std := MeanStd(x)
		wantMean, wantStd := stat.PopMeanStdDev(x, nil)
		for name, pair := range map[string][2]float64{
			"mean": {mean, wantMean}, "standard deviation": {std, wantStd},
			"correlation": {Correlation(x, y), stat.Correlation(x, y, nil)},
			"2.5 %":       {Quantile(0.025, x), stat.Quantile(0.025, stat.LinInterp, x, nil)},
			"97.5 %":      {Quantile(0.975, x), stat.Quantile(0.975, stat.LinInterp, x, nil)},
		} {
			if math.Abs(pair[0]-pair[1]) > 1e-12*(1+math.Abs(pair[1])) {
				t.Errorf("n %d: %s is %v, gonum has %v", n, name, pair[0], pair[1])
			}
		}
	}
}

func BenchmarkTanh(b *testing.B)       { benchmark(b, Tanh) }
func BenchmarkTanhOfMath(b *testing.B) { benchmark(b, math.Tanh) }
func BenchmarkExp(b *testing.B)        { benchmark(b, Exp) }
func BenchmarkExpOfMath(b *testing.B)  { benchmark(b, math.Exp) }
func benchmark(b *testing.B, f func(float64) float64) {
	x, sum := 0.0, 0.0
	for b.Loop() {
		sum += f(x)
		if x += 0.37; x > 4 {
			x = -4
		}
	}
	if sum == 1 {
		b.Log(sum)
	}
}
