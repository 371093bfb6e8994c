package budget

import (
	"fmt"
	"math"
	"strings"

	"kerf/dataset"
	"kerf/quant"
)

// What is odd about recordings, but can be worked with, goes into the notes of the report; see
// docs/recordings.md.

// warnOneStep says how many sequences cannot show what the network remembers.
func (in loader) warnOneStep() {
	for _, set := range []struct {
		name RecordingSet
		rec  *dataset.Recordings
	}{{SelectionSet, in.Selection}, {SignoffSet, in.Signoff}} {
		short := 0
		for _, s := range set.rec.Sequences {
			if s.Steps == 1 {
				short++
			}
		}
		if short > 0 {
			in.Warnings = append(in.Warnings, fmt.Sprintf("%d of %d %s sequences have one step: "+
				"they show nothing of what the network remembers", short, len(set.rec.Sequences),
				set.name))
		}
	}
}

// warnConstants names features and outputs that have one value throughout.
func (in loader) warnConstants() {
	outputs := dataset.OutputNames(in.Float.Outputs)
	if in.Float.Classes {
		outputs = nil // a class that does not occur is judged by its own metric
	}
	for _, set := range []struct {
		name    RecordingSet
		meaning string
		rec     *dataset.Recordings
	}{
		{SelectionSet, "what they do when they move is not known to any choice", in.Selection},
		{SignoffSet, "how well they are followed when they move is not judged", in.Signoff},
	} {
		x := func(s *dataset.Sequence) []float64 { return s.X }
		y := func(s *dataset.Sequence) []float64 { return s.Y }
		still := append(constants(set.rec, dataset.FeatureNames(in.Float.Features), x),
			constants(set.rec, outputs, y)...)
		if len(still) > 0 {
			in.Warnings = append(in.Warnings, fmt.Sprintf("columns that have one value in all "+
				"%s recordings: %s; %s", set.name, strings.Join(still, ", "), set.meaning))
		}
	}
}

// constants lists the columns that never change, with their value.
func constants(rec *dataset.Recordings, names []string,
	values func(*dataset.Sequence) []float64) []string {
	var still []string
	for c, name := range names {
		first, same := values(rec.Sequences[0])[c], true
		for _, s := range rec.Sequences {
			for i := c; same && i < len(values(s)); i += len(names) {
				same = values(s)[i] == first
			}
		}
		if same {
			still = append(still, fmt.Sprintf("%s (%g)", dataset.ListNames([]string{name}), first))
		}
	}
	return still
}

// glitchShare is how much of the variance of a feature one value may make before it is named. In
// 1,000 normal values the largest makes 1 %, in 1,000 exponential ones 5 %; three equal glitches
// make a third each.
const glitchShare = 0.25

// leastForGlitch is how many steps make such a share unlikely for values that belong together.
const leastForGlitch = 100

// warnGlitches names single selection values that make much of the variance of their feature:
// number formats must hold them, which takes resolution from all others.
func (in loader) warnGlitches() {
	n := float64(in.Selection.Steps())
	if n < leastForGlitch {
		return
	}
	columns := in.Selection.Features
	each := func(visit func(s *dataset.Sequence, step, c int, v float64)) {
		for _, s := range in.Selection.Sequences {
			for i, v := range s.X {
				visit(s, i/columns, i%columns, v)
			}
		}
	}
	mean, squares, largest := make([]float64, columns), make([]float64, columns),
		make([]float64, columns)
	values, steps, sequences := make([]float64, columns), make([]int, columns),
		make([]*dataset.Sequence, columns)
	each(func(_ *dataset.Sequence, _, c int, v float64) { mean[c] += float64(v / n) })
	each(func(s *dataset.Sequence, step, c int, v float64) {
		square := float64((v - mean[c]) * (v - mean[c]))
		squares[c] += square
		if square > largest[c] {
			largest[c], values[c] = square, v
			steps[c], sequences[c] = step, s
		}
	})
	for c, f := range in.Float.Features {
		if share := largest[c] / squares[c]; share > glitchShare {
			in.Warnings = append(in.Warnings, fmt.Sprintf("one value of %s makes %.0f %% of its "+
				"variance in the selection recordings: %.4g %s in step %d of sequence %s of %s; "+
				"if it is a glitch, take it out: the number format has to hold it, and all "+
				"others lose resolution", f.Name, 100*share, values[c], f.Unit, steps[c]+1,
				sequences[c].Name, sequences[c].File))
		}
	}
}

// furthest is the feature value that lies furthest beyond a range, in units of the range.
type furthest struct {
	beyond, all int // values
	times       float64
	feature     dataset.Feature
	value       float64
	at          *dataset.Sequence
	step        int
}

// outliers looks for feature values that lie further from the mean of their feature than reach
// says, in its physical unit.
func (r *Result) outliers(rec *dataset.Recordings, reach func(i int) float64) furthest {
	var f furthest
	features := r.Chosen.Fixed.Features
	for _, s := range rec.Sequences {
		for step := range s.Steps {
			for i, k := range r.Chosen.Candidate.Features {
				v := s.X[step*rec.Features+k]
				times := math.Abs(v-features[i].Mean) / reach(i)
				f.all++
				if times > 1 {
					f.beyond++
				}
				if times > f.times {
					f.times, f.feature, f.value, f.at, f.step = times, features[i], v, s, step
				}
			}
		}
	}
	return f
}

// where says what the furthest value is.
func (f furthest) where() string {
	return fmt.Sprintf("the furthest is %s with %.4g %s, %.3g times as far from its mean as the "+
		"range reaches, in step %d of sequence %s of %s", f.feature.Name, f.value, f.feature.Unit,
		f.times, f.step+1, f.at.Name, f.at.File)
}

// warnOutliers names the selection value that lies furthest beyond the range
// that its feature may have in fixed point.
func (r *Result) warnOutliers() {
	features := r.Chosen.Fixed.Features
	f := r.outliers(r.Inputs.Selection, func(i int) float64 {
		return quant.LargestInput * features[i].Std
	})
	if f.beyond > 0 {
		r.Warnings = append(r.Warnings, fmt.Sprintf("%d feature values of the selection "+
			"recordings lie beyond the range of fixed point and saturate; %s", f.beyond, f.where()))
	}
}

// warnSaturation names the sign-off value that lies furthest beyond the range that was calibrated
// for its feature.
func (r *Result) warnSaturation() {
	if r.Counts.Inputs == 0 {
		return
	}
	const largestInt16 = 1<<15 - 1
	f := r.outliers(r.Inputs.Signoff, func(i int) float64 {
		_, factor := r.Chosen.Fixed.EncodeConstants(i)
		return largestInt16 / float64(factor)
	})
	r.Warnings = append(r.Warnings, fmt.Sprintf("%d of %d feature values of the sign-off "+
		"recordings lie beyond the calibrated range and saturate; %s", r.Counts.Inputs, f.all,
		f.where()))
}
