package budget

import (
	"slices"

	"kerf/dataset"
	"kerf/frontend"
	"kerf/quant"
)

// sample gives every sequence that has samples what the front end in integers makes of them. Integer
// networks run on that wherever they are run.
func (r *Raw) sample(in *Inputs) {
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
	codes := make([][]uint16, len(samples.X))
	for c, values := range samples.X {
		converter := n.Front.Channels[c].Converter
		codes[c] = make([]uint16, len(values))
		for i, v := range values {
			codes[c][i] = converter.Code(v)
		}
	}
	made := &dataset.Sampled{Numbers: n.Numbers(codes, s.Steps), X: slices.Clone(s.X)}
	columns, all := len(s.X)/s.Steps, len(r.Features)
	for i, v := range made.Numbers {
		made.X[i/all*columns+r.Features[i%all]] = n.Value(i%all, v)
	}
	return made
}

// withSamplesOf returns recordings with the features of sequences that have samples replaced: values
// returns those of a feature of the front end at every step.
func (r *Raw) withSamplesOf(rec *dataset.Recordings, samples []*dataset.Samples,
	values func(s *dataset.Samples) [][]float64) *dataset.Recordings {
	other := *rec
	other.Sequences = slices.Clone(rec.Sequences)
	dataset.EachSequence(rec, func(i int, s *dataset.Sequence) {
		if samples[i] == nil {
			return
		}
		of := *s
		of.X = slices.Clone(s.X)
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

// takeSamples has networks that are quantized with a calibration take computed features from the
// front end in integers.
func (in *Inputs) takeSamples(c *quant.Calibration) {
	if in.Raw != nil {
		c.FrontEnd = in.Raw.integer
	}
}
