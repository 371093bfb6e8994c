package draft

import (
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"kerf/budget"
	"kerf/dataset"
	"kerf/model"
	"kerf/whole"
)

// Draft is a job as far as a network and a recording tell it. All else is guessed, and tried on the
// recording.
type Draft struct {
	Name       string
	Model      string // files as the draft names them
	Convention string // of the names in the model file; empty for ONNX
	// what the model file does not say, as it fits the recording best; empty where it says all
	Layers     []model.LayerSpec
	Readings   int // ways to read the model file that were tried
	Selection  string
	Signoff    []string // empty: nobody said
	Features   []dataset.Feature
	Outputs    []dataset.Output // empty for a classifier
	Classes    []string
	Column     string   // of the class
	Ignored    []string // columns that are neither feature nor output
	Normalised string   // of the features, in words
	Scaled     string   // of the outputs, in words
	Fit        []DraftFit
	Steps      int // of the recording that the guess was tried on
}

// DraftFit is how well the network with everything that was guessed gives what was recorded.
type DraftFit struct {
	Output string
	// of the variance that it explains; of a classifier, of the steps whose class is right
	Share float64
}

// goodFit is the share below which a guess is doubted: a network that explains less than half was
// trained for something else, or its inputs are other ones (our choice).
const goodFit = 0.5

// IsDoubtful tells that the network with these guesses does not give what was recorded.
func (d *Draft) IsDoubtful() bool {
	return slices.ContainsFunc(d.Fit, func(f DraftFit) bool { return !(f.Share >= goodFit) })
}

// NewDraft reads a network and a recording and guesses the rest of a job: which columns are
// features and outputs, by order and by trying; channel and kind of a feature, by its name;
// normalisations, by trying those that are usual. What fits the recorded outputs best is taken.
// Errors say what cannot be guessed.
func NewDraft(modelFile, selection string) (*Draft, error) {
	d := &Draft{Model: modelFile, Selection: selection}
	readings, err := d.importAny()
	if err != nil {
		return nil, err
	}
	d.Readings = len(readings)
	imported := readings[0].imported
	columns, err := readColumns(selection)
	if err != nil {
		return nil, err
	}
	guesses, err := d.columnGuesses(imported, columns)
	if err != nil {
		return nil, err
	}
	best := math.Inf(-1)
	var failed error
	for _, g := range guesses {
		tried, err := d.try(readings, g)
		if err != nil {
			failed = errors.Join(failed, err)
			continue
		}
		for _, t := range tried {
			if t.quality > best {
				best = t.quality
				*d = t.draft
				d.Ignored = dataset.NamesWithout(columns,
					slices.Concat(g.features, g.outputs, []string{g.column}))
			}
		}
	}
	if math.IsInf(best, -1) {
		return nil, failed
	}
	return d, d.checkNames()
}

// checkNames refuses columns of the recording whose names no table of features or outputs may have.
func (d *Draft) checkNames() error {
	features, outputs := dataset.FeatureNames(d.Features), dataset.OutputNames(d.Outputs)
	for _, name := range slices.Concat(features, outputs, []string{d.Column}) {
		if fault := dataset.NameFault(name); fault != "" {
			return &dataset.InputError{File: d.Selection, Line: 1, Column: name, Msg: fault,
				Hint: "rename the column, with visible characters and single blanks only"}
		}
	}
	return nil
}

// reading is one way to read the model file.
type reading struct {
	spec     model.Spec
	imported *model.Import
}

// importAny reads the network, in every way that the file leaves open; the convention of arrays is
// the first that they follow.
func (d *Draft) importAny() ([]reading, error) {
	conventions := []string{""}
	switch strings.ToLower(filepath.Ext(d.Model)) {
	case ".safetensors":
		conventions = []string{"torch"}
	case ".npz":
		conventions = []string{"torch", "keras"}
	}
	var first error
	for _, c := range conventions {
		readings, err := readAll(d.Model, c)
		if err == nil {
			d.Convention = c
			return readings, nil
		}
		if first == nil {
			first = err
		}
	}
	if pathError := new(os.PathError); errors.As(first, &pathError) {
		return nil, budget.CannotRead(d.Model, pathError, "give a network: .onnx, .safetensors or .npz")
	}
	return nil, first
}

// readAll reads the network in every way that the file leaves open.
func readAll(path, convention string) ([]reading, error) {
	specs, err := model.Readings(path, convention)
	if err != nil {
		return nil, err
	}
	var readings []reading
	for _, s := range specs {
		imported, err := model.ImportFile(path, s)
		if err != nil {
			return nil, err
		}
		readings = append(readings, reading{s, imported})
	}
	return readings, nil
}

// withFile opens a recording.
func withFile[T any](path string, read func(f *os.File, size int64) (T, error)) (T, error) {
	var none T
	file, size, err := whole.OpenRegular(path)
	if err != nil {
		return none, budget.CannotRead(path, err, "give a recording: .csv, .csv.gz, .npz or .parquet")
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
			return nil, &dataset.InputError{File: path, Line: 1, Column: key,
				Msg: "the column is missing", Hint: "a recording has the columns sequence, " +
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
func (d *Draft) columnGuesses(imported *model.Import, columns []string) ([]columnGuess, error) {
	n, m := imported.Network.Inputs(), imported.Network.Outputs()
	if m > 1 && (imported.Softmax || len(columns) == n+1) && len(columns) > n {
		g := columnGuess{features: columns[:n], column: columns[len(columns)-1]}
		var err error
		if g.classes, err = d.classes(g.column, m); err != nil {
			return nil, err
		}
		return []columnGuess{g}, nil
	}
	if len(columns) < n+m {
		return nil, &dataset.InputError{File: d.Selection,
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
		return nil, &dataset.InputError{File: d.Selection, Column: column,
			Msg: fmt.Sprintf("taken for the class, it has not the %d different texts that the "+
				"outputs of the network in %s need", outputs, d.Model),
			Hint: "it holds the name or the index of the class; put it behind the features"}
	}
	slices.Sort(found)
	return found, nil
}
