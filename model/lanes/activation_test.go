package lanes

import (
	"math"
	"testing"
)

// TestActivationError bounds the activations against double precision. Every 509th float32 between
// 2^-20 and 128 is tried, and its negative.
func TestActivationError(t *testing.T) {
	const bound = 1.5e-7 // 2.5 · 2^-24, 2^-24 being half the last place of a float32 just below 1
	worstTanh, worstLogistic := 0.0, 0.0
	for bits := math.Float32bits(1.0 / (1 << 20)); bits <= math.Float32bits(128); bits += 509 {
		for _, x := range []float32{math.Float32frombits(bits), -math.Float32frombits(bits)} {
			worstTanh = math.Max(worstTanh, math.Abs(float64(tanh(x))-math.Tanh(float64(x))))
			worstLogistic = math.Max(worstLogistic,
				math.Abs(float64(logistic(x))-1/(1+math.Exp(-float64(x)))))
		}
	}
	t.Logf("largest error: tanh %.3g, logistic %.3g", worstTanh, worstLogistic)
	if worstTanh > bound || worstLogistic > bound {
		t.Errorf("largest error: tanh %.3g, logistic %.3g; the bound is %.3g", worstTanh,
			worstLogistic, bound)
	}
}

func TestActivationsAtTheirEnds(t *testing.T) {
	inf := float32(math.Inf(1))
	if got := [...]float32{tanh(inf), tanh(-inf), tanh(0), logistic(inf), logistic(0)}; got !=
		[...]float32{1, -1, 0, 1, 0.5} {
		t.Errorf("got %v", got)
	}
	if low := logistic(-inf); low < 0 || low > 1e-37 {
		t.Errorf("logistic(-Inf) = %g", low)
	}
	nan := float32(math.NaN())
	if !math.IsNaN(float64(tanh(nan))) || !math.IsNaN(float64(logistic(nan))) {
		t.Error("NaN is lost")
	}
}
