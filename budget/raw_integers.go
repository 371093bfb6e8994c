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
	in.warnClipped(r)
}

// warnClipped names the channels of which samples lie beyond the range of their converters, by more
// than half a step.
func (in loader) warnClipped(r *Raw) {
	for c := range r.FrontEnd.Channels {
		rule, converter := &in.Job.Channels[c], r.FrontEnd.Channels[c].Converter
		beyond, all, most, furthest := 0, 0, converter.Step()/2, 0.0
		for _, s := range slices.Concat(r.Selection, r.Signoff) {
			if s == nil {
				continue
			}
			all += len(s.X[c])
			for _, x := range s.X[c] {
				apart := max(converter.Low-x, x-converter.High)
				if apart <= converter.Step()/2 {
					continue
				}
				if beyond++; apart > most {
					most, furthest = apart, x
				}
			}
		}
		if beyond > 0 {
			in.Warnings = append(in.Warnings, fmt.Sprintf("%s: %d of %d samples lie beyond the "+
				"range of the converter, %s to %s %s, the furthest at %s: a device sees the end "+
				"of the range", rule.Name, beyond, all, plainFigure(converter.Low, 4),
				plainFigure(converter.High, 4), rule.Converter.Low.Unit, plainFigure(furthest, 4)))
		}
	}
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
