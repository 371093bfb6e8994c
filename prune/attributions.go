package prune

import (
	"bytes"
	"fmt"
	"maps"
	"math"
	"path/filepath"
	"slices"
	"strings"

	"kerf/dataset"
	"kerf/fault"
	"kerf/model"
)

// ReadScoreFile reads scores of the features of p from data. file is its name, which errors show.
// The name and the first line tell which form the file has:
//
//   - .csv with a column score: mean scores, see [ReadScores]
//   - .csv with one column per feature: raw attributions, one line per step or sequence, and maybe
//     the columns output, and scenario or sequence
//   - .npy: raw attributions [rows × features] or [rows × features × outputs]
//   - .npz: one such array, or one per scenario with its name
//
// Raw attributions have a sign; a score is the mean of their magnitude, per scenario and output.
// Rows that do not name their scenario are the steps, or the sequences, of the selection recordings
// in their order.
//
// Errors are of kind [dataset.ErrInput], and for broken arrays those of package model.
func ReadScoreFile(data []byte, file string, p *dataset.Float,
	selection *dataset.Recordings) (*Scores, error) {
	features, outputs := dataset.FeatureNames(p.Features), dataset.OutputNames(p.Outputs)
	b := &rawScores{file: file, features: features, outputs: outputs, selection: selection,
		found: map[[2]string]*rawColumn{}}
	var err error
	switch strings.ToLower(filepath.Ext(file)) {
	case ".npy":
		err = b.readNPY(data)
	case ".npz":
		err = b.readNPZ(data)
	default:
		t, openErr := dataset.OpenTable(bytes.NewReader(data), file)
		if openErr != nil {
			return nil, openErr
		}
		_, isMean := t.Has("score")
		_, alsoMean := t.Has("feature")
		if isMean || alsoMean {
			return ReadScores(bytes.NewReader(data), file, features, outputs, selection.Scenarios())
		}
		err = b.readTable(t)
	}
	if err != nil {
		return nil, err
	}
	return b.finish()
}

// rawScores adds up raw attributions.
type rawScores struct {
	file              string
	features, outputs []string
	selection         *dataset.Recordings
	found             map[[2]string]*rawColumn // by scenario and output
	order             [][2]string              // keys of found, as they first appear
}

// rawColumn has the sums of magnitudes in one scenario, for one output.
type rawColumn struct {
	sums []float64 // per feature
	rows int
}

// add adds one attribution. The features of a row come in order.
func (b *rawScores) add(scenario, output string, feature int, v float64) {
	key := [2]string{scenario, output}
	c := b.found[key]
	if c == nil {
		c = &rawColumn{sums: make([]float64, len(b.features))}
		b.found[key] = c
		b.order = append(b.order, key)
	}
	if feature == 0 {
		c.rows++
	}
	c.sums[feature] += math.Abs(v)
}

// finish returns the mean magnitudes.
func (b *rawScores) finish() (*Scores, error) {
	if len(b.order) == 0 {
		return nil, b.fail("the file holds no attribution",
			"one row per step or sequence; leave out [scores] in the job to have scores computed")
	}
	s := &Scores{Items: b.features}
	for _, key := range b.order {
		c := b.found[key]
		for i := range c.sums {
			if c.sums[i] /= float64(c.rows); math.IsInf(c.sums[i], 1) {
				return nil, b.fail(
					"the attributions of feature "+b.features[i]+" are too large to be added up",
					"attributions are in the unit of the output")
			}
		}
		s.Columns = append(s.Columns, Column{Scenario: key[0], Output: key[1], Values: c.sums})
	}
	return s, nil
}

// fail returns an error that names the file.
func (b *rawScores) fail(msg, hint string) error {
	return &fault.Error{Kind: dataset.ErrInput, File: b.file, Msg: msg, Hint: hint}
}

// readNPY adds the attributions of a .npy file.
func (b *rawScores) readNPY(data []byte) error {
	array, err := model.ReadNPY(data, b.file)
	if err != nil {
		return err
	}
	return b.addRows("the array", array, nil)
}

// readNPZ adds the attributions of a .npz file.
func (b *rawScores) readNPZ(data []byte) error {
	arrays, err := model.ReadNPZ(bytes.NewReader(data), int64(len(data)), b.file)
	if err != nil {
		return err
	}
	scenarios := b.selection.Scenarios()
	names := make([]string, 0, len(arrays))
	for name := range arrays {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		var scenario *string
		if slices.Contains(scenarios, name) {
			scenario = &name
		} else if len(names) > 1 {
			msg := "array %q has the name of no scenario of the selection recordings"
			hint := "one array for all, or one per scenario with its name: "
			return b.fail(fmt.Sprintf(msg, name),
				fault.DidYouMeanOr(name, scenarios, hint+dataset.ListNames(scenarios)))
		}
		if err := b.addRows(fmt.Sprintf("array %q", name), arrays[name], scenario); err != nil {
			return err
		}
	}
	return nil
}

// addRows adds the attributions of an array, which errors call what. If scenario is nil, its rows
// are those of the selection recordings.
func (b *rawScores) addRows(what string, array *model.Tensor, scenario *string) error {
	shape, outputs := array.Shape, []string{All}
	if len(shape) == 3 {
		outputs = b.outputs
	}
	want := []int{len(b.features), len(outputs)}[:max(0, min(2, len(shape)-1))]
	if len(shape) < 2 || len(shape) > 3 || !slices.Equal(shape[1:], want) {
		return b.fail(fmt.Sprintf("%s has the shape %v", what, shape),
			fmt.Sprintf("raw attributions are rows × %d features, or rows × %d features × %d "+
				"outputs, a row per step or sequence", len(b.features), len(b.features),
				len(b.outputs)))
	}
	var scenarios []string
	if scenario == nil {
		var err error
		if scenarios, err = b.scenariosOf(what, shape[0]); err != nil {
			return err
		}
	}
	for i, v := range array.Data {
		row, feature, output := i/len(outputs)/len(b.features), i/len(outputs)%len(b.features),
			i%len(outputs)
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return b.fail(fmt.Sprintf("%s has %v in row %d (from 0) for feature %s", what, v, row,
				b.features[feature]), "attributions are finite numbers")
		}
		if scenario != nil {
			b.add(*scenario, outputs[output], feature, v)
		} else {
			b.add(scenarios[row], outputs[output], feature, v)
		}
	}
	return nil
}

// scenariosOf returns the scenario of every row, where rows are the steps or the sequences of the
// selection recordings.
func (b *rawScores) scenariosOf(what string, rows int) ([]string, error) {
	var scenarios []string
	switch rows {
	case b.selection.Steps():
		for _, s := range b.selection.Sequences {
			scenarios = append(scenarios, slices.Repeat([]string{s.Scenario}, s.Steps)...)
		}
	case len(b.selection.Sequences):
		for _, s := range b.selection.Sequences {
			scenarios = append(scenarios, s.Scenario)
		}
	default:
		return nil, b.fail(fmt.Sprintf("%s has %d rows, the selection recordings have %d steps "+
			"in %d sequences", what, rows, b.selection.Steps(), len(b.selection.Sequences)),
			"one row per step or per sequence, in the order of the recordings, or name the "+
				"scenario: a column scenario in .csv, an array per scenario in .npz")
	}
	return scenarios, nil
}

// readTable adds the attributions of a table with a column per feature.
func (b *rawScores) readTable(t *dataset.Table) error {
	columns, err := t.NeedAll("mean scores have the columns feature and score, raw attributions "+
		"one column per feature", b.features...)
	if err != nil {
		return err
	}
	outputColumn, hasOutput := t.Has("output")
	scenarioOf, err := b.namedScenarios(t)
	if err != nil {
		return err
	}
	unnamed := map[string][]float64{} // rows that do not name their scenario, by output
	for {
		ok, err := t.Next()
		if err != nil {
			return err
		}
		if !ok {
			break
		}
		output, scenario := All, ""
		if hasOutput {
			if output = t.Text(outputColumn); output != All && !slices.Contains(b.outputs, output) {
				return t.Fail(outputColumn, fmt.Sprintf("attribution for the unknown output %q",
					output), fault.DidYouMeanOr(output, b.outputs,
					`outputs.csv declares the outputs; "all" stands for all of them`))
			}
		}
		if scenarioOf != nil {
			if scenario, err = scenarioOf(); err != nil {
				return err
			}
		}
		for i, c := range columns {
			v, err := t.Number(c)
			if err != nil {
				return err
			}
			if scenarioOf != nil {
				b.add(scenario, output, i, v)
			} else {
				unnamed[output] = append(unnamed[output], v)
			}
		}
	}
	for _, output := range append([]string{All}, b.outputs...) {
		if values := unnamed[output]; values != nil {
			what := "the table"
			if output != All {
				what += " for output " + output
			}
			scenarios, err := b.scenariosOf(what, len(values)/len(columns))
			if err != nil {
				return err
			}
			for i, v := range values {
				b.add(scenarios[i/len(columns)], output, i%len(columns), v)
			}
		}
	}
	return nil
}

// namedScenarios returns a function that reads the scenario of the present row, or nil when rows
// name neither scenario nor sequence.
func (b *rawScores) namedScenarios(t *dataset.Table) (func() (string, error), error) {
	scenario, hasScenario := t.Has("scenario")
	sequence, hasSequence := t.Has("sequence")
	switch {
	case hasScenario:
		known := append(b.selection.Scenarios(), All)
		return func() (string, error) {
			name := t.Text(scenario)
			if !slices.Contains(known, name) {
				return "", t.Fail(scenario, fmt.Sprintf("attribution for the scenario %q, of "+
					"which the selection recordings hold no sequence", name),
					fault.DidYouMeanOr(name, known,
						`scenarios are those of the selection recordings, or "all"`))
			}
			return name, nil
		}, nil
	case hasSequence:
		of := map[string]string{}
		for _, s := range b.selection.Sequences {
			if earlier, twice := of[s.Name]; twice && earlier != s.Scenario {
				return nil, b.fail(fmt.Sprintf("two selection recordings have a sequence %s, in "+
					"different scenarios", s.Name), "add a column scenario")
			}
			of[s.Name] = s.Scenario
		}
		return func() (string, error) {
			name := t.Text(sequence)
			found, ok := of[name]
			if !ok {
				return "", t.Fail(sequence, fmt.Sprintf("attribution for the sequence %q, which "+
					"the selection recordings do not hold", name),
					fault.DidYouMeanOr(name, slices.Sorted(maps.Keys(of)),
						"scores come from selection recordings"))
			}
			return found, nil
		}, nil
	}
	return nil, nil
}
