package budget

import (
	"fmt"

	"kerf/dataset"
	"kerf/fault"
	"kerf/frontend"
)

// ComputedFeature is a feature that is computed from samples, held against what was recorded.
type ComputedFeature struct {
	Feature    dataset.Feature
	Difference frontend.Difference // in the unit of the feature
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
		if c.Within = c.Difference.IsWithin(c.Feature.Std); !c.Within {
			c.Reading, c.Found = f.Recognise(i, c.Feature.Std, stretches)
		}
	}
	return all
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
		return &fault.Error{Kind: dataset.ErrInput, File: in.Job.Features.File,
			Line: c.Feature.Line, Name: dataset.InColumn("computed"),
			Msg: fmt.Sprintf("%s is not what was recorded: computed from samples it differs by "+
				"%.2g std (root mean square) and at most %.2g std, in sequence %s, step %d",
				c.Feature.Name, c.Difference.RMS/c.Feature.Std, c.Difference.Largest/c.Feature.Std,
				c.Difference.Sequence, c.Difference.Step), Hint: hint}
	}
	return nil
}
