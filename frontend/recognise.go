package frontend

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// Reading is a way to compute a feature that a notebook may have used. What a device can compute is
// a [Feature] alone.
type Reading struct {
	Feature
	Later        int  // the window begins so many samples later; angles alone
	WholeStretch bool // the baseline is the mean level of its stretch from the start on
	Square       bool // the square of it is recorded

	// Factor is what a scale is multiplied by that no definition has, as those of other units do;
	// 0: none.
	Factor float64

	Changes    int // against what was declared
	Difference Difference
}

// IsComputable reports whether a device can compute the feature so.
func (r *Reading) IsComputable() bool { return r.Why() == "" }

// Recognise looks for a way to compute feature number at that gives what was recorded of stretches:
// other harmonics, signs, units, peak for root mean square, sine for cosine, a window that begins a
// sample or two later, a baseline over its whole stretch, power for amplitude. Where none of these
// fits, one that does with a factor is taken. ok reports whether there is one within [MostRMS] and
// [MostLargest] of the standard deviation; else the reading is the nearest one that was tried.
//
// Of readings that are about equally near the one with the fewest changes is taken: a feature of
// nearly pure sines has many that differ by rounding alone.
func (f *FrontEnd) Recognise(at int, std float64, stretches []*Stretch) (found Reading, ok bool) {
	far := func(r Reading) float64 { return r.Difference.RMS / r.Difference.Spread(std) }
	for _, s := range stretches {
		f.analyseAll(s)
	}
	var all []Reading
	nearest := math.Inf(1)
	for _, r := range f.readings(&f.Features[at]) {
		r.Difference = f.compareReading(&r, at, stretches)
		if r.Difference.Steps > 0 {
			all = append(all, r)
			nearest = min(nearest, far(r))
		}
	}
	if len(all) == 0 {
		return Reading{Feature: f.Features[at]}, false
	}
	const alike = 1.5 // our choice, see above
	all = slices.DeleteFunc(all, func(r Reading) bool { return far(r) > alike*nearest })
	found = slices.MinFunc(all, func(a, b Reading) int {
		return cmp.Or(cmp.Compare(a.Changes, b.Changes), cmp.Compare(far(a), far(b)))
	})
	d := found.Difference
	d.Turned = 0 // which [Reading.Why] tells
	if d.IsWithin(std) {
		return found, true
	}
	if scaled, ok := f.rescaled(at, std, stretches); ok {
		return scaled, true
	}
	return found, false
}

// rescaled looks for a reading that fits with a scale of its own: that of the fewest changes.
func (f *FrontEnd) rescaled(at int, std float64, stretches []*Stretch) (found Reading, ok bool) {
	if f.Features[at].Definition.Kind == Phase {
		return found, false // whose units are known
	}
	tried := map[Reading]bool{} // with the declared scale
	for _, r := range f.readings(&f.Features[at]) {
		r.Scale, r.Changes = f.Features[at].Scale, r.Changes+1
		same := r
		same.Changes = 0
		if tried[same] || ok && r.Changes >= found.Changes {
			continue
		}
		tried[same] = true
		fitted := f.factor(&r, at, stretches)
		for _, factor := range []float64{ofUnits(fitted), fitted} {
			r.Factor, r.Scale = factor, float64(f.Features[at].Scale*factor)
			r.Difference = f.compareReading(&r, at, stretches)
			if factor != 0 && r.Difference.IsWithin(std) {
				found, ok = r, true
				break
			}
		}
	}
	return found, ok
}

// factor returns what makes a reading fit best if its scale is multiplied by it: by least squares;
// 0 where nothing does.
func (f *FrontEnd) factor(r *Reading, at int, stretches []*Stretch) float64 {
	both, own := 0.0, 0.0
	for _, s := range stretches {
		values, faint := f.read(r, s), f.faint(&r.Feature, s)
		for step, v := range values {
			if v -= r.Offset; !faint[step] {
				both += float64(v * (s.Recorded[at][step] - r.Offset))
				own += float64(v * v)
			}
		}
	}
	if own == 0 {
		return 0
	}
	return both / own
}

// ofUnits returns the factor between two units that a fitted one is near to, or 0: a power of ten,
// or that with pounds-force per square inch on one side.
func ofUnits(fitted float64) float64 {
	const (
		most = 9 // digits between two prefixes of a unit
		near = 1e-3
		psi  = 6.894757 // kPa; NIST SP 811 (2008), appendix B.8
	)
	power := 1.0
	for range most {
		for _, factor := range []float64{power, 1 / power, power * psi, psi / power, power / psi,
			1 / psi / power} {
			if math.Abs(fitted-factor) <= near*factor {
				return factor
			}
		}
		power *= 10
	}
	return 0
}

// scaling is a unit that a notebook may have used, as a factor on a declared one.
type scaling struct {
	factor  float64
	changes int
}

// both returns factors with either sign.
func both(factors ...float64) []scaling {
	var all []scaling
	for i, factor := range factors {
		changes := min(1, i) // the first is the declared one
		all = append(all, scaling{factor, changes}, scaling{-factor, changes + 1})
	}
	return all
}

// readings lists ways to compute a feature.
func (f *FrontEnd) readings(declared *Feature) []Reading {
	base := Reading{Feature: *declared}
	switch declared.Definition.Kind {
	case Phase:
		return f.angleReadings(base)
	case Distortion:
		return f.scaled(f.ordered(base, 2), both(1, 0.01, 100))
	case Relative:
		whole := base
		whole.WholeStretch, whole.Changes = true, 1
		return f.scaled([]Reading{base, whole}, both(1, 100, 0.01))
	case Slope, Trend:
		return f.scaled(f.ofKinds(base, Slope, Trend),
			both(1, f.Sampling.Period, 1/f.Sampling.Rate, 60))
	case Level, Minimum, Maximum:
		return f.scaled(f.ofKinds(base, Level, Minimum, Maximum, RMS), both(1))
	}
	// what tells how much there is of a vibration
	sizes := f.ordered(base, 1)
	sizes = append(sizes, f.ofKinds(base, Ripple, RMS, Swing)...)
	for _, r := range slices.Clone(sizes) {
		r.Square = true
		r.Changes++
		sizes = append(sizes, r)
	}
	return f.scaled(sizes, both(1, 1/math.Sqrt2, math.Sqrt2, 2, 0.5))
}

// ofKinds returns a reading with each of some kinds, the declared one first.
func (f *FrontEnd) ofKinds(base Reading, kinds ...Kind) []Reading {
	var all []Reading
	if !base.Definition.Kind.hasOrder() {
		all = append(all, base)
	}
	for _, k := range kinds {
		if k == base.Definition.Kind {
			continue
		}
		r := base
		r.Definition = Definition{Kind: k}
		r.Changes++
		all = append(all, r)
	}
	return all
}

// ordered returns a reading with every harmonic that the window tells, from least on; of a feature
// without harmonics they are those of an amplitude.
func (f *FrontEnd) ordered(base Reading, least int) []Reading {
	var all []Reading
	kind := base.Definition.Kind
	if !kind.hasOrder() {
		kind = Amplitude
	}
	for k := least; k <= f.mostHarmonics(base.Channel); k++ {
		r := base
		if r.Definition = (Definition{Kind: kind, Order: k}); r.Definition != base.Definition {
			r.Changes++
		}
		all = append(all, r)
	}
	return all
}

// scaled returns readings in every unit.
func (f *FrontEnd) scaled(readings []Reading, by []scaling) []Reading {
	var all []Reading
	for _, r := range readings {
		for _, s := range by {
			next := r
			next.Scale *= s.factor
			next.Changes += s.changes
			all = append(all, next)
		}
	}
	return all
}

// lateSamples is how many samples a window may begin later or earlier (our choice).
const lateSamples = 2

// angleReadings are those of a phase: harmonic, sign, degrees, sine for cosine, another begin.
func (f *FrontEnd) angleReadings(base Reading) []Reading {
	var all []Reading
	for k := 1; k <= f.mostHarmonics(base.Channel); k++ {
		harmonic := base
		if harmonic.Definition.Order = k; k != base.Definition.Order {
			harmonic.Changes++
		}
		for _, s := range both(1, 180/math.Pi, math.Pi/180, 1/(2*math.Pi)) {
			for quarter, changes := range []int{0, 1, 2, 1} { // of a turn: two are sign and sine
				for later := -lateSamples; later <= lateSamples; later++ {
					r := harmonic
					r.Later = later
					// two samples are as odd as two changes; some are a quarter of a turn
					r.Changes += s.changes + changes + max(later, -later)
					angle := float64(math.Pi / 2 * float64(quarter))
					r.Scale *= s.factor
					// a sample more turns a line by its own part of a turn
					cycles := float64(f.Channels[r.Channel].Cycles * k * later)
					angle += float64(2*math.Pi*cycles) / float64(f.Sampling.Samples)
					r.Offset = float64(r.Offset*s.factor) + float64(r.Scale*angle)
					r.Wrap = r.Wrap || r.Offset != 0
					all = append(all, r)
				}
			}
		}
	}
	return all
}

// compareReading is [FrontEnd.Compare] for a reading.
func (f *FrontEnd) compareReading(r *Reading, at int, stretches []*Stretch) Difference {
	return f.compareBy(&r.Feature, at, stretches, func(s *Stretch) []float64 {
		return f.read(r, s)
	})
}

// read computes a reading.
func (f *FrontEnd) read(r *Reading, s *Stretch) []float64 {
	switch {
	case r.WholeStretch:
		return f.relativeToStretch(&r.Feature, s)
	case r.Square:
		plain := r.Feature
		plain.Scale, plain.Offset, plain.Wrap = 1, 0, false
		values := f.Compute(&plain, f.analysed(s))
		for i, v := range values {
			values[i] = r.recorded(float64(v * v))
		}
		return values
	}
	return f.Compute(&r.Feature, f.analysed(s))
}

// relativeToStretch computes a feature relative to the mean level of the whole stretch of its
// baseline, also before its end.
func (f *FrontEnd) relativeToStretch(feature *Feature, s *Stretch) []float64 {
	analyses := f.analysed(s)[feature.Channel]
	channel := f.Channels[feature.Channel]
	base := f.newBaseline(&channel)
	for step := range analyses {
		base.relative(step, analyses[step].Level)
	}
	channel.Baseline = Baseline{Value: base.value}
	fixed := f.newBaseline(&channel)
	values := make([]float64, len(analyses))
	for step := range analyses {
		values[step] = feature.recorded(fixed.relative(0, analyses[step].Level))
	}
	return values
}

// Remark asks about a factor; empty without one.
func (r *Reading) Remark() string {
	if r.Factor == 0 || r.Factor == 1 {
		return ""
	}
	return fmt.Sprintf("a factor of %s: the unit?", strconv.FormatFloat(r.Factor, 'g', 7, 64))
}

// Line says what to write into features.csv.
func (f *Feature) Line() string {
	parts := []string{"computed = " + strconv.Quote(f.Definition.String())}
	number := func(name string, v, usual float64) {
		if v != usual {
			parts = append(parts, name+" = "+strconv.FormatFloat(v, 'g', 8, 64))
		}
	}
	number("scale", f.Scale, 1)
	number("offset", f.Offset, 0)
	if f.Wrap {
		parts = append(parts, "wrap = yes")
	}
	return strings.Join(parts, ", ")
}

// Why says what a device cannot compute of a reading; empty where it can.
func (r *Reading) Why() string {
	switch {
	case r.WholeStretch:
		return "the mean level of a whole stretch is not known before its end"
	case r.Square:
		return fmt.Sprintf("the square of %s is no kind of feature", r.Definition)
	case r.Later > 0:
		return "its window begins " + samples(r.Later) + " later"
	case r.Later < 0:
		return "its window begins " + samples(-r.Later) + " earlier"
	case r.Difference.Turned > 0:
		return fmt.Sprintf("%d of %d angles are whole turns away from those of a device",
			r.Difference.Turned, r.Difference.Steps)
	}
	return ""
}

func samples(n int) string {
	if n == 1 {
		return "1 sample"
	}
	return strconv.Itoa(n) + " samples"
}
