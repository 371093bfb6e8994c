package draft

import (
	"fmt"
	"os"
	"slices"
	"strconv"

	"kerf/budget"
	"kerf/dataset"
	"kerf/fault"
	"kerf/model"
	"kerf/whole"
)

// withFile opens a recording.
func withFile[T any](path string, read func(f *os.File, size int64) (T, error)) (T, error) {
	var none T
	file, size, err := whole.OpenRegular(path)
	if err != nil {
		return none,
			budget.CannotRead(path, err, "give a recording: .csv, .csv.gz, .npz or .parquet")
	}
	defer file.Close()
	return read(file, size)
}

// keyColumns are those of a recording that are no values.
var keyColumns = []string{"sequence", "scenario", "t"}

// readColumns lists the columns of values.
func readColumns(path string) ([]string, error) {
	all, err := withFile(path, func(f *os.File, size int64) ([]string, error) {
		return dataset.Columns(f, size, path)
	})
	if err != nil {
		return nil, err
	}
	for _, key := range keyColumns {
		if !slices.Contains(all, key) {
			return nil, &fault.Error{Kind: dataset.ErrInput, File: path, Line: 1,
				Name: dataset.InColumn(key),
				Msg:  "the column is missing", Hint: "a recording has the columns sequence, " +
					"scenario and t, then one per feature and output"}
		}
	}
	return dataset.NamesWithout(all, keyColumns), nil
}

// columnGuess says which columns are what.
type columnGuess struct {
	features, outputs []string
	column            string   // of the class
	classes           []string // in the order of the outputs
}

// columnGuesses lists what the order of the columns allows: features first and outputs last or
// next, or the other way round.
func (d *Draft) columnGuesses(r model.Reading, columns []string) ([]columnGuess, error) {
	n, m := r.Inputs, r.Outputs
	if m > 1 && (r.Import().Softmax || len(columns) == n+1) && len(columns) > n {
		g := columnGuess{features: columns[:n], column: columns[len(columns)-1]}
		var err error
		if g.classes, err = d.classes(g.column, m); err != nil {
			return nil, err
		}
		return []columnGuess{g}, nil
	}
	if len(columns) < n+m {
		return nil, &fault.Error{Kind: dataset.ErrInput, File: d.Selection,
			Msg: fmt.Sprintf("there are %d columns beside sequence, scenario and t, but the "+
				"network in %s takes %d features and gives %d outputs", len(columns), d.Model, n,
				m), Hint: "one column per feature, in the order of the network, then one per " +
				"output; or for a classifier one with the class"}
	}
	last := len(columns)
	guesses := []columnGuess{{features: columns[:n], outputs: columns[last-m:]}}
	if last > n+m {
		guesses = append(guesses, columnGuess{features: columns[:n], outputs: columns[n : n+m]},
			columnGuess{features: columns[last-n-m : last-m], outputs: columns[last-m:]})
	}
	return append(guesses, columnGuess{features: columns[last-n:], outputs: columns[:m]}), nil
}

// classes names the outputs of a classifier by what the recording holds: indices from 0, or names
// in alphabetical order.
func (d *Draft) classes(column string, outputs int) ([]string, error) {
	found, err := withFile(d.Selection, func(f *os.File, size int64) ([]string, error) {
		return dataset.DistinctTexts(f, size, d.Selection, column, outputs+1)
	})
	if err != nil {
		return nil, err
	}
	areIndices := !slices.ContainsFunc(found, func(text string) bool {
		i, err := strconv.Atoi(text)
		return err != nil || i < 0 || i >= outputs
	})
	if areIndices {
		var names []string
		for i := range outputs {
			names = append(names, fmt.Sprintf("class_%d", i))
		}
		return names, nil
	}
	if len(found) != outputs {
		return nil, &fault.Error{Kind: dataset.ErrInput, File: d.Selection,
			Name: dataset.InColumn(column),
			Msg: fmt.Sprintf("taken for the class, it has not the %d different texts that the "+
				"outputs of the network in %s need", outputs, d.Model),
			Hint: "it holds the name or the index of the class; put it behind the features"}
	}
	slices.Sort(found)
	return found, nil
}
