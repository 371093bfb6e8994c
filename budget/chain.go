package budget

import (
	"fmt"
	"slices"

	"kerf/dataset"
)

// Chain says what every step on the way from samples to the integer network adds to the errors, on
// the sign-off sequences that have samples.
type Chain struct {
	Sequences int // that have samples
	Rows      []ChainRow
	Grids     []Grid // of channels whose samples a coarser converter recorded
}

// ChainRow is a judged row of the loss on these sequences, measured after every step: each has what
// the one before it has and one thing more. Where nothing is judged it is a row of the first
// metric.
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

// isError reports whether more of the metric is more of an error: not of shares, and a bias has two
// sides.
func (c *ChainRow) isError() bool {
	return !c.Metric.IsShare() && c.Metric != dataset.Explained && c.Metric != dataset.Bias
}

// judged returns the judged row of the loss of a name; nil where there is none.
func (r *Result) judged(name RowName) *Loss {
	at := slices.IndexFunc(r.Loss, func(l Loss) bool { return l.Judged && l.RowName == name })
	if at < 0 {
		return nil
	}
	return &r.Loss[at]
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

// chain measures the steps of the chain; nil without samples. loss are the rows of the sign-off.
func (pl *Planner) chain(chosen *Chosen, loss []Loss) *Chain {
	in := pl.in
	if in.Raw == nil {
		return nil
	}
	rec, samples := withSamples(in.Signoff, in.Raw.Signoff)
	c := &Chain{Sequences: len(samples), Grids: in.grids()}
	if len(samples) == 0 {
		return c
	}
	ofCodes := func(s *dataset.Samples) [][]float64 { return in.Raw.compute(in.Raw.coded(s)) }
	measure := func(p dataset.Predictor, rec *dataset.Recordings) *dataset.Score {
		return dataset.Measure(p, rec, in.Regions)
	}
	sampled := rec.AsSampled()
	float := measure(in.Float, rec)
	steps := []*dataset.Score{float,
		measure(in.Float, in.Raw.withFeatures(rec, samples, in.Raw.compute)),
		measure(in.Float, in.Raw.withFeatures(rec, samples, ofCodes)),
		measure(in.Float, sampled), measure(chosen.float(), sampled), measure(chosen.Fixed, rec)}
	isJudged := slices.ContainsFunc(loss, func(l Loss) bool { return l.Judged })
	for _, l := range loss {
		if l.Judged != isJudged || !isJudged && l.Metric != dataset.Metrics(in.Float.Classes)[0] ||
			float.Sequences(l.Slice) == 0 {
			continue
		}
		base := float
		if l.Metric == dataset.Explained {
			base = in.measureConstant(rec)
		}
		var values []float64
		for _, score := range steps {
			values = append(values, score.Value(base, l.Slice, l.Metric))
		}
		c.Rows = append(c.Rows, ChainRow{l.RowName, l.Unit, values[0], values[1], values[2],
			values[3], values[4], values[5]})
	}
	return c
}

// withSamples returns the sequences of recordings that have samples, and these.
func withSamples(rec *dataset.Recordings,
	samples []*dataset.Samples) (*dataset.Recordings, []*dataset.Samples) {
	sampled := *rec
	sampled.Sequences = nil
	var of []*dataset.Samples
	for i, s := range rec.Sequences {
		if samples[i] != nil {
			sampled.Sequences, of = append(sampled.Sequences, s), append(of, samples[i])
		}
	}
	return &sampled, of
}

// compute returns features of a sequence in double precision: per feature of the front end one
// value a step.
func (r *Raw) compute(s *dataset.Samples) [][]float64 {
	analyses := r.FrontEnd.Analyses(s)
	all := make([][]float64, len(r.FrontEnd.Features))
	for i := range all {
		all[i] = r.FrontEnd.Compute(&r.FrontEnd.Features[i], analyses)
	}
	return all
}

// withFeatures returns recordings, whose sequences all have samples, with the computed features
// replaced by what values returns: per feature of the front end one value a step.
func (r *Raw) withFeatures(rec *dataset.Recordings, samples []*dataset.Samples,
	values func(s *dataset.Samples) [][]float64) *dataset.Recordings {
	other := *rec
	other.Sequences = make([]*dataset.Sequence, len(rec.Sequences))
	dataset.EachSequence(rec, func(i int, s *dataset.Sequence) {
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
// is broken by the most, and of which features the recordings have something else below the floor.
func (r *Result) warnChain() {
	if r.Chain == nil {
		return
	}
	r.warnHidden()
	floors := r.Inputs.floorNotes()
	r.Warnings = append(r.Warnings, floors...)
	worst, most := -1, 0.0
	for i, row := range r.Chain.Rows {
		l := r.judged(row.RowName)
		if l == nil || l.Verdict != Fail {
			continue
		}
		if value, _ := l.JudgedValue(); worst < 0 || value/l.Allowed() > most {
			worst, most = i, value/l.Allowed()
		}
	}
	if worst < 0 {
		return
	}
	row := r.Chain.Rows[worst]
	if !row.isError() {
		return
	}
	names, adds := row.adds()
	largest := 0
	for i, v := range adds {
		if v > adds[largest] {
			largest = i
		}
	}
	// Definitions that differ otherwise are refused before.
	if largest == 0 && len(floors) > 0 {
		names[0] = "the floor, below which features are 0,"
	}
	at := row.values()
	text := tellApart(plainFigure, at[largest], at[largest+1])
	r.Warnings = append(r.Warnings, fmt.Sprintf("of the steps from samples to outputs, %s adds "+
		"most to %s: %s before it, %s with it", names[largest], row.Text(), text[0], text[1]))
}

// warnHidden names the row that converters and the integers of the front end break by themselves on
// the sequences that have samples, and that passes since the others of its sequences have none.
func (r *Result) warnHidden() {
	text, most := "", 0.0
	for _, row := range r.Chain.Rows {
		l := r.judged(row.RowName)
		if !row.isError() || l == nil || l.Verdict != Pass {
			continue
		}
		before, value := row.Float, row.FrontEnd
		if l.Relative {
			before, value = 0, row.FrontEnd/row.Float-1
		}
		if over := value / l.Allowed(); before <= l.Allowed() && over > max(1, most) {
			figures := tellApart(plainFigure, row.Float, row.FrontEnd)
			text, most = fmt.Sprintf("on the sign-off sequences with samples converters and "+
				"integers take %s from %s to %s, which is more than its tolerance; it passes "+
				"because its other sequences have no samples: give them samples, or take finer "+
				"converters", row.Text(), figures[0], figures[1]), over
		}
	}
	if text != "" {
		r.Warnings = append(r.Warnings, text)
	}
}
