package quant

import (
	"math"
	"math/rand/v2"
	"testing"

	"kerf/dataset"
	"kerf/model"
)

// oneFeature returns an integer network whose Encode is (physical - mean)/std with the given number
// of fraction bits; no other part of the network is used.
func oneFeature(mean, std float64, fraction int) *Network {
	return &Network{Features: []dataset.Feature{{Mean: mean, Std: std}}, Columns: []int{0},
		InputFraction: fraction}
}

func TestEncodeSaturatesRoundsAndReplacesNaN(t *testing.T) {
	// mean 0, std 1, no fraction bits: the integer is the physical value, rounded.
	net := oneFeature(0, 1, 0)
	for _, c := range []struct {
		physical  float64
		want      int32
		saturated int
	}{
		{0, 0, 0}, {0.25, 0, 0}, {0.5, 1, 0}, {-0.5, -1, 0}, {1.5, 2, 0}, {-1.5, -2, 0},
		{2.5, 3, 0}, {-2.5, -3, 0},
		{-0.25, 0, 0}, {32766.25, 32766, 0}, {32766.75, 32767, 0}, {-32767.25, -32767, 0},
		{-32767.75, -32768, 0},
		{32768, 32767, 1}, {1e9, 32767, 1}, {-32769, -32768, 1}, {-1e9, -32768, 1},
		{math.Inf(1), 32767, 1}, {math.Inf(-1), -32768, 1}, {1e300, 32767, 1}, {math.NaN(), 0, 0},
	} {
		x := []int32{99}
		saturated := net.Encode([]float64{c.physical}, x)
		if x[0] != c.want || saturated != c.saturated {
			t.Errorf("Encode(%g) = %d with %d saturated, want %d with %d", c.physical, x[0],
				saturated, c.want, c.saturated)
		}
	}
}

// Encode follows its definition in float64, over typical sensors. It works in float32, so beside
// half a step it may be wrong by the digits that float32 loses of the physical value.
func TestEncodeIsNormalisationToHalfAStep(t *testing.T) {
	random := rand.New(rand.NewPCG(17, 0))
	for range 20000 {
		mean, std := 20*random.NormFloat64(), 0.1+5*random.Float64()
		fraction := 8 + random.IntN(7)
		physical := mean + std*random.NormFloat64()
		want := (physical - mean) / std * math.Ldexp(1, fraction)
		x := []int32{0}
		saturated := oneFeature(mean, std, fraction).Encode([]float64{physical}, x)
		if math.Abs(want) > maxInt16 {
			continue
		}
		// float32 keeps 24 bits: half of the last place is 2^-24 of a value.
		lost := (math.Abs(physical) + math.Abs(mean)) / std * math.Ldexp(1, fraction-24)
		lost += 3 * math.Abs(want) * math.Ldexp(1, -24) // factor, product, and the sum with 0.5
		if off := math.Abs(float64(x[0]) - want); off > 0.5+lost+math.Ldexp(1, -24) ||
			saturated != 0 {
			t.Fatalf("mean %g, std %g, %d fraction bits: Encode(%g) = %d (%d saturated), want "+
				"%g to 0.5 + %.2g", mean, std, fraction, physical, x[0], saturated, want, lost)
		}
	}
}

// Encode reads the columns that were kept, each with its own constants.
func TestEncodeReadsKeptColumns(t *testing.T) {
	net := &Network{Features: []dataset.Feature{{Mean: 10, Std: 2}, {Mean: -1, Std: 0.5}},
		Columns: []int{3, 1}, InputFraction: 4}
	x := make([]int32, 2)
	net.Encode([]float64{1000, -2, 1000, 13, 1000}, x)
	// (13 - 10)/2·16 = 24 and (-2 + 1)/0.5·16 = -32
	if x[0] != 24 || x[1] != -32 {
		t.Errorf("Encode = %v, want [24 -32]", x)
	}
}

// int16Agreement is how far the int16 network, with either state, may be from the
// float network, in standard deviations of an output. The heads of these seeds
// swing over ±10 of them; the worst difference seen is 0.011, rounded up.
const int16Agreement = 0.012

func TestInt16NetworkAgreesWithFloat(t *testing.T) {
	worst := 0.0
	for seed := range uint64(10) {
		p := RandomFloat(seed, 8, 12, 2)
		rec := RandomRecordings(seed, p, 1, 200)
		s := rec.Sequences[0]
		want, got := make([]float64, 400), make([]float64, 400)
		p.Predict(s, want)
		for _, stateBits := range []int{16, 32} {
			net := mustQuantize(t, p, Calibrate(p, rec), Widths(16, 16, 16, stateBits))
			net.Predict(s, got)
			for i := range want {
				off := math.Abs(got[i]-want[i]) / p.Outputs[i%2].Std
				worst = math.Max(worst, off)
				if off > int16Agreement {
					t.Fatalf("seed %d, int%d state, step %d, output %d: fixed %g, float %g, off "+
						"by %.2g std", seed, stateBits, i/2, i%2, got[i], want[i], off)
				}
			}
		}
	}
	t.Logf("worst difference %.2g std", worst)
}

// An output is its integer divided by 2^OutputFraction, in the physical unit.
func TestDecodeUsesTheFractionOfEveryOutput(t *testing.T) {
	net := &Network{Dense: []*DenseLayer{{Last: true, Out: []int{12, 22}}}}
	if net.OutputFraction(0) != 12 || net.OutputFraction(1) != 22 {
		t.Fatalf("output fractions %d and %d, want 12 and 22", net.OutputFraction(0),
			net.OutputFraction(1))
	}
	physical := make([]float64, 2)
	net.Decode([]int32{-6144, math.MaxInt32}, physical)
	if physical[0] != -1.5 || physical[1] != float64(math.MaxInt32)/4194304 {
		t.Errorf("Decode = %v, want [-1.5 %g]", physical, float64(math.MaxInt32)/4194304)
	}
}

// A head with an activation adds the mean of its output behind it, to the nearest step; one with
// the table also scales so.
func TestOffsetOfAHeadIsTheNearestStep(t *testing.T) {
	for seed := range uint64(40) {
		p := RandomFloat(seed, 3, 4, 2)
		p.Net.Dense[0].Activation = []model.Activation{model.ReLU, model.Tanh}[seed%2]
		net := mustQuantize(t, p, Ranges(3, 4), Widths(8, 8, 8, 16))
		for o, out := range p.Outputs {
			want := out.Mean * math.Ldexp(1, net.OutputFraction(o))
			if off := math.Abs(float64(net.head().Offset[o]) - want); off > 0.5 {
				t.Errorf("seed %d, output %d: the offset %d is %.3f steps from %g", seed, o,
					net.head().Offset[o], off, want)
			}
			if !net.head().UsesTable() {
				continue
			}
			want = out.Std * math.Ldexp(1, net.OutputFraction(o)-stateFraction)
			if off := math.Abs(float64(net.head().Scale[o]) - want); off > 0.5 {
				t.Errorf("seed %d, output %d: the scale %d is %.3f steps from %g", seed, o,
					net.head().Scale[o], off, want)
			}
		}
	}
}
