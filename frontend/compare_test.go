package frontend

import (
	"math"
	"math/rand/v2"
	"testing"

	"kerf/dataset"
	"kerf/portable"
)

// wandering is a channel whose phase goes round, and whose level grows: forty windows of 16
// samples, the first one at a time.
func wandering(start float64) (*FrontEnd, *Stretch) {
	f := &FrontEnd{Sampling: dataset.Sampling{Samples: 16, Rate: 160, Period: 0.1},
		Channels: []Channel{{Cycles: 1, Floor: 0.01, Baseline: Baseline{Seconds: 0.2}}}}
	random := rand.New(rand.NewPCG(18, 4))
	s := &Stretch{Samples: &dataset.Samples{X: make([][]float64, 1)}}
	for step := range 40 {
		s.Samples.T = append(s.Samples.T, start+float64(step)*0.1)
		phase := 0.7*float64(step) + 0.3*random.Float64()
		for n := range 16 {
			s.Samples.X[0] = append(s.Samples.X[0], 10+float64(step)+
				math.Cos(2*math.Pi*float64(n)/16+phase))
		}
	}
	return f, s
}

// Angles from 0 to 360 degrees are those of a device but for whole turns, which a network knows
// from each other.
func TestWholeTurnsAreTold(t *testing.T) {
	f, s := wandering(0)
	f.Features = []Feature{{Definition: Definition{Kind: Phase, Order: 1}, Scale: 180 / math.Pi}}
	values := f.Compute(&f.Features[0], f.Analyses(s.Samples))
	s.Recorded = [][]float64{values}
	if d := f.Compare(&f.Features[0], 0, []*Stretch{s}); d.Turned != 0 || !d.IsWithin(100) {
		t.Errorf("as computed: %+v", d)
	}
	for i, v := range values {
		if v < 0 {
			values[i] += 360
		}
	}
	d := f.Compare(&f.Features[0], 0, []*Stretch{s})
	if d.Turned < 10 || d.RMS > 1e-9 || d.IsWithin(100) {
		t.Errorf("from 0 to 360: %+v", d)
	}
	r, found := f.Recognise(0, 100, []*Stretch{s})
	if !found || r.IsComputable() {
		t.Errorf("found %t: %s, %s", found, r.Line(), r.Why())
	}
}

// A baseline of two steps takes two steps, whenever its sequence begins: times are rounded.
func TestBaselinesCountSteps(t *testing.T) {
	for _, start := range []float64{0, 0.1, 0.3, 0.4, 1.1, 1.7, 5.1, 1e9} {
		f, s := wandering(start)
		f.Features = []Feature{{Definition: Definition{Kind: Relative}, Scale: 1}}
		values := f.Compute(&f.Features[0], f.Analyses(s.Samples))
		level := func(step int) float64 { return f.Analyses(s.Samples)[0][step].Level }
		base := (level(0) + level(1)) / 2
		if want := (level(9) - base) / base; math.Abs(values[9]-want) > 1e-12 {
			t.Errorf("from %g s on: %v, want %v", start, values[9], want)
		}
	}
}

// A feature of something that is always below the floor is not as recorded: nothing was compared.
func TestNothingComparedIsNotWithin(t *testing.T) {
	f, s := wandering(0)
	f.Channels[0].Floor = 5
	f.Features = []Feature{{Definition: Definition{Kind: Phase, Order: 1}, Scale: 1}}
	s.Recorded = [][]float64{make([]float64, 40)}
	if d := f.Compare(&f.Features[0], 0, []*Stretch{s}); d.Faint != 40 || d.IsWithin(1) {
		t.Errorf("%+v", d)
	}
}

// What no definition gives, one with the factor of another unit may.
func TestFactorsOfUnitsAreFound(t *testing.T) {
	for _, c := range []struct {
		d        Definition
		factor   float64
		recorded func(v float64) float64
		remark   string
	}{
		{Definition{Kind: Level}, 100, nil, "a factor of 100: the unit?"},
		{Definition{Kind: Level}, 0.1, nil, "a factor of 0.1: the unit?"},
		{Definition{Kind: Level}, 6.8947, nil, "a factor of 6.894757: the unit?"},
		{Definition{Kind: Ripple}, 3.3, nil, "a factor of 3.3: the unit?"},
		{Definition{Kind: Relative}, 1000, nil, "a factor of 1000: the unit?"},
		{Definition{Kind: Level}, -1, nil, ""}, // of these the definitions know
		{Definition{Kind: Relative}, 100, nil, ""},
		{Definition{Kind: Level}, 100, math.Sqrt, "not found"},
	} {
		f, s := wandering(0)
		for i := range s.Samples.X[0] { // so that the ripple is no constant
			s.Samples.X[0][i] *= 1 + float64(i)/640
		}
		f.Features = []Feature{{Definition: c.d, Scale: 1}}
		values := f.Compute(&f.Features[0], f.Analyses(s.Samples))
		for i := range values {
			if values[i] *= c.factor; c.recorded != nil {
				values[i] = c.recorded(values[i])
			}
		}
		s.Recorded = [][]float64{values}
		_, std := portable.MeanStd(values)
		r, found := f.Recognise(0, std, []*Stretch{s})
		if found != (c.remark != "not found") || found && (r.Remark() != c.remark ||
			r.Definition != c.d || math.Abs(r.Scale/c.factor-1) > 1e-4) {
			t.Errorf("%s times %g: found %v, %s, %s", c.d, c.factor, found, r.Line(), r.Remark())
		}
	}
}
