package frontend

import (
	"math"

	"kerf/dataset"
)

// What a recorded feature may differ from what is computed of its samples, in standard deviations
// of the feature (our choice: less moves no output by more than rounding does).
const (
	MostRMS     = 0.02
	MostLargest = 0.2
)

// Stretch is a sequence with samples, and what was recorded of it.
type Stretch struct {
	Samples  *dataset.Samples
	Recorded [][]float64 // per feature of the front end, per step

	analyses [][]Analysis // nil: none yet
	all      bool         // they have every harmonic that the windows tell
}

// Difference is how far recorded values of a feature are from what is computed of the samples.
type Difference struct {
	RMS, Largest float64 // in the unit of the recordings
	Sequence     string  // where the largest is
	Step         int
	Steps        int     // that were compared
	Faint        int     // that were not: what the feature is of is below the floor
	FaintLargest float64 // of the faint ones, from what a device has there: 0, as it is recorded
	Turned       int     // angles that are whole turns away from where a device has them

	turn float64 // of an angle, in the unit of the recordings; else 0
}

// Compare computes a feature of stretches with its definition and returns how far that is from what
// was recorded as feature number at. Of angles the difference is taken without whole turns. Steps
// whose amplitude or baseline is below the floor are counted and not compared.
func (f *FrontEnd) Compare(feature *Feature, at int, stretches []*Stretch) Difference {
	return f.compareBy(feature, at, stretches, func(s *Stretch) []float64 {
		return f.Compute(feature, f.analysed(s))
	})
}

// compareBy is Compare with values that are computed otherwise.
func (f *FrontEnd) compareBy(feature *Feature, at int, stretches []*Stretch,
	compute func(s *Stretch) []float64) Difference {
	turn := feature.turn()
	d := Difference{turn: turn}
	squares := 0.0
	for _, s := range stretches {
		values := compute(s)
		faint := f.faint(feature, s)
		for step, v := range values {
			apart := v - s.Recorded[at][step]
			if faint[step] {
				d.Faint++
				d.FaintLargest = max(d.FaintLargest, math.Abs(apart))
				continue
			}
			if turn > 0 {
				turns := math.Round(apart / turn)
				apart -= float64(turn * turns)
				if turns != 0 && math.Abs(v-feature.centre()) < nearEnd*turn {
					d.Turned++
				}
			}
			squares += float64(apart * apart)
			d.Steps++
			if math.Abs(apart) > d.Largest || d.Steps == 1 {
				d.Largest, d.Sequence, d.Step = math.Abs(apart), s.Samples.Sequence, step
			}
		}
	}
	if d.Steps > 0 {
		d.RMS = math.Sqrt(squares / float64(d.Steps))
	}
	return d
}

// nearEnd is how far from the middle of its turn an angle is near an end of it, as a share of the
// turn: there rounding decides which of the two ends is recorded (our choice).
const nearEnd = 0.48

// centre returns the middle of the turn in which an angle is recorded.
func (f *Feature) centre() float64 {
	if f.Wrap {
		return 0
	}
	return f.Offset
}

// IsWithin reports whether a difference is within [MostRMS] and [MostLargest] of a standard
// deviation. Of an angle that is at most the one of angles that are spread over a turn: recorded in
// degrees, radians are never far from a whole turn.
func (d *Difference) IsWithin(std float64) bool {
	spread := d.Spread(std)
	return d.Steps > 0 && d.Turned == 0 && d.RMS <= MostRMS*spread &&
		d.Largest <= MostLargest*spread
}

// IsFaint reports whether the recordings have something else than a device below the floor, by more
// than [MostLargest] of a standard deviation.
func (d *Difference) IsFaint(std float64) bool {
	return d.FaintLargest > MostLargest*d.Spread(std)
}

// Spread is what a difference is compared with, for a feature of a standard deviation.
func (d *Difference) Spread(std float64) float64 {
	if d.turn > 0 {
		return min(std, d.turn/math.Sqrt(12))
	}
	return std
}

// turn returns a whole turn of an angle as it is recorded; 0 of what is no angle.
func (f *Feature) turn() float64 {
	if f.Definition.Kind != Phase {
		return 0
	}
	return 2 * math.Pi * math.Abs(f.Scale)
}

// analysed returns the analyses of a stretch, with every harmonic that a feature needs.
func (f *FrontEnd) analysed(s *Stretch) [][]Analysis {
	if s.analyses == nil {
		s.analyses = f.Analyses(s.Samples)
	}
	return s.analyses
}

// analyseAll analyses a stretch with every harmonic that its windows can tell.
func (f *FrontEnd) analyseAll(s *Stretch) {
	if !s.all {
		s.analyses, s.all = f.analyses(s.Samples, f.mostHarmonics), true
	}
}

// harmonicsKnown is how many harmonics of a channel are looked at where a definition is looked for
// (our choice: distortions are of 5 to 7 mostly, of mains 40 or 50).
const harmonicsKnown = 50

// mostHarmonics returns how many harmonics of a channel its window can tell, up to harmonicsKnown.
func (f *FrontEnd) mostHarmonics(channel int) int {
	cycles := f.Channels[channel].Cycles
	if cycles == 0 {
		return 0
	}
	return min(harmonicsKnown, (f.Sampling.Samples-1)/2/cycles)
}

// faint reports of every step whether a feature is of something below the floor.
func (f *FrontEnd) faint(feature *Feature, s *Stretch) []bool {
	faint := make([]bool, len(s.Samples.T))
	below := func(channel, order int) {
		for step := range faint {
			a := &f.analysed(s)[channel][step]
			faint[step] = faint[step] ||
				a.Amplitude(order, f.Sampling.Samples) < f.Channels[channel].Floor
		}
	}
	switch d := feature.Definition; d.Kind {
	case Phase:
		below(feature.Channel, d.Order)
		if d.Other != "" {
			below(feature.Other, d.Order)
		}
	case Distortion:
		below(feature.Channel, 1)
	case Relative:
		base := f.newBaseline(&f.Channels[feature.Channel])
		for step := range faint {
			base.relative(step, f.analysed(s)[feature.Channel][step].Level)
			faint[step] = math.Abs(base.value) < f.Channels[feature.Channel].Floor
		}
	}
	return faint
}
