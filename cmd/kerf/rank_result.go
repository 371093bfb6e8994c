package main

import (
	"kerf/budget"
	"kerf/exporter/report"
	"kerf/prune"
)

// rankResult is what kerf rank shows: scores as shares of the sum over all items, in each scenario
// for each output.
type rankResult struct {
	Features  []needRow    `json:"features"` // the most needed first
	Units     []needRow    `json:"units"`
	Channels  []shareRow   `json:"channels"`
	Kinds     []shareRow   `json:"kinds"`
	Sums      []sumRow     `json:"sums"`      // of the scores of all features
	Agreement []agreedRow  `json:"agreement"` // of the feature rankings of two scenarios
	Moves     []moveRow    `json:"moves"`     // between scenarios, the furthest first
	Findings  []findingRow `json:"findings"`
	Methods   []playedRow  `json:"methods"` // none where the job gives the scores

	in     *budget.Inputs
	ranked *ranked
}

// needRow is one feature or unit in its worst case.
type needRow struct {
	Name     string   `json:"name"`
	Scenario string   `json:"scenario"`
	Output   string   `json:"output"`
	Share    *float64 `json:"share"` // null where nothing has a score
	StdError *float64 `json:"std_error"`
}

// shareRow is one group of features in one scenario, for one output.
type shareRow struct {
	Name     string   `json:"name"`
	Scenario string   `json:"scenario"`
	Output   string   `json:"output"`
	Share    *float64 `json:"share"`
}

type sumRow struct {
	Output   string  `json:"output"`
	Scenario string  `json:"scenario"`
	Sum      float64 `json:"sum"` // in the unit of the output, or of the scores of the job
}

type agreedRow struct {
	First       string   `json:"first"`
	Second      string   `json:"second"`
	Correlation *float64 `json:"correlation"` // Spearman's rank correlation
}

type moveRow struct {
	Name      string  `json:"name"`
	Highest   float64 `json:"highest"` // rank, 1 is the most needed
	HighestIn string  `json:"highest_in"`
	Lowest    float64 `json:"lowest"`
	LowestIn  string  `json:"lowest_in"`
}

// findingRow is one sentence.
type findingRow struct {
	Finding string `json:"finding"`
}

// playedRow is how the Shapley values of one sort of players were computed.
type playedRow struct {
	Of          string `json:"of"`
	Players     int    `json:"players"`
	AllSubsets  bool   `json:"all_subsets"`
	Pairs       *int   `json:"pairs"` // of permutations per sequence; null with all subsets
	Backgrounds int    `json:"backgrounds"`
	Others      int    `json:"others"`
}

func newRankResult(in *budget.Inputs, r *ranked) *rankResult {
	result := &rankResult{
		Features: needRows(r.features), Units: needRows(r.units), Channels: shareRows(r.channels),
		Kinds: shareRows(r.kinds),
		Sums:  []sumRow{}, Agreement: []agreedRow{}, Moves: []moveRow{},
		Findings: findingRows(sentences(r)), Methods: []playedRow{}, in: in, ranked: r,
	}
	for _, c := range r.features.Finest() {
		result.Sums = append(result.Sums, sumRow{c.Output, c.Scenario, c.Total()})
	}
	agreement := r.features.Agree()
	for i, row := range agreement.Correlation {
		for j, v := range row[:i] {
			result.Agreement = append(result.Agreement,
				agreedRow{agreement.Scenarios[j], agreement.Scenarios[i], report.Finite(v)})
		}
	}
	if len(agreement.Scenarios) > 1 {
		for _, m := range agreement.Moves {
			result.Moves = append(result.Moves,
				moveRow{m.Name, m.Highest, m.HighestIn, m.Lowest, m.LowestIn})
		}
	}
	for _, c := range r.computed {
		v := c.values
		row := playedRow{
			Of: c.players, Players: len(v.Items), AllSubsets: v.Pairs == 0,
			Backgrounds: v.Backgrounds, Others: v.Others,
		}
		if v.Pairs > 0 {
			row.Pairs = &v.Pairs
		}
		result.Methods = append(result.Methods, row)
	}
	return result
}

func (r *rankResult) tables() []report.Table { return rankTables(r.in, r.ranked) }

func needRows(scores *prune.Scores) []needRow {
	rows := []needRow{}
	ranking := scores.Ranking()
	for i := len(ranking) - 1; i >= 0; i-- {
		r := ranking[i]
		row := needRow{Name: r.Name, Scenario: r.Scenario, Output: r.Output,
			Share: report.Finite(r.Share)}
		if scores.Deviations != nil {
			row.StdError = report.Finite(scores.ShareError(r))
		}
		rows = append(rows, row)
	}
	return rows
}

func shareRows(groups *prune.Scores) []shareRow {
	rows := []shareRow{}
	for i, name := range groups.Items {
		for _, c := range groups.Finest() {
			rows = append(rows,
				shareRow{name, c.Scenario, c.Output, report.Finite(c.Values[i] / c.Total())})
		}
	}
	return rows
}

func findingRows(sentences []string) []findingRow {
	rows := []findingRow{}
	for _, s := range sentences {
		rows = append(rows, findingRow{s})
	}
	return rows
}
