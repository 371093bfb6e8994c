package prune

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"sort"
	"strconv"
	"strings"

	"kerf/dataset"
)

// All is the scenario or output name that stands for all of them together.
const All = "all"

// Scores hold how much each item (feature or unit) contributes: one value per
// item, scenario and output, 0 or more. Within one scenario and output the
// values have one unit; between outputs they may differ.
type Scores struct {
	Items   []string
	Columns []Column
}

// Column is the scores of all items in one scenario, for one output.
type Column struct {
	Scenario string // All or a scenario
	Output   string // All or an output
	Values   []float64
}

// ReadScores reads scores.csv: feature[,scenario][,output],score, one line per
// value. Every feature needs a score in every scenario and output that appears.
// It refuses names that are neither declared nor recorded.
func ReadScores(r io.Reader, file string, features, outputs, scenarios []string) (*Scores, error) {
	reader := csv.NewReader(r)
	reader.ReuseRecord = true
	header, err := reader.Read()
	if err != nil {
		return nil, &dataset.InputError{File: file, Msg: "the file has no header line", Hint: "columns: feature, scenario, output, score"}
	}
	columns := map[string]int{"scenario": -1, "output": -1}
	for i, name := range header {
		columns[strings.TrimSpace(strings.TrimPrefix(name, "\ufeff"))] = i
	}
	for _, name := range []string{"feature", "score"} {
		if _, ok := columns[name]; !ok {
			return nil, &dataset.InputError{File: file, Line: 1, Column: name, Msg: "the column is missing", Hint: "columns: feature, scenario, output, score; scenario and output may be left out"}
		}
	}
	b := &scoreBuilder{file: file, features: index(features), scenarios: index(append([]string{All}, scenarios...)), outputs: index(append([]string{All}, outputs...)), found: map[[2]string]*Column{}}
	for {
		row, err := reader.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		line, _ := reader.FieldPos(0)
		if err != nil {
			return nil, &dataset.InputError{File: file, Line: line, Msg: err.Error(), Hint: "one line per feature, scenario and output"}
		}
		cell := func(name string) string {
			if columns[name] < 0 {
				return All
			}
			return strings.TrimSpace(row[columns[name]])
		}
		if err := b.add(line, cell("feature"), cell("scenario"), cell("output"), cell("score")); err != nil {
			return nil, err
		}
	}
	return b.finish(features)
}

type scoreBuilder struct {
	file                         string
	features, scenarios, outputs map[string]int
	found                        map[[2]string]*Column
	order                        [][2]string
}

func index(names []string) map[string]int {
	m := make(map[string]int, len(names))
	for i, n := range names {
		m[n] = i
	}
	return m
}

func (b *scoreBuilder) add(line int, feature, scenario, output, text string) error {
	fail := func(column, msg, hint string) error {
		return &dataset.InputError{File: b.file, Line: line, Column: column, Msg: msg, Hint: hint}
	}
	f, ok := b.features[feature]
	if !ok {
		return fail("feature", fmt.Sprintf("score for the unknown feature %q", feature), "features.csv declares the features of the network")
	}
	if _, ok := b.scenarios[scenario]; !ok {
		return fail("scenario", fmt.Sprintf("score for the scenario %q, of which the selection recordings hold no sequence", scenario), `scenarios are those of the selection recordings, or "all"`)
	}
	if _, ok := b.outputs[output]; !ok {
		return fail("output", fmt.Sprintf("score for the unknown output %q", output), `outputs.csv declares the outputs; "all" stands for all of them`)
	}
	score, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(score) || math.IsInf(score, 0) || score < 0 {
		return fail("score", fmt.Sprintf("%q is not a score", text), "a score is a mean absolute attribution: a finite number, 0 or more")
	}
	key := [2]string{scenario, output}
	column := b.found[key]
	if column == nil {
		column = &Column{Scenario: scenario, Output: output, Values: make([]float64, len(b.features))}
		for i := range column.Values {
			column.Values[i] = math.NaN()
		}
		b.found[key] = column
		b.order = append(b.order, key)
	}
	if !math.IsNaN(column.Values[f]) {
		return fail("feature", fmt.Sprintf("second score for %s in scenario %s, output %s", feature, scenario, output), "one line per feature, scenario and output")
	}
	column.Values[f] = score
	return nil
}

func (b *scoreBuilder) finish(features []string) (*Scores, error) {
	if len(b.order) == 0 {
		return nil, &dataset.InputError{File: b.file, Msg: "the file holds no score", Hint: "one line per feature; leave out [scores] in the job to have them computed"}
	}
	scores := &Scores{Items: features}
	for _, key := range b.order {
		column := b.found[key]
		for f, v := range column.Values {
			if math.IsNaN(v) {
				return nil, &dataset.InputError{File: b.file, Msg: fmt.Sprintf("no score for feature %s in scenario %s, output %s", features[f], key[0], key[1]), Hint: "every feature needs a score wherever another one has one"}
			}
		}
		scores.Columns = append(scores.Columns, *column)
	}
	return scores, nil
}

// Ranked is one item with its worst case: where it matters most.
type Ranked struct {
	Item     int // index into Scores.Items
	Name     string
	Share    float64 // largest share of the sum of all scores, over scenarios and outputs
	Scenario string  // where that is
	Output   string
}

// Ranking orders the items by their worst case, the least needed first. Scores
// of different outputs have different units, so what is compared is the share
// of an item in the sum of its column. Columns for single scenarios and single
// outputs decide; a column for all of them counts only where there is no finer
// one, because an average hides the scenario that needs an item.
func (s *Scores) Ranking() []Ranked {
	fine := func(c Column) (scenario, output bool) { return c.Scenario != All, c.Output != All }
	anyScenario, anyOutput := false, false
	for _, c := range s.Columns {
		scenario, output := fine(c)
		anyScenario = anyScenario || scenario
		anyOutput = anyOutput || output
	}
	ranking := make([]Ranked, len(s.Items))
	for i, name := range s.Items {
		ranking[i] = Ranked{Item: i, Name: name, Scenario: All, Output: All}
	}
	for _, c := range s.Columns {
		scenario, output := fine(c)
		if scenario != anyScenario || output != anyOutput {
			continue
		}
		sum := 0.0
		for _, v := range c.Values {
			sum += v
		}
		if sum == 0 {
			continue
		}
		for i, v := range c.Values {
			if share := v / sum; share > ranking[i].Share {
				ranking[i].Share, ranking[i].Scenario, ranking[i].Output = share, c.Scenario, c.Output
			}
		}
	}
	sort.SliceStable(ranking, func(a, b int) bool { return ranking[a].Share < ranking[b].Share })
	return ranking
}
