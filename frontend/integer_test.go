package frontend

import (
	"math"
	"math/rand/v2"
	"testing"

	"kerf/dataset"
)

// tolerated returns by how much an integer feature may be off what exact arithmetic makes of the
// codes, in the unit of the channel; 0: it is not judged. Amplitudes and levels within a tenth of a
// code up to 12 bits and 10 parts in a million of the range beyond, angles within 2e-3 rad and
// distortions within 0.1 points, where the lines have 8 codes or more.
func tolerated(d Definition, c Converter, samples int, amplitude func(k int) float64) float64 {
	code := c.Step()
	level := 0.1 * code
	if c.Bits > 12 {
		level = 1e-5 * (c.High - c.Low)
	}
	switch d.Kind {
	case Phase:
		if amplitude(d.Order) < 8*code {
			return 0
		}
		return 2e-3
	case Distortion:
		if amplitude(1) < 8*code {
			return 0
		}
		return 0.1
	case Trend:
		return level * 6400 / float64(samples)
	}
	return level
}

// Where distortions are told and not judged.
const (
	faintLine = iota
	largeRatio
)

// told is how far a distortion is off that is not judged.
type told struct {
	apart, value float64 // in points
	codes        float64 // of amplitude(1)
	shape        string
}

// What integers make of codes, against numpy in double precision on the same codes: 18 signals of
// 18 shapes (testdata/vectors.npz).
func TestIntegerFeaturesOfOneWindow(t *testing.T) {
	read := vectors(t)
	judged := 0
	worst := map[Kind]float64{}
	angles, squares := 0, 0.0
	var others [2]int // distortions that are not judged
	var worstOther [2]told
	for _, s := range shapes {
		at := s.String() + "/"
		limits, partner := read(at+"converter"), partnersOf(t, at+"partner")
		want, codes := read(at+"features_of_codes"), codesOf(t, at+"codes")
		converter := Converter{limits.Data[0], limits.Data[1], s.bits}
		f, index := frontEndOf(t, s, converter)
		window := func(i int) []uint16 { return codes[i*s.samples : (i+1)*s.samples] }
		for i := range partner {
			value := func(column int) float64 { return want.Data[i*len(vectorKinds)+column] }
			amplitude := func(k int) float64 { return value(6 + k) }
			other := want.Data[partner[i]*len(vectorKinds)+7]
			var encodings []Encoding
			var may []float64
			for k := range f.Features {
				d := f.Features[k].Definition
				tolerance := tolerated(d, converter, s.samples, amplitude)
				if d.Other != "" && other < 8*converter.Step() {
					tolerance = 0
				}
				if d.Kind == Distortion && value(index[k]) >= 250 {
					tolerance = 0
				}
				may = append(may, tolerance)
				// so that x resolves a hundredth of what is tolerated
				std := 10 * tolerance
				if tolerance == 0 {
					std = 4 // of a distortion that is told and not judged
				}
				e := Encoding{value(index[k]), std, 10}
				if d.Kind == Phase { // which may come out a whole turn away
					e = Encoding{0, math.Pi / 30, 10}
				}
				encodings = append(encodings, e)
			}
			n := NewInteger(f, encodings)
			x := n.Encode([][]uint16{window(i), window(partner[i])}, 1)[0]
			for k := range f.Features {
				d := f.Features[k].Definition
				if may[k] == 0 && d.Kind != Distortion {
					continue
				}
				apart := encodings[k].Mean + float64(x[k])/1024*encodings[k].Std - value(index[k])
				if d.Kind == Phase {
					apart = WrapAngle(apart)
				}
				apart = math.Abs(apart)
				if may[k] == 0 {
					at := faintLine
					if amplitude(1) >= 8*converter.Step() {
						at = largeRatio
					}
					if others[at]++; apart > worstOther[at].apart {
						worstOther[at] = told{apart, value(index[k]),
							amplitude(1) / converter.Step(), s.String()}
					}
					continue
				}
				judged++
				if d.Kind == Phase {
					angles++
					squares += apart * apart
				}
				worst[d.Kind] = max(worst[d.Kind], apart/may[k])
				if apart > may[k] {
					t.Errorf("%s, signal %d, %s: off by %.3g, %.2f times what may be (%v)", s, i,
						d, apart, apart/may[k], value(index[k]))
				}
			}
		}
	}
	rms := math.Sqrt(squares / float64(angles))
	t.Logf("%d figures; the largest errors as shares of what may be: %v; angles %.2g rad RMS",
		judged, worst, rms)
	for at, name := range []string{"amplitude(1) below 8 codes", "250 % or more"} {
		w := worstOther[at]
		t.Logf("%d distortions with %s: the worst is off by %.3g points of %.5g (%s, amplitude(1) "+
			"%.3g codes)", others[at], name, w.apart, w.value, w.shape, w.codes)
	}
	if judged < 5000 || rms > 2e-4 {
		t.Errorf("%d figures were judged, angles are off by %g rad RMS", judged, rms)
	}
}

// Sums stay within their words whatever the codes are: the bound of every shape is that of codes at
// the ends with the signs of the table, and no random codes come near it from above.
func TestSumsAreBounded(t *testing.T) {
	random := rand.New(rand.NewPCG(18, 3))
	for _, s := range shapes {
		c := Channel{Converter: Converter{0, 1, s.bits}, Cycles: s.cycles}
		var lines []int
		for k := 1; 2*k*s.cycles < s.samples; k++ {
			lines = append(lines, k)
		}
		f := newFold(s.samples, &c)
		bound := f.bound(s.bits, len(lines))
		if !f.Wide && bound > math.MaxInt32 {
			t.Errorf("%s: sums of 32 bits may reach %d", s, bound)
		}
		sums := make([]int32, f.Length)
		most := int64(0)
		for _, k := range lines {
			for range 100 {
				for i := range sums {
					end := int32(f.Each) << (s.bits - 1)
					if sums[i] = end; random.IntN(2) == 0 {
						sums[i] = -end
					}
				}
				re, im := f.line(sums, k)
				most = max(most, re, -re, im, -im)
			}
			// the signs of the cosine
			at := 0
			for i := range sums {
				sums[i] = int32(f.Each) << (s.bits - 1)
				if f.Cos[at] < 0 {
					sums[i] = -sums[i]
				}
				at = (at + f.Stride*k) % f.Length
			}
			re, _ := f.line(sums, k)
			most = max(most, re)
		}
		if most > bound {
			t.Errorf("%s: a sum of %d is above the bound %d", s, most, bound)
		}
	}
}

// Features that look back, in integers against double precision from the same codes
// (testdata/vectors.npz, sequence1 to 3): slope, and relative to a number and to the mean so far.
func TestIntegerFeaturesOfASequence(t *testing.T) {
	read := vectors(t)
	for _, name := range []string{"sequence1/", "sequence2/", "sequence3/"} {
		setting, limits := read(name+"setting").Data, read(name+"converter").Data
		want := read(name + "features_of_codes").Data
		codes := codesOf(t, name+"codes")
		samples := int(setting[0])
		steps := len(codes) / 2 / samples
		converter := Converter{limits[0], limits[1], int(limits[2])}
		channel := Channel{Converter: converter, Cycles: int(setting[1]), Floor: converter.Step()}
		number, mean := channel, channel
		number.Baseline.Value, mean.Baseline.Seconds = setting[4], setting[3]
		f := &FrontEnd{Sampling: dataset.Sampling{Samples: samples, Rate: 6400, Period: setting[2]},
			Channels: []Channel{number, mean, channel}}
		for k, d := range []Definition{{Kind: Level}, {Kind: Slope}, {Kind: Relative},
			{Kind: Relative}, {}, {Kind: Phase, Order: 1, Other: "other"}} {
			if d.Kind == "" {
				continue // the mean of a whole stretch, which no device can know
			}
			feature := Feature{Definition: d, Scale: 1, Other: 2}
			if k == 3 {
				feature.Channel = 1
			}
			f.Features = []Feature{feature}
			code := converter.Step()
			may := map[Kind]float64{Level: 0.1 * code, Slope: 0.2 * code / setting[2],
				Relative: 1e-4, Phase: 2e-3}[d.Kind]
			own, other := codes[:steps*samples], codes[steps*samples:]
			var values []float64
			for step := range steps {
				values = append(values, want[step*6+k])
			}
			average, std := meanAndRange(values)
			n := NewInteger(f, []Encoding{{average, std, 10}})
			resolved := std / 1024
			for step, x := range n.Encode([][]uint16{own, own, other}, steps) {
				got := average + float64(x[0])/1024*std
				if math.Abs(got-values[step]) > may+resolved {
					t.Errorf("%s step %d, %s: %v, want %v", name, step, d, got, values[step])
				}
			}
		}
	}
}

// An angle that is wrapped after a scale and an offset is that of double precision, whatever the
// sign of the scale.
func TestWrappedAnglesInIntegers(t *testing.T) {
	converter := Converter{Low: 0, High: 4095, Bits: 12}
	for _, scale := range []float64{1, -1, 180 / math.Pi, -180 / math.Pi} {
		for _, offset := range []float64{0, 0.08, -0.3, 0.5} {
			feature := Feature{Definition: Definition{Kind: Phase, Order: 1}, Scale: scale,
				Offset: 2 * math.Pi * math.Abs(scale) * offset, Wrap: true}
			f := &FrontEnd{Sampling: dataset.Sampling{Samples: 64, Rate: 6400, Period: 0.1},
				Channels: []Channel{{Converter: converter, Cycles: 4, Floor: 1}},
				Features: []Feature{feature}}
			n := NewInteger(f, []Encoding{{0, math.Abs(scale), 12}})
			for k := range 12 {
				x, codes := make([]float64, 64), make([]uint16, 64)
				for i := range x {
					angle := math.Pi/8*float64(i) + 0.1 + 2*math.Pi*float64(k)/12
					codes[i] = converter.Code(2000 + float64(1500*math.Cos(angle)))
					x[i] = converter.Value(codes[i])
				}
				want := f.Compute(&feature, f.Analyses(&dataset.Samples{T: []float64{0},
					X: [][]float64{x}}))[0] / scale
				got := float64(n.Encode([][]uint16{codes}, 1)[0][0]) / 4096 * math.Abs(scale) /
					scale
				if math.Abs(WrapAngle(got-want)) > 1e-3 {
					t.Errorf("scale %g, offset of %g turns: %g, want %g", scale, offset, got, want)
				}
			}
		}
	}
}

// meanAndRange returns the mean of values, and a 16th of their range, or 1.
func meanAndRange(values []float64) (mean, part float64) {
	low, high := values[0], values[0]
	for _, v := range values {
		mean += v / float64(len(values))
		low, high = min(low, v), max(high, v)
	}
	if high == low {
		return mean, 1
	}
	return mean, (high - low) / 16
}

// The integers of a feature are the same with and without the other features, so a cut changes
// none. On every shape the front end of all features is held against that of each feature alone.
func TestIntegersOfAFeatureAloneAreTheSame(t *testing.T) {
	random := rand.New(rand.NewPCG(18, 7))
	const steps = 20
	for _, s := range shapes {
		f, _ := frontEndOf(t, s, Converter{-1, 4, s.bits})
		codes := make([][]uint16, len(f.Channels))
		for c := range codes {
			for range steps * s.samples {
				codes[c] = append(codes[c], uint16(random.IntN(1<<s.bits)))
			}
		}
		one := make([]Encoding, len(f.Features))
		for i := range one {
			one[i].Std = 1
		}
		together := NewInteger(f, one).Numbers(codes, steps)
		for i := range f.Features {
			sole := *f
			sole.Features = f.Features[i : i+1]
			for step, v := range NewInteger(&sole, one[:1]).Numbers(codes, steps) {
				if want := together[step*len(f.Features)+i]; v != want {
					t.Fatalf("%s: %s at step %d is %d alone, and %d beside the others", s,
						f.Features[i].Definition, step, v, want)
				}
			}
		}
	}
}

// A table is symmetric after rounding, as the C needs it that adds and subtracts sums whose factors
// differ in their sign alone: all lengths of folds up to 512, with the scales of all converters.
func TestTablesOfFoldsAreSymmetric(t *testing.T) {
	for length := 3; length <= 512; length++ {
		for _, bits := range []int{8, 10, 12, 14, 16} {
			c := &Channel{Cycles: 1, Converter: Converter{High: 1, Bits: bits}}
			f := newFold(length, c)
			for j := 1; j < length; j++ {
				mirrored := f.Cos[j] == f.Cos[length-j] && f.Sin[j] == -f.Sin[length-j]
				if half := (j + length/2) % length; length%2 == 0 {
					mirrored = mirrored && f.Cos[j] == -f.Cos[half] && f.Sin[j] == -f.Sin[half]
				}
				if quarter := (j + length/4) % length; length%4 == 0 {
					mirrored = mirrored && f.Cos[j] == f.Sin[quarter]
				}
				if !mirrored {
					t.Fatalf("length %d, scale %d: place %d has cosine %d and sine %d", length,
						f.Scale, j, f.Cos[j], f.Sin[j])
				}
			}
		}
	}
}
