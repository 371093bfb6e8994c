package quant

import (
	"math"
	"testing"
)

// Compared with Go's math.Tanh over every int16 and every gate format in use.
// The bounds are the worst errors measured, rounded up in the last digit shown.
func TestTableAgainstMathTanh(t *testing.T) {
	for fraction := minGateFraction; fraction <= maxGateFraction; fraction++ {
		shift := uint8(fraction - tableBits)
		worstTanh, worstLogistic := 0.0, 0.0
		for v := int32(minInt16); v <= maxInt16; v++ {
			x := float64(v) / float64(int32(1)<<fraction)
			worstTanh = math.Max(worstTanh, math.Abs(float64(tanhQ15(v, shift))/32768-math.Tanh(x)))
			worstLogistic = math.Max(worstLogistic,
				math.Abs(float64(logisticQ16(v, shift))/65536-1/(1+math.Exp(-x))))
		}
		t.Logf("%d fraction bits: worst error tanh %.2e, logistic %.2e", fraction, worstTanh,
			worstLogistic)
		if worstTanh > WorstTanhError {
			t.Errorf("%d fraction bits: worst tanh error %g > %g", fraction, worstTanh,
				WorstTanhError)
		}
		if worstLogistic > WorstLogisticError {
			t.Errorf("%d fraction bits: worst logistic error %g > %g", fraction, worstLogistic,
				WorstLogisticError)
		}
	}
}

func TestTableShape(t *testing.T) {
	for shift := uint8(1); shift <= 8; shift++ {
		last := tanhQ15(minInt16, shift)
		for v := int32(minInt16); v <= maxInt16; v++ {
			got := tanhQ15(v, shift)
			if got < last {
				t.Fatalf("shift %d: tanh falls from %d to %d at %d", shift, last, got, v)
			}
			if got != -tanhQ15(-v, shift) {
				t.Fatalf("shift %d: tanh is not odd at %d", shift, v)
			}
			if got < -maxInt16 || got > maxInt16 {
				t.Fatalf("shift %d: tanh(%d) = %d leaves the range", shift, v, got)
			}
			last = got
		}
	}
}

// The 32-bit operations give the same as sums in 64 bits at the ends of the ranges that their
// comments allow.
func TestOperationsAtTheEndsOfTheirRange(t *testing.T) {
	values := []int64{-32767, -32766, -1, 0, 1, 2, 16384, 32766, 32767}
	gates := []int64{1, 2, 32767, 32768, 32769, 65534, 65535}
	floorShift := func(v int64, n uint) int64 { return (v + 1<<(n-1)) >> n }
	for _, g := range gates {
		for _, a := range append(values, -32768) {
			if got, want := int64(scaleQ16(int32(g), int32(a))), floorShift(g*a, 16); got != want {
				t.Errorf("scaleQ16(%d, %d) = %d, want %d", g, a, got, want)
			}
		}
		for _, a := range values {
			for _, b := range values {
				got, want := int64(blendQ15(int32(g), int32(a), int32(b))),
					floorShift(g*a+(65536-g)*b, 16)
				if got != want {
					t.Errorf("blendQ15(%d, %d, %d) = %d, want %d", g, a, b, got, want)
				}
			}
		}
		for _, b := range values {
			for _, old := range []int64{-1 << 30, -1<<30 + 1, -12345678, -1, 0, 1, 99999999,
				1<<30 - 1, 1 << 30} {
				got := int64(blendQ30(int32(g), int32(old), int32(b)))
				want := old + floorShift((b*32768-old)*(65536-g), 16)
				if got != want {
					t.Errorf("blendQ30(%d, %d, %d) = %d, want %d", g, old, b, got, want)
				}
				if got < -1<<30 || got > 1<<30 {
					t.Errorf("blendQ30(%d, %d, %d) = %d leaves the range of the state", g, old, b,
						got)
				}
			}
		}
	}
}

// The operations of the LSTM cell and the wide product, at the ends of their
// ranges, against the same sums in 64 bits.
func TestCellOperationsAtTheEndsOfTheirRange(t *testing.T) {
	floorShift := func(v int64, n uint8) int64 { return (v + int64(1)<<(n-1)) >> n }
	clamp := func(v, low, high int64) int64 { return max(low, min(high, v)) }
	gates := []int64{1, 2, 32768, 65534, 65535}
	news := []int64{-32767, -1, 0, 1, 32767}
	for _, keep := range gates {
		for _, v := range []int64{math.MinInt32 + 1, -1 << 30, -65537, -65536, -1, 0, 1, 65535,
			1 << 30, math.MaxInt32} {
			if got, want := int64(mulQ16(int32(v), int32(keep))),
				floorShift(v*keep, 16); got != want {
				t.Errorf("mulQ16(%d, %d) = %d, want %d", v, keep, got, want)
			}
		}
		for _, add := range gates {
			for _, fresh := range news {
				for shift := uint8(1); shift <= 14; shift++ {
					for _, old := range []int64{-32768, -1, 0, 1, 32767} {
						got := int64(cell16(int32(keep), int32(old), int32(add), int32(fresh),
							shift))
						want := clamp(floorShift(keep*old, 16)+floorShift(floorShift(add*fresh, 16),
							shift), -32768, 32767)
						if got != want {
							t.Errorf("cell16(%d, %d, %d, %d, %d) = %d, want %d", keep, old, add,
								fresh, shift, got, want)
						}
					}
				}
				for shift := uint8(1); shift <= 16; shift++ {
					for _, old := range []int64{-1 << 30, -1, 0, 1, 1 << 30} {
						got := int64(cell32(int32(keep), int32(old), int32(add), int32(fresh),
							shift))
						want := clamp(floorShift(keep*old, 16)+floorShift(add*fresh, shift), -1<<30,
							1<<30)
						if got != want {
							t.Errorf("cell32(%d, %d, %d, %d, %d) = %d, want %d", keep, old, add,
								fresh, shift, got, want)
						}
					}
				}
			}
		}
	}
}

// The 16-bit view of a 32-bit state rounds to nearest, halves upwards, and
// saturates at the end that 16 bits do not have.
func TestNarrowRoundsAndSaturates(t *testing.T) {
	for _, c := range []struct{ wide, want int32 }{
		{0, 0}, {16383, 0}, {16384, 1}, {-16384, 0}, {-16385, -1}, {3 << 15, 3}, {1<<30 - 1, 32767},
		{1 << 30, 32767}, {-1 << 30, -32768},
	} {
		if got := narrow(c.wide, 15); got != c.want {
			t.Errorf("narrow(%d, 15) = %d, want %d", c.wide, got, c.want)
		}
	}
}
