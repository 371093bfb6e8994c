package draft

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"kerf/budget"
	"kerf/dataset"
	"kerf/fault"
	"kerf/model"
)

// Draft is a job as far as a network and a recording tell it. The rest is guessed.
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
	Fit        []Fit
	Steps      int // of the recording that the guess was tried on
}

// Fit says how near the network comes to one recorded output with these guesses.
type Fit struct {
	Output string
	// Share is the part of the variance that the network explains; of a classifier, the part of
	// the steps whose class is right. It is below 0 where the mean would do better.
	Share float64
}

// goodFit is the share below which a guess is doubted: a network that explains less than half was
// trained for something else, or its inputs are other ones (our choice).
const goodFit = 0.5

// IsDoubtful reports whether the network with these guesses is far from an output that was
// recorded.
func (d *Draft) IsDoubtful() bool {
	return slices.ContainsFunc(d.Fit, func(f Fit) bool { return !(f.Share >= goodFit) })
}

// New reads a network and a recording and guesses the rest of a job: which columns are features and
// outputs, by order and by trying; channel and kind of a feature, by its name; the normalisations,
// by trying the usual ones. The guess with which the network fits the recorded outputs best is
// taken. The error says which file cannot be read, or which guess found nothing that fits; it is
// of kind [dataset.ErrInput], an error of package model, or one of a file.
func New(modelFile, selection string) (*Draft, error) {
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
		if msg := dataset.NameFault(name); msg != "" {
			return &fault.Error{Kind: dataset.ErrInput, File: d.Selection, Line: 1,
				Name: dataset.InColumn(name), Msg: msg,
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
	if pathError := new(os.PathError); errors.As(first, &pathError) &&
		!errors.Is(first, model.ErrFormat) {
		return nil, budget.CannotRead(d.Model, pathError, "give a network: .onnx, .safetensors "+
			"or .npz")
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
