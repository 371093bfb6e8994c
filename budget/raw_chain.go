package budget

import (
	"fmt"
	"slices"

	"kerf/dataset"
	"kerf/frontend"
	"kerf/quant"
)

// sample gives every sequence that has samples what the front end in integers makes of them.
// Integer networks run on that wherever they are run.
func (in loader) sample(r *Raw) {
	r.integer = inIntegers(&r.FrontEnd)
	r.sampleAll(r.integer, in.Selection, r.Selection)
	r.sampleAll(r.integer, in.Signoff, r.Signoff)
}

// inIntegers returns a front end in integers before any network has said how it takes features.
func inIntegers(f *frontend.FrontEnd) *frontend.Integer {
	encodings := make([]frontend.Encoding, len(f.Features))
	for i := range encodings {
		encodings[i].Std = 1
	}
	return frontend.NewInteger(f, encodings)
}

// sampleAll sets Sampled of the sequences of recordings that have samples.
func (r *Raw) sampleAll(n *frontend.Integer, rec *dataset.Recordings, samples []*dataset.Samples) {
	dataset.EachSequence(rec, func(i int, s *dataset.Sequence) {
		if samples[i] != nil {
			s.Sampled = r.sampled(n, s, samples[i])
		}
	})
}

// sampled returns what a front end in integers makes of the samples of a sequence.
func (r *Raw) sampled(n *frontend.Integer, s *dataset.Sequence,
	samples *dataset.Samples) *dataset.Sampled {
	made := &dataset.Sampled{Numbers: numbers(n, samples), X: slices.Clone(s.X)}
	columns, all := len(s.X)/s.Steps, len(r.Features)
	for i, v := range made.Numbers {
		made.X[i/all*columns+r.Features[i%all]] = n.Value(i%all, v)
	}
	return made
}

// numbers returns the whole numbers of features that a front end makes of the codes of samples.
func numbers(n *frontend.Integer, samples *dataset.Samples) []int32 {
	codes := make([][]uint16, len(samples.X))
	for c, values := range samples.X {
		converter := n.Front.Channels[c].Converter
		codes[c] = make([]uint16, len(values))
		for i, v := range values {
			codes[c][i] = converter.Code(v)
		}
	}
	return n.Numbers(codes, len(samples.T))
}

// takeSamples has networks that are quantized with a calibration take computed features from the
// front end in integers.
func (in *Inputs) takeSamples(c *quant.Calibration) {
	if in.Raw != nil {
		c.FrontEnd = in.Raw.integer
	}
}

// Chain says what every step on the way from samples to the integer network adds to the errors on
// the sign-off recordings.
type Chain struct {
	Sequences int // that have samples; the others have the features that were recorded
	Rows      []ChainRow
	Grids     []Grid // of channels whose samples a coarser converter recorded
}

// ChainRow is a judged row of the loss, measured after every step: each has what the one before it
// has and one thing more. Where nothing is judged it is a row of the first metric.
type ChainRow struct {
	RowName
	Unit string

	Float     float64 // the network as given, with features as recorded
	Computed  float64 // with features in double precision from samples as recorded
	Converter float64 // with the same from the values that converter codes stand for
	FrontEnd  float64 // with features that integers compute of the codes
	Cut       float64 // the network that was cut, or trained after that, with the same features
	Fixed     float64 // the integer network on them: what is signed
}

// values are those of the row in the order of the chain.
func (c *ChainRow) values() []float64 {
	return []float64{c.Float, c.Computed, c.Converter, c.FrontEnd, c.Cut, c.Fixed}
}

// adds returns what the steps add to the error, by their names in the order of the chain.
func (c *ChainRow) adds() (names []string, added []float64) {
	at := c.values()
	for i := range at[1:] {
		added = append(added, at[i+1]-at[i])
	}
	return []string{"the definition of features", "the converter", "the front end in integers",
		"the cut", "rounding"}, added
}

// chain measures the steps of the chain; nil without samples. loss are the rows of the sign-off,
// and s is what they follow from.
func (pl *Planner) chain(r *Result, s scores) *Chain {
	in := pl.in
	if in.Raw == nil {
		return nil
	}
	given := func(values func(s *dataset.Samples) [][]float64) *dataset.Score {
		return dataset.Measure(in.Float, in.Raw.withFeatures(in.Signoff, in.Raw.Signoff, values),
			in.Regions)
	}
	front := in.Raw.FrontEnd
	computed := func(s *dataset.Samples) [][]float64 {
		analyses := front.Analyses(s)
		all := make([][]float64, len(front.Features))
		for i := range all {
			all[i] = front.Compute(&front.Features[i], analyses)
		}
		return all
	}
	ofSamples := given(computed)
	ofCodes := given(func(s *dataset.Samples) [][]float64 { return computed(in.Raw.coded(s)) })
	ofIntegers := dataset.Measure(in.Float, in.Signoff.AsSampled(), in.Regions)
	c := &Chain{Grids: in.grids()}
	for _, samples := range in.Raw.Signoff {
		if samples != nil {
			c.Sequences++
		}
	}
	isJudged := slices.ContainsFunc(r.Loss, func(l Loss) bool { return l.Judged })
	for _, l := range r.Loss {
		if l.Judged != isJudged || !isJudged && l.Metric != dataset.Metrics(in.Float.Classes)[0] {
			continue
		}
		base := s.float
		if l.Metric == dataset.Explained {
			base = pl.constantOn(in.Signoff)
		}
		value := func(s *dataset.Score) float64 { return s.Value(base, l.Slice, l.Metric) }
		row := ChainRow{RowName: l.RowName, Unit: l.Unit, Float: l.Float,
			Computed: value(ofSamples), Converter: value(ofCodes), FrontEnd: value(ofIntegers),
			Cut: l.Cut, Fixed: l.Fixed}
		if s.recovered != nil {
			row.Cut = l.Recovered
		}
		c.Rows = append(c.Rows, row)
	}
	return c
}

// withFeatures returns recordings with the computed features of sequences that have samples
// replaced by what values returns: per feature of the front end one value a step.
func (r *Raw) withFeatures(rec *dataset.Recordings, samples []*dataset.Samples,
	values func(s *dataset.Samples) [][]float64) *dataset.Recordings {
	other := *rec
	other.Sequences = slices.Clone(rec.Sequences)
	dataset.EachSequence(rec, func(i int, s *dataset.Sequence) {
		if samples[i] == nil {
			return
		}
		of := *s
		of.X, of.Sampled = slices.Clone(s.X), nil
		columns := len(s.X) / s.Steps
		for k, ofFeature := range values(samples[i]) {
			for step, v := range ofFeature {
				of.X[step*columns+r.Features[k]] = v
			}
		}
		other.Sequences[i] = &of
	})
	return &other
}

// coded returns samples with the values that their converter codes stand for.
func (r *Raw) coded(s *dataset.Samples) *dataset.Samples {
	coded := *s
	coded.X = nil
	for c, values := range s.X {
		converter := r.FrontEnd.Channels[c].Converter
		decoded := make([]float64, len(values))
		for i, v := range values {
			decoded[i] = converter.Value(converter.Code(v))
		}
		coded.X = append(coded.X, decoded)
	}
	return &coded
}

// warnChain says which step on the way from samples a broken tolerance comes from, for the row that
// is broken by the most.
func (r *Result) warnChain() {
	if r.Chain == nil {
		return
	}
	worst, most := -1, 0.0
	for i, row := range r.Chain.Rows {
		at := slices.IndexFunc(r.Loss, func(l Loss) bool {
			return l.Judged && l.RowName == row.RowName
		})
		if at < 0 || r.Loss[at].Verdict != Fail {
			continue
		}
		if value, _ := r.Loss[at].JudgedValue(); worst < 0 || value/r.Loss[at].Allowed() > most {
			worst, most = i, value/r.Loss[at].Allowed()
		}
	}
	if worst < 0 {
		return
	}
	row := r.Chain.Rows[worst]
	if row.Metric.IsShare() || row.Metric == dataset.Explained || row.Metric == dataset.Bias {
		return // of these more is no error
	}
	names, adds := row.adds()
	largest := 0
	for i, v := range adds {
		if v > adds[largest] {
			largest = i
		}
	}
	at := row.values()
	text := tellApart(plainFigure, at[largest], at[largest+1])
	r.Warnings = append(r.Warnings, fmt.Sprintf("of the steps from samples to outputs, %s adds "+
		"most to %s: %s before it, %s with it", names[largest], row.Text(), text[0], text[1]))
}
