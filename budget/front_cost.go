package budget

import (
	"fmt"
	"slices"

	"kerf/budget/cost"
	"kerf/frontend"
)

// Parts of a resource that features take which are computed from samples.
const (
	CallPart        = "call"         // of interrupt and features_time: the functions themselves
	SamplingPart    = "sampling"     // cycles: a call of name_sample for each sample of a window
	FeaturesPart    = "features"     // cycles: a call of name_features
	FrontTablesPart = "front_tables" // B: tables of sines and cosines
	FrontCodePart   = "front_code"   // B: name_sample, name_features and what these call
	FrontStatePart  = "front_state"  // B: name_front
)

// FrontEndOf returns what computes the features that a candidate keeps from samples, with their
// indices among those that it keeps. It is nil where none is computed.
func (in *Inputs) FrontEndOf(c Candidate) (front *frontend.FrontEnd, features []int) {
	computed, features := in.computed(c)
	if len(computed) == 0 {
		return nil, nil
	}
	return in.Raw.FrontEnd.Only(computed), features
}

// computed lists the features of a candidate that are computed from samples: their indices in
// [Raw.Features], and among those that the candidate keeps.
func (in *Inputs) computed(c Candidate) (of, kept []int) {
	if in.Raw == nil {
		return nil, nil
	}
	for at, feature := range c.Features {
		if i := slices.Index(in.Raw.Features, feature); i >= 0 {
			of, kept = append(of, i), append(kept, at)
		}
	}
	return of, kept
}

// ChannelNames returns the names of the channels that are sampled; none without samples.
func (r *Raw) ChannelNames() []string {
	if r == nil {
		return nil
	}
	var names []string
	for _, c := range r.FrontEnd.Channels {
		names = append(names, c.Name)
	}
	return names
}

// isComputedFrom reports whether a feature is computed from samples of a channel.
func (in *Inputs) isComputedFrom(feature, channel int) bool {
	i := slices.Index(in.Raw.Features, feature)
	return i >= 0 && in.Raw.FrontEnd.Features[i].Needs(channel)
}

// integers returns [Inputs.FrontEndOf] in integers; nil where nothing is computed from samples. The
// search asks for the same ones over and over.
func (in *Inputs) integers(c Candidate) *frontend.Integer {
	computed, _ := in.computed(c)
	if len(computed) == 0 {
		return nil
	}
	key := fmt.Sprint(computed)
	if known, ok := in.Raw.integers.Load(key); ok {
		return known.(*frontend.Integer)
	}
	// Of encodings the shifts of features count, on cores that shift bit by bit.
	encodings := make([]frontend.Encoding, len(computed))
	for i, k := range computed {
		f := in.Float.Features[in.Raw.Features[k]]
		encodings[i] = frontend.Encoding{Mean: f.Mean, Std: f.Std, FractionBits: typicalFraction}
	}
	made := frontend.NewInteger(in.Raw.FrontEnd.Only(computed), encodings)
	in.Raw.integers.Store(key, made)
	return made
}

// typicalFraction is how many fraction bits inputs of networks have: four to eight standard
// deviations fit.
const typicalFraction = 12

// frontTables is the size of the constants of a front end with the given features of a candidate.
func frontTables(n *frontend.Integer, c Candidate) float64 {
	return float64(n.TableBytes(len(c.Features) - len(n.Front.Features)))
}

// frontCost is what features take on a target that are computed from samples.
type frontCost struct {
	has           bool    // the job computes features; those of a candidate may all be given
	samples       float64 // of a window
	tables, state float64 // B, exact
	code          float64 // B
	kind          Kind    // of code and calls
	sampleStack   float64 // B
	featuresStack float64 // B

	sample, last, longest, features cost.Call
}

// frontCost gives the front end of a candidate on a target; what was measured stands in place of
// estimates. measured may be nil.
func (in *Inputs) frontCost(c Candidate, t Target, measured *Measurement) frontCost {
	n := in.integers(c)
	if n == nil {
		return frontCost{has: in.Raw != nil && len(in.Raw.Features) > 0, kind: Exact}
	}
	e := cost.OfFrontEnd(n, len(c.Features)-len(n.Front.Features), t.Core, t.flashWait(),
		t.WeightsInRAM())
	f := frontCost{has: true, samples: float64(n.Front.Sampling.Samples),
		tables: frontTables(n, c), state: float64(n.StateBytes()),
		code: float64(e.Code), kind: t.kindOf(Estimated), sampleStack: float64(e.SampleStack),
		featuresStack: float64(e.FeaturesStack), sample: e.Sample, last: e.Last,
		longest: e.Longest, features: e.Features}
	if measured != nil && measured.Front != nil {
		m := measured.Front
		f.kind, f.code = Measured, m.Flash-f.tables
		f.sampleStack, f.featuresStack = m.SampleStack, m.FeaturesStack
		f.sample.Cycles, f.last.Cycles = m.Sampling/f.samples, m.Last
		f.longest.Cycles, f.features.Cycles = m.Longest, m.Features
	}
	return f
}

// sampling is the cycles of all calls of name_sample of a window, without waiting for flash.
func (f *frontCost) sampling() float64 { return float64(f.samples * f.sample.Cycles) }

// wait is what waiting for flash adds to a step.
func (f *frontCost) wait() float64 {
	return float64(f.samples*f.sample.Wait) + f.features.Wait
}

// beforeLast is the cycles of a step up to the last sample, with waiting for flash: they are no
// part of the time from that sample to the outputs.
func (f *frontCost) beforeLast() float64 {
	return float64(f.samples*f.sample.Total()) - f.last.Total()
}

// addTo puts the parts of a step in front of those of the network, and adds what waiting for flash
// takes to the part that has it.
func (f *frontCost) addTo(steps []part) []part {
	if !f.has {
		return steps
	}
	all := append([]part{{SamplingPart, f.sampling(), f.kind},
		{FeaturesPart, f.features.Cycles, f.kind}}, steps...)
	if last := &all[len(all)-1]; last.name == cost.FlashWait {
		last.value += f.wait()
	}
	return all
}

// addFront adds what is judged of a front end besides the sums of a step.
func (s *sheet) addFront(f *frontCost) {
	if !f.has {
		return
	}
	t := s.target
	clock := float64(t.Clock)
	// Where flash makes a call wait, a row of that stands beside one of the call.
	parts := func(over float64, calls ...cost.Call) []part {
		call, wait := part{CallPart, 0, f.kind}, part{cost.FlashWait, 0, t.kindOf(Estimated)}
		for _, c := range calls {
			call.value, wait.value = call.value+c.Cycles, wait.value+c.Wait
		}
		call.value, wait.value = call.value/over, wait.value/over
		if wait.value == 0 {
			return []part{call}
		}
		return []part{call, wait}
	}
	s.add(Interrupt, "cycles", limitOf(t.Interrupt), parts(1, f.longest)...)
	s.add(InterruptTime, "s", tighter(t.InterruptTime, t.Interval), parts(clock, f.longest)...)
	s.add(FeaturesTime, "s", tighter(t.FeaturesTime, t.Pause), parts(clock, f.last, f.features)...)
}

// tighter returns the limit of the job, or the one that always holds where that is smaller.
func tighter[T ~float64](limit *T, always T) float64 {
	if isTighter(limit, always) {
		return float64(*limit)
	}
	return float64(always)
}

// isTighter reports whether the job sets a limit below the one that always holds.
func isTighter[T ~float64](limit *T, always T) bool { return limit != nil && *limit < always }

// pause is the time from the last sample of a window to the first of the next.
func (r *RawRule) pause() Seconds {
	return r.Period - Seconds(float64(r.Window-1)/float64(r.Rate))
}
