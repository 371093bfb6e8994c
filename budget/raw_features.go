package budget

import (
	"bytes"
	"fmt"
	"strings"

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

	// Floor says below what nothing is compared, and Faint that the recordings have something else
	// there than a device. Empty where the feature has no floor.
	Floor string
	Faint bool

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
	return in.Raw.compared()
}

// compare does it once for a job.
func (in *Inputs) compare() []ComputedFeature {
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
		c.Floor, c.Faint = in.floorOf(&f.Features[i]), c.Difference.IsFaint(std)
		if c.Within = c.Difference.IsWithin(std); !c.Within && c.Difference.Steps > 0 {
			c.Reading, c.Found = f.Recognise(i, std, stretches)
		}
	}
	return all
}

// floorOf names the floors below which a device has 0 as a feature, and where they come from; empty
// where there are none.
func (in *Inputs) floorOf(f *frontend.Feature) string {
	if !f.Definition.Kind.HasFloor() {
		return ""
	}
	text := "the floor of " + in.floorText(f.Channel)
	if f.Definition.Other != "" {
		text += " or that of " + in.floorText(f.Other)
	}
	return text
}

// floorText returns a channel with its floor.
func (in *Inputs) floorText(channel int) string {
	rule := in.Job.Channels[channel]
	from := "as the job says"
	if rule.Floor == nil {
		from = "one step of its converter, since the job gives none"
	}
	return fmt.Sprintf("%s, %s %s (%s)", rule.Name,
		plainFigure(in.Raw.FrontEnd.Channels[channel].Floor, 4), rule.Converter.Low.Unit, from)
}

// floorNotes say of which features the recordings have something else than a device at steps below
// the floor, floor by floor.
func (in *Inputs) floorNotes() []string {
	var floors []string
	features := map[string][]string{} // by floor, with their steps
	for _, c := range in.ComputedFeatures() {
		if !c.Faint {
			continue
		}
		if len(features[c.Floor]) == 0 {
			floors = append(floors, c.Floor)
		}
		features[c.Floor] = append(features[c.Floor], c.belowFloor())
	}
	var notes []string
	for _, floor := range floors {
		notes = append(notes, fmt.Sprintf("%s lie below %s: a device has 0 there, and the "+
			"recordings do not; floor in [[channel]] sets it", strings.Join(features[floor], ", "),
			floor))
	}
	return notes
}

// belowFloor says how many steps of a feature lie below the floor.
func (c *ComputedFeature) belowFloor() string {
	return fmt.Sprintf("%d of %d steps of %s", c.Difference.Faint,
		c.Difference.Faint+c.Difference.Steps, c.Feature.Name)
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

// RecomputedCSV returns the sequences of selection and of sign-off recordings that have samples as
// files in CSV, with the features that are computed from these in double precision, and how many
// sequences have none. A file is nil where none has any.
func (in *Inputs) RecomputedCSV() (selection, signoff []byte, without int) {
	write := func(rec *dataset.Recordings, samples []*dataset.Samples) []byte {
		sampled, of := withSamples(rec, samples)
		without += len(samples) - len(of)
		if len(of) == 0 {
			return nil
		}
		var t [][]float64
		for _, s := range of {
			t = append(t, s.T)
		}
		var b bytes.Buffer
		in.Raw.withFeatures(sampled, of, in.Raw.compute).WriteCSV(&b,
			dataset.FeatureNames(in.Float.Features), in.reference(), t) // no error of a buffer
		return b.Bytes()
	}
	selection = write(in.Selection, in.Raw.Selection)
	return selection, write(in.Signoff, in.Raw.Signoff), without
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
			if remark := c.Reading.Remark(); remark != "" {
				hint = remark + " " + hint
			}
		}
		msg := fmt.Sprintf("%s is not what was recorded: computed from samples it differs by "+
			"%.2g std (root mean square) and at most %.2g std, in sequence %s, step %d",
			c.Feature.Name, c.Difference.RMS/c.Spread, c.Difference.Largest/c.Spread,
			c.Difference.Sequence, c.Difference.Step)
		switch {
		case c.Difference.Steps == 0:
			msg = fmt.Sprintf("%s cannot be compared: %s lie below %s", c.Feature.Name,
				c.belowFloor(), c.Floor)
			hint = "a smaller floor in [[channel]], or another feature; kerf features shows all"
		case c.Difference.Turned > 0:
			msg = fmt.Sprintf("%s is not what was recorded: %d of %d angles are whole turns away",
				c.Feature.Name, c.Difference.Turned, c.Difference.Steps)
		}
		return &fault.Error{Kind: dataset.ErrInput, File: in.Job.Features.File,
			Line: c.Feature.Line, Name: dataset.InColumn("computed"), Msg: msg, Hint: hint}
	}
	return nil
}
