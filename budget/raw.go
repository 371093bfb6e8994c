package budget

import (
	"fmt"
	"io"
	"math"
	"slices"
	"sync"

	"kerf/dataset"
	"kerf/fault"
	"kerf/frontend"
)

// Raw is what a job says of samples, read and checked.
type Raw struct {
	FrontEnd frontend.FrontEnd
	// Of every feature of FrontEnd, the one of the network that it computes.
	Features []int

	// Samples of sequences of Inputs.Selection and Inputs.Signoff, in their order; nil for a
	// sequence without samples.
	Selection, Signoff []*dataset.Samples

	integer  *frontend.Integer // FrontEnd, with no encodings
	integers sync.Map          // by features, see [Inputs.integers]
	compared func() []ComputedFeature
}

// loadRaw reads the samples of the job, if there are any, and holds them against the recordings.
func (in loader) loadRaw() error {
	features := in.Float.Features
	computes := slices.IndexFunc(features, func(f dataset.Feature) bool { return f.Computed != "" })
	rule := in.Job.Raw
	switch {
	case rule == nil && computes < 0:
		return nil
	case rule == nil:
		return in.badFeature(features[computes], "is computed from samples, but the job has none",
			"add [raw] and [[channel]], or leave the column computed empty")
	}
	raw := &Raw{FrontEnd: frontend.FrontEnd{Sampling: rule.sampling()}}
	for i := range in.Job.Channels {
		raw.FrontEnd.Channels = append(raw.FrontEnd.Channels, in.Job.Channels[i].channel())
	}
	for i, f := range features {
		if f.Computed == "" {
			continue
		}
		computed, err := in.computedFeature(raw.FrontEnd.Channels, f)
		if err != nil {
			return err
		}
		raw.FrontEnd.Features = append(raw.FrontEnd.Features, computed)
		raw.Features = append(raw.Features, i)
	}
	var err error
	if raw.Selection, err = in.readSamples(RawSelectionRole, rule.Selection, "selection",
		in.Selection); err != nil {
		return err
	}
	if raw.Signoff, err = in.readSamples(RawSignoffRole, rule.Signoff, "signoff",
		in.Signoff); err != nil {
		return err
	}
	in.sample(raw)
	in.warnUnused(raw)
	in.Raw = raw
	raw.compared = sync.OnceValue(in.compare)
	return nil
}

// warnUnused names the channels that no feature is computed from.
func (in loader) warnUnused(raw *Raw) {
	for c := range raw.FrontEnd.Channels {
		if !slices.ContainsFunc(raw.FrontEnd.Features, func(f frontend.Feature) bool {
			return f.Needs(c)
		}) {
			in.Warnings = append(in.Warnings, fmt.Sprintf("%s: no feature of features.csv is "+
				"computed from this channel, so the firmware does not sample it",
				raw.FrontEnd.Channels[c].Name))
		}
	}
}

// badFeature returns an error about a line of features.csv.
func (in loader) badFeature(f dataset.Feature, msg, hint string) error {
	return &fault.Error{Kind: dataset.ErrInput, File: in.Job.Features.File, Line: f.Line,
		Name: dataset.InColumn("computed"), Msg: f.Name + " " + msg, Hint: hint}
}

// computedFeature reads how a feature follows from samples of the channels.
func (in loader) computedFeature(channels []frontend.Channel, f dataset.Feature) (frontend.Feature,
	error) {
	d, err := frontend.ParseDefinition(f.Computed)
	made := frontend.Feature{Name: f.Name, Definition: d, Scale: f.Scale, Offset: f.Offset,
		Wrap: f.Wrap}
	if err != nil {
		return made, in.badFeature(f, "cannot be computed: "+err.Error(),
			"one of "+frontend.KindNames())
	}
	names := make([]string, len(channels))
	for i, c := range channels {
		names[i] = c.Name
	}
	made.Channel, made.Other = slices.Index(names, f.Channel), slices.Index(names, d.Other)
	const define = "[[channel]] of the job says how it is sampled"
	switch {
	case made.Channel < 0:
		return made, in.badFeature(f, "is of the channel "+f.Channel+", which is not sampled",
			fault.DidYouMeanOr(f.Channel, names, define))
	case d.Other != "" && made.Other < 0:
		return made, in.badFeature(f, "takes off the phase of "+d.Other+", which is not sampled",
			fault.DidYouMeanOr(d.Other, names, define))
	case made.Channel == made.Other:
		return made, in.badFeature(f, "takes off its own phase", "name another channel, or none")
	}
	c := channels[made.Channel]
	samples, unit := in.Job.Raw.Window, in.Job.Channels[made.Channel].Converter.Low.Unit
	switch {
	case d.Kind.HasUnitOfChannel() && f.Scale == 1 && f.Unit != "" && f.Unit != unit:
		return made, in.badFeature(f, fmt.Sprintf("is in %s, and its channel %s in %s", f.Unit,
			c.Name, unit), "write one of both as the other, or say with scale how the one "+
			"follows from the other")
	case d.Order > 0 && c.Cycles == 0:
		return made, in.badFeature(f, "is of a harmonic, but the job does not say how many "+
			"cycles of the fundamental a window has", "cycles = 4 in [[channel]] "+c.Name)
	case 2*d.Order*c.Cycles >= samples:
		return made,
			in.badFeature(f, fmt.Sprintf("needs harmonic %d of %d cycles, and a window of "+
				"%d samples tells less than %d cycles", d.Order, c.Cycles, samples, (samples+1)/2),
				"more samples in a window, or a lower harmonic")
	case d.Other != "" && channels[made.Other].Cycles != c.Cycles:
		return made, in.badFeature(f, fmt.Sprintf("compares phases of %d and of %d cycles",
			c.Cycles, channels[made.Other].Cycles), "both channels have the same cycles")
	case d.Kind == frontend.Relative && c.Baseline == (frontend.Baseline{}):
		return made, in.badFeature(f, "is relative to a baseline, but the channel has none",
			`baseline = "2 s", or a number, in [[channel]] `+c.Name)
	case (d.Kind == frontend.RMS || d.Kind == frontend.Relative && c.Baseline.Seconds > 0) &&
		!c.ReachesZero(samples):
		return made, in.badFeature(f, fmt.Sprintf("is about physical zero, which is too many "+
			"steps of the converter away from its codes, %g to %g, for integers", c.Converter.Low,
			c.Converter.High), "level, ripple, or relative to a number")
	case d.Kind == frontend.Trend && samples < 2:
		return made, in.badFeature(f, "needs two samples or more", "a longer window")
	}
	return made, nil
}

// readSamples reads samples and deals them to the sequences of recordings.
func (in loader) readSamples(role Role, files FileList, key string,
	rec *dataset.Recordings) ([]*dataset.Samples, error) {
	columns := make([]string, len(in.Job.Channels))
	for i := range in.Job.Channels {
		columns[i] = in.Job.Channels[i].column()
	}
	dealt := make([]*dataset.Samples, len(rec.Sequences))
	for _, name := range files {
		var all []*dataset.Samples
		err := in.readHashed(role, name, func(file io.ReaderAt, size int64) (err error) {
			all, err = dataset.ReadSamples(file, size, name, columns,
				in.Job.Raw.sampling())
			return err
		}, "raw", key)
		if err != nil {
			return nil, err
		}
		for _, s := range all {
			if err := in.deal(s, rec, dealt); err != nil {
				return nil, err
			}
		}
	}
	return dealt, nil
}

// noteLeftOut keeps the names of sequences that are not among those that stay.
func (in loader) noteLeftOut(all, stay *dataset.Recordings) {
	if in.leftOut == nil {
		in.leftOut = map[string]bool{}
	}
	for _, s := range all.Sequences {
		if !slices.Contains(stay.Sequences, s) {
			in.leftOut[s.Name] = true
		}
	}
}

// deal gives samples to the sequence of recordings that has their name. Those of a sequence that
// was left out go with it.
func (in loader) deal(s *dataset.Samples, rec *dataset.Recordings, dealt []*dataset.Samples) error {
	fail := func(msg, hint string) error {
		return &fault.Error{Kind: dataset.ErrInput, File: s.File, Line: s.Line,
			Msg: "sequence " + s.Sequence + " " + msg, Hint: hint}
	}
	var at []int
	for i, q := range rec.Sequences {
		if q.Name == s.Sequence {
			at = append(at, i)
		}
	}
	switch {
	case len(at) == 0 && in.leftOut[s.Sequence]:
		return nil
	case len(at) == 0:
		return fail("has samples, but the recordings have no sequence of that name",
			"samples have the names of the sequences of [recordings]")
	case len(at) > 1:
		return fail("is a name in more than one file of the recordings",
			"give sequences with samples names of their own")
	case dealt[at[0]] != nil:
		return fail("has samples in two places", "samples of a sequence stand together")
	}
	q := rec.Sequences[at[0]]
	switch {
	case s.Scenario != q.Scenario:
		return fail(fmt.Sprintf("has the scenario %s, and %s in %s", s.Scenario, q.Scenario,
			q.File), "both recordings name it alike")
	case len(s.T) != q.Steps:
		return fail(fmt.Sprintf("has samples for %d steps, and %d steps in %s", len(s.T), q.Steps,
			q.File), "a sequence has samples for all of its steps, or none at all")
	}
	if raw := s.T[len(s.T)-1] - s.T[0]; math.Abs(raw-q.Duration) > raw/float64(2*len(s.T)) {
		return fail(fmt.Sprintf("takes %g s by its samples, and %g by t in %s", raw, q.Duration,
			q.File), "t is in seconds in both")
	}
	if off := s.T[0] - q.Start; math.Abs(off) > float64(in.Job.Raw.Period)/2 {
		return fail(fmt.Sprintf("begins at %g s, and with its first step at %g s in %s", s.T[0],
			q.Start, q.File), "the first sample of a window has the t of its step")
	}
	dealt[at[0]] = s
	return nil
}
