package report

import (
	"math"
	"slices"
	"strconv"

	"kerf/budget"
	"kerf/prune"
)

// Pictures are the figures that the pictures of signoff.html show beyond the tables. They are
// rounded to five significant digits, more than a picture can show.
type Pictures struct {
	Scores *ScoreShares `json:"scores,omitempty"`
	Tracks []Track      `json:"tracks,omitempty"` // sign-off recordings
	// one per pair of the first three outputs, or the only output, or the classes
	Space []OutputSpace `json:"output_space,omitempty"`
	// s between two steps, when all targets agree on it
	Period float64 `json:"period,omitempty"`
}

// ScoreShares says how much of every output rests on every feature.
type ScoreShares struct {
	Scenarios []string       `json:"scenarios"`
	Features  []FeatureShare `json:"features"` // the most needed first
}

// FeatureShare is the share of one feature in the scores.
type FeatureShare struct {
	Feature  string    `json:"feature"`
	Channel  string    `json:"channel"`
	Kind     string    `json:"kind"`
	Kept     bool      `json:"kept"`
	Share    float64   `json:"share"` // in its worst case over scenarios and outputs
	Scenario string    `json:"scenario"`
	Output   string    `json:"output"`
	Shares   []float64 `json:"shares"` // per scenario, of the output that needs it most
}

// NewPictures measures the figures of the pictures; it runs the networks over all recordings.
func NewPictures(r *budget.Result) Pictures {
	spaces := outputSpaces(outputRanges(r.Inputs))
	fillStates(r, spaces)
	errors := judge(r, spaces)
	return Pictures{Scores: scoreShares(r), Tracks: tracks(r, errors), Space: spaces,
		Period: r.Inputs.Period()}
}

// scoreShares returns the shares by which the cut was made, or that the job gives; nil where
// neither is there, as in a choice made by hand.
func scoreShares(r *budget.Result) *ScoreShares {
	scores := r.Cut.FeatureScores
	if scores == nil {
		scores = r.Inputs.Scores
	}
	if scores == nil {
		return nil
	}
	columns := scores.Finest()
	s := &ScoreShares{Scenarios: scores.Scenarios()}
	kept := map[int]bool{}
	for _, k := range r.Chosen.Candidate.Features {
		kept[k] = true
	}
	ranking := scores.Ranking()
	slices.Reverse(ranking)
	for _, rank := range ranking {
		f := r.Inputs.Float.Features[rank.Item]
		row := FeatureShare{Feature: f.Name, Channel: f.Channel, Kind: f.Kind,
			Kept: kept[rank.Item], Share: shown(rank.Share), Scenario: rank.Scenario,
			Output: rank.Output}
		for _, scenario := range s.Scenarios {
			row.Shares = append(row.Shares, shown(largestShare(columns, scenario, rank.Item)))
		}
		s.Features = append(s.Features, row)
	}
	return s
}

// largestShare returns the share of an item in a scenario, for the output that needs it most.
func largestShare(columns []prune.Column, scenario string, item int) float64 {
	largest := 0.0
	for _, c := range columns {
		if total := c.Total(); c.Scenario == scenario && total > 0 {
			largest = max(largest, c.Values[item]/total)
		}
	}
	return largest
}

// shown rounds a figure to five significant digits; 0 for NaN.
func shown(v float64) float64 {
	const digits = 5
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return 0
	}
	// what has just been printed can be read
	rounded, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'g', digits, 64), 64)
	return rounded
}
