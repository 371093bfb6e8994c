package report

import (
	"math"

	"kerf/budget"
	"kerf/dataset"
)

// Track is one sequence of the sign-off recordings, with the recorded outputs and those of the
// float and the integer network.
type Track struct {
	Sequence string        `json:"sequence"`
	Scenario string        `json:"scenario"`
	Steps    int           `json:"steps"` // of the whole sequence
	Every    int           `json:"every"` // of so many steps the one with the largest error is kept
	At       []int         `json:"at"`    // the steps that are kept, from 0
	Outputs  []TrackOutput `json:"outputs"`
}

// TrackOutput is one output of a track, in its unit; for a classifier the index of the class.
type TrackOutput struct {
	Output    string    `json:"output"`
	Unit      string    `json:"unit"`
	Classes   []string  `json:"classes,omitempty"`
	Reference []float64 `json:"reference"`
	Float     []float64 `json:"float"`
	Fixed     []float64 `json:"fixed"`
}

const (
	// mostTracks keeps the page readable, one sequence per scenario.
	mostTracks = 6
	// trackPoints is about one point per two pixels of a picture.
	trackPoints = 360
)

// signals are the reference and the outputs of both networks over one sequence [steps × outputs];
// of a classifier the one column is the class.
type signals struct {
	outputs                 int
	reference, float, fixed []float64
}

// signalsOf runs both networks over a sequence.
func signalsOf(r *budget.Result, s *dataset.Sequence) signals {
	in := r.Inputs
	n := len(in.Float.Outputs)
	v := signals{n, s.Y, make([]float64, s.Steps*n), make([]float64, s.Steps*n)}
	in.Float.Predict(s, v.float)
	r.Chosen.Fixed.Predict(s, v.fixed)
	if in.Float.Classes {
		return signals{1, classes(v.reference, n), classes(v.float, n), classes(v.fixed, n)}
	}
	return v
}

// classes returns the index of the largest score of every step.
func classes(scores []float64, n int) []float64 {
	index := make([]float64, len(scores)/n)
	for step := range index {
		index[step] = float64(dataset.Class(scores[step*n : (step+1)*n]))
	}
	return index
}

// squares sums the squared errors of one column.
func (v signals) squares(values []float64, output int) float64 {
	sum := 0.0
	for i := output; i < len(values); i += v.outputs {
		e := values[i] - v.reference[i]
		sum += float64(e * e)
	}
	return sum
}

// squared holds the squared errors of one sequence, summed over its steps, by output.
type squared struct{ float, fixed []float64 }

// judge runs both networks over the sign-off recordings, once for all pictures. It fills the errors
// of the spaces and returns the errors of the sequences.
func judge(r *budget.Result, spaces []OutputSpace) []squared {
	in := r.Inputs
	type judged struct {
		errors squared
		cells  []cellSums
	}
	var all []squared
	total := make([]cellSums, len(spaces))
	inOrder(in.Signoff, func(s *dataset.Sequence) judged {
		v := signalsOf(r, s)
		var one judged
		for o := range v.outputs {
			one.errors.float = append(one.errors.float, v.squares(v.float, o))
			one.errors.fixed = append(one.errors.fixed, v.squares(v.fixed, o))
		}
		for i := range spaces {
			one.cells = append(one.cells, spaces[i].errorSums(v, in.Float.Classes))
		}
		return one
	}, func(i int, one judged) {
		all = append(all, one.errors)
		if i == 0 {
			total = one.cells
			return
		}
		for k := range total {
			total[k].merge(one.cells[k])
		}
	})
	for i := range spaces {
		spaces[i].fillErrors(in, total[i])
	}
	return all
}

// tracks takes, of every scenario, the sequence in which the integer network is furthest from the
// reference: by the mean squared error of every output, over that of the float network on all
// sign-off recordings.
func tracks(r *budget.Result, errors []squared) []Track {
	rec := r.Inputs.Signoff
	scale := make([]float64, len(errors[0].float))
	for _, e := range errors {
		for o, v := range e.float {
			scale[o] += v / float64(rec.Steps())
		}
	}
	var all []Track
	for _, scenario := range rec.Scenarios() {
		worst, most := -1, math.Inf(-1)
		for i, s := range rec.Sequences {
			if s.Scenario != scenario {
				continue
			}
			size := 0.0
			for o, v := range errors[i].fixed {
				if scale[o] > 0 {
					size += v / float64(s.Steps) / scale[o]
				}
			}
			if size > most {
				worst, most = i, size
			}
		}
		if len(all) < mostTracks {
			all = append(all, newTrack(r, rec.Sequences[worst], scale))
		}
	}
	return all
}

// newTrack is made of one sequence; scale is that of [signals.thin].
func newTrack(r *budget.Result, s *dataset.Sequence, scale []float64) Track {
	v := signalsOf(r, s)
	t := Track{Sequence: s.Name, Scenario: s.Scenario, Steps: s.Steps,
		Every: (s.Steps + trackPoints - 1) / trackPoints}
	t.At = v.thin(t.Every, scale)
	in := r.Inputs
	for o := range v.outputs {
		row := TrackOutput{Output: in.Float.Outputs[o].Name, Unit: in.Float.Outputs[o].Unit}
		if in.Float.Classes {
			row.Output, row.Unit, row.Classes = in.Job.Outputs.Column, "",
				dataset.OutputNames(in.Float.Outputs)
		}
		for _, step := range t.At {
			i := step*v.outputs + o
			row.Reference = append(row.Reference, shown(v.reference[i]))
			row.Float = append(row.Float, shown(v.float[i]))
			row.Fixed = append(row.Fixed, shown(v.fixed[i]))
		}
		t.Outputs = append(t.Outputs, row)
	}
	return t
}

// thin takes of every so many steps the one with the largest error of the integer network, so that
// a picture loses no peak. scale is the mean square that counts as 1, by output.
func (v signals) thin(every int, scale []float64) []int {
	var at []int
	steps := len(v.reference) / v.outputs
	for from := 0; from < steps; from += every {
		worst, most := from, -1.0
		for step := from; step < min(from+every, steps); step++ {
			size := 0.0
			for o := range v.outputs {
				e := v.fixed[step*v.outputs+o] - v.reference[step*v.outputs+o]
				if scale[o] > 0 {
					size += float64(e*e) / scale[o]
				}
			}
			if size > most {
				worst, most = step, size
			}
		}
		at = append(at, worst)
	}
	return at
}
