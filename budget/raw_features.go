package budget

import (
	"fmt"

	"kerf/dataset"
	"kerf/fault"
	"kerf/frontend"
	"kerf/portable"
)

// ComputedFeature is a feature that is computed from samples, held against what was recorded.
type ComputedFeature struct {
	Feature    dataset.Feature
	Difference frontend.Difference // in the unit of the feature
	Spread     float64             // what differences are shares of: about a standard deviation
	Within     bool                // of [frontend.MostRMS] and [frontend.MostLargest]

	// Where it is not within: how it may have been computed, and whether that explains it.
	Reading frontend.Reading
	Found   bool
}

// ComputedFeatures computes features from samples as the job defines them, in double precision, and
// holds them against the recordings of all sequences that have samples. Where they differ it looks
// for the definition that was used.
func (in *Inputs) ComputedFeatures() []ComputedFeature {
	if in.Raw == nil {
		return nil
	}
	stretches := append(in.stretches(in.Selection, in.Raw.Selection),
		in.stretches(in.Signoff, in.Raw.Signoff)...)
	f := in.Raw.FrontEnd
	all := make([]ComputedFeature, len(f.Features))
	for i := range f.Features {
		c := &all[i]
		c.Feature = in.Float.Features[in.Raw.Features[i]]
		c.Difference = f.Compare(&f.Features[i], i, stretches)
		std := recordedStd(i, stretches)
		if std == 0 {
			std = c.Feature.Std // of a constant
		}
		c.Spread = c.Difference.Spread(std)
		if c.Within = c.Difference.IsWithin(std); !c.Within && c.Difference.Steps > 0 {
			c.Reading, c.Found = f.Recognise(i, std, stretches)
		}
	}
	return all
}

// recordedStd returns the standard deviation of what was recorded as a feature. That of
// features.csv may be another one: with the normalisation in the weights it is 1.
func recordedStd(at int, stretches []*frontend.Stretch) float64 {
	var values []float64
	for _, s := range stretches {
		values = append(values, s.Recorded[at]...)
	}
	_, std := portable.MeanStd(values)
	return std
}

// stretches are the sequences of recordings that have samples.
func (in *Inputs) stretches(rec *dataset.Recordings,
	samples []*dataset.Samples) []*frontend.Stretch {
	var all []*frontend.Stretch
	for i, s := range rec.Sequences {
		if samples[i] == nil {
			continue
		}
		stretch := &frontend.Stretch{Samples: samples[i]}
		for _, feature := range in.Raw.Features {
			values := make([]float64, s.Steps)
			for step := range values {
				values[step] = s.X[step*rec.Features+feature]
			}
			stretch.Recorded = append(stretch.Recorded, values)
		}
		all = append(all, stretch)
	}
	return all
}

// CheckComputed returns an error where a feature is not computed from samples as features.csv says.
func (in *Inputs) CheckComputed() error {
	for _, c := range in.ComputedFeatures() {
		if c.Within {
			continue
		}
		hint := "kerf features shows every feature that differs"
		if c.Found && c.Reading.IsComputable() {
			hint = c.Reading.Line() + " gives what was recorded; " + hint
		}
		msg := fmt.Sprintf("%s is not what was recorded: computed from samples it differs by "+
			"%.2g std (root mean square) and at most %.2g std, in sequence %s, step %d",
			c.Feature.Name, c.Difference.RMS/c.Spread, c.Difference.Largest/c.Spread,
			c.Difference.Sequence, c.Difference.Step)
		switch {
		case c.Difference.Steps == 0:
			msg = fmt.Sprintf("%s cannot be compared: at every step it is of something below the "+
				"floor", c.Feature.Name)
		case c.Difference.Turned > 0:
			msg = fmt.Sprintf("%s is not what was recorded: %d of %d angles are whole turns away",
				c.Feature.Name, c.Difference.Turned, c.Difference.Steps)
		}
		return &fault.Error{Kind: dataset.ErrInput, File: in.Job.Features.File,
			Line: c.Feature.Line, Name: dataset.InColumn("computed"), Msg: msg, Hint: hint}
	}
	return nil
}
