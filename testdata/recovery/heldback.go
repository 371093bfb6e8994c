package main

import (
	"strings"

	"kerf/budget"
	"kerf/dataset"
)

// parts is the number of parts of the selection recordings that judge in turn; each scenario is
// dealt evenly.
const parts = 4

// bySequence is a predictor with a network of its own for every sequence.
type bySequence map[*dataset.Sequence]dataset.Predictor

// Predict implements [dataset.Predictor].
func (p bySequence) Predict(s *dataset.Sequence, dst []float64) { p[s].Predict(s, dst) }

// heldBackParts compensates, trains and calibrates once for each part, on the other parts. The
// ranking is that of all selection recordings.
func heldBackParts(pl *budget.Planner, c budget.Candidate) (*versions, error) {
	in := pl.Inputs()
	cut, recovered, cutFixed, recoveredInFixed := bySequence{}, bySequence{}, bySequence{},
		bySequence{}
	var epochs []string
	for part := range parts {
		rest, judging := deal(in.Selection, part)
		v, err := trained(in, in.Selection, rest, c)
		if err != nil {
			return nil, err
		}
		for _, s := range judging {
			cut[s], recovered[s], cutFixed[s], recoveredInFixed[s] = v.cut, v.recovered, v.cutFixed,
				v.recoveredInFixed
		}
		epochs = append(epochs, v.epochs)
	}
	return &versions{in.Selection, cut, recovered, cutFixed, recoveredInFixed,
		strings.Join(epochs, ", ")}, nil
}

// deal splits recordings into the sequences of a part, which judge, and the rest.
func deal(rec *dataset.Recordings,
	part int) (rest *dataset.Recordings, judging []*dataset.Sequence) {
	r := *rec
	r.Sequences = nil
	seen := map[string]int{}
	for _, s := range rec.Sequences {
		if seen[s.Scenario]%parts == part {
			judging = append(judging, s)
		} else {
			r.Sequences = append(r.Sequences, s)
		}
		seen[s.Scenario]++
	}
	return &r, judging
}
