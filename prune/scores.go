package prune

import (
	"fmt"
	"io"
	"maps"
	"math"
	"slices"
	"sort"

	"kerf/dataset"
	"kerf/fault"
)

// All is the scenario or output name that stands for all of them together.
const All = "all"

// Scores says how much each item (feature, group of features or unit) contributes: one value per
// item, scenario and output, 0 or more. Within one scenario and output the values have one unit;
// between outputs units may differ.
type Scores struct {
	Items   []string // names
	Columns []Column // one per scenario and output

	// Deviations says how far each random draw moves every value that was computed with it, in the
	// unit of the value [columns][draws][items]. Draws are independent: over them, squares add up
	// to the variance of a value and products to the covariance of two values. So shares and sums
	// of scores get their errors from the same draws. Nil where errors are not known.
	Deviations [][][]float64
}

// Column has the scores of all items in one scenario, for one output.
type Column struct {
	Scenario string    // All or a scenario
	Output   string    // All or an output
	Values   []float64 // per item
}

// ReadScores reads scores.csv: feature[,scenario][,output],score, one line per value. file is the
// name that errors show. Every feature needs a score in every scenario and output that appears.
// Names that are neither declared nor recorded are of kind [dataset.ErrInput].
func ReadScores(r io.Reader, file string, features, outputs, scenarios []string) (*Scores, error) {
	t, err := dataset.OpenTable(r, file)
	if err != nil {
		return nil, err
	}
	need, err := t.NeedAll("columns: feature, scenario, output, score; scenario and output may "+
		"be left out", "feature", "score")
	if err != nil {
		return nil, err
	}
	b := &scoreBuilder{table: t, file: file, feature: need[0], score: need[1],
		features: index(features), scenarios: index(append([]string{All}, scenarios...)),
		outputs: index(append([]string{All}, outputs...)), found: map[[2]string]*Column{}}
	b.scenario, b.hasScenario = t.Has("scenario")
	b.output, b.hasOutput = t.Has("output")
	for {
		ok, err := t.Next()
		if err != nil {
			return nil, err
		}
		if !ok {
			return b.finish(features)
		}
		if err := b.add(); err != nil {
			return nil, err
		}
	}
}

// scoreBuilder gathers the rows of scores.csv.
type scoreBuilder struct {
	table                            *dataset.Table
	file                             string
	feature, scenario, output, score int // columns
	hasScenario, hasOutput           bool
	features, scenarios, outputs     map[string]int        // known names
	found                            map[[2]string]*Column // by scenario and output
	order                            [][2]string           // keys of found, as they first appear
}

// index returns the place of every name.
func index(names []string) map[string]int {
	m := make(map[string]int, len(names))
	for i, n := range names {
		m[n] = i
	}
	return m
}

// add adds the score of the present row of the table.
func (b *scoreBuilder) add() error {
	t := b.table
	feature := t.Text(b.feature)
	f, ok := b.features[feature]
	if !ok {
		return t.Fail(b.feature, fmt.Sprintf("score for the unknown feature %q", feature),
			fault.DidYouMeanOr(feature, slices.Sorted(maps.Keys(b.features)),
				"features.csv declares the features of the network"))
	}
	scenario, output := All, All
	if b.hasScenario {
		scenario = t.Text(b.scenario)
		if _, ok := b.scenarios[scenario]; !ok {
			return t.Fail(b.scenario, fmt.Sprintf("score for the scenario %q, of which the "+
				"selection recordings hold no sequence", scenario),
				fault.DidYouMeanOr(scenario, slices.Sorted(maps.Keys(b.scenarios)),
					`scenarios are those of the selection recordings, or "all"`))
		}
	}
	if b.hasOutput {
		output = t.Text(b.output)
		if _, ok := b.outputs[output]; !ok {
			return t.Fail(b.output, fmt.Sprintf("score for the unknown output %q", output),
				fault.DidYouMeanOr(output, slices.Sorted(maps.Keys(b.outputs)),
					`outputs.csv declares the outputs; "all" stands for all of them`))
		}
	}
	score, err := t.Number(b.score)
	if err != nil {
		return err
	}
	if score < 0 {
		return t.Fail(b.score, fmt.Sprintf("%q is below 0", t.Text(b.score)),
			"a score is a mean absolute attribution: 0 or more")
	}
	key := [2]string{scenario, output}
	column := b.found[key]
	if column == nil {
		column = &Column{Scenario: scenario, Output: output,
			Values: make([]float64, len(b.features))}
		for i := range column.Values {
			column.Values[i] = math.NaN()
		}
		b.found[key] = column
		b.order = append(b.order, key)
	}
	if !math.IsNaN(column.Values[f]) {
		return t.Fail(b.feature, fmt.Sprintf("second score for %s in scenario %s, output %s",
			feature, scenario, output), "one line per feature, scenario and output")
	}
	column.Values[f] = score
	return nil
}

// finish returns the scores, if no feature lacks one.
func (b *scoreBuilder) finish(features []string) (*Scores, error) {
	if len(b.order) == 0 {
		return nil, &fault.Error{Kind: dataset.ErrInput, File: b.file,
			Msg:  "the file holds no score",
			Hint: "one line per feature; leave out [scores] in the job to have them computed"}
	}
	scores := &Scores{Items: features}
	for _, key := range b.order {
		column := b.found[key]
		for f, v := range column.Values {
			if math.IsNaN(v) {
				return nil, &fault.Error{Kind: dataset.ErrInput, File: b.file,
					Msg: fmt.Sprintf("no score for feature %s in scenario %s, output %s",
						features[f], key[0], key[1]), Hint: "every feature needs a score " +
						"wherever another one has one"}
			}
		}
		scores.Columns = append(scores.Columns, *column)
	}
	return scores, nil
}

// Ranked is one item with its worst case: the scenario and output that need it most.
type Ranked struct {
	Item     int // index into Scores.Items
	Name     string
	Share    float64 // largest share of the sum of all scores, over scenarios and outputs
	Scenario string  // in which the share is largest
	Output   string  // for which the share is largest
}

// Ranking orders the items by their worst case, the least needed first. Scores of different outputs
// have different units, so the share of an item in the sum of its column is compared. A column for
// all scenarios or outputs counts only where there is no finer one, because an average hides the
// scenario that needs an item.
func (s *Scores) Ranking() []Ranked {
	ranking := make([]Ranked, len(s.Items))
	for i, name := range s.Items {
		ranking[i] = Ranked{Item: i, Name: name, Scenario: All, Output: All}
	}
	for _, c := range s.Finest() {
		sum := c.Total()
		if sum == 0 {
			continue
		}
		for i, v := range c.Values {
			if share := v / sum; share > ranking[i].Share {
				ranking[i].Share, ranking[i].Scenario, ranking[i].Output = share, c.Scenario,
					c.Output
			}
		}
	}
	sort.SliceStable(ranking, func(a, b int) bool { return ranking[a].Share < ranking[b].Share })
	return ranking
}

// hasFiner reports whether another column covers a part of what c covers.
func (s *Scores) hasFiner(c Column) bool {
	for _, d := range s.Columns {
		other := d.Scenario != c.Scenario || d.Output != c.Output
		inside := (c.Scenario == All || d.Scenario == c.Scenario) &&
			(c.Output == All || d.Output == c.Output)
		if other && inside {
			return true
		}
	}
	return false
}
