package draft

import (
	"cmp"
	"context"
	"errors"
	"math"
	"os"
	"slices"

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
	// Choices are readings of the model file, the best first: one, or several that the recording
	// does not tell apart, of which the user has to choose one.
	Choices []Choice
	Next    *Choice // the best other one; nil if there is none
	// NextIsBetter says that Next explains more, and is not taken because it has what is not usual
	// (see [model.Reading]) and does not halve the error.
	NextIsBetter bool
	Readings     int // ways to read the model file that were tried
	Selection    string
	Signoff      []string // empty: nobody said
	Features     []dataset.Feature
	Outputs      []dataset.Output // empty for a classifier
	Classes      []string
	Column       string   // of the class
	Ignored      []string // columns that are neither feature nor output
	Normalised   string   // of the features, in words
	Scaled       string   // of the outputs, in words
	Steps        int      // of the recording that the guess was tried on
}

// Choice is a reading of the model file with what it explains.
type Choice struct {
	Layers   []model.LayerSpec // none of a file that says all itself
	Inferred bool              // the job need not list the layers
	Fit      []Fit
	// Rescaled are outputs whose mean and std in the draft are not those of the training, if this
	// is how the network is to be read.
	Rescaled []Rescaled
}

// String returns the layers in one line.
func (c Choice) String() string { return model.Spec{Layers: c.Layers}.String() }

// Fit says how near the network comes to one recorded output with these guesses.
type Fit struct {
	Output string
	// Share is the part of the variance that the network explains; of a classifier, the part of
	// the steps whose class is right. It is below 0 where the mean would do better.
	Share float64
}

// quality is the mean share of a reading. NaN is as bad as can be; what is far off is far off.
func quality(fits []Fit) float64 {
	sum := 0.0
	for _, f := range fits {
		if math.IsNaN(f.Share) {
			return math.Inf(-1)
		}
		sum += math.Max(f.Share, -1) / float64(len(fits))
	}
	return sum
}

// goodFit is the share below which a guess is doubted: a network that explains less than half was
// trained for something else, or its inputs are other ones (our choice).
const goodFit = 0.5

// Fit says how near the network comes to every recorded output with the best guesses.
func (d *Draft) Fit() []Fit { return d.Choices[0].Fit }

// IsDoubtful reports whether the network with these guesses is far from an output that was
// recorded, or would come much nearer with another mean and std of an output.
func (d *Draft) IsDoubtful() bool {
	return d.explainsLittle() || slices.ContainsFunc(d.Choices, func(c Choice) bool {
		return len(c.Rescaled) > 0
	})
}

// explainsLittle reports whether the network with these guesses is far from an output.
func (d *Draft) explainsLittle() bool {
	return slices.ContainsFunc(d.Fit(), func(f Fit) bool { return !(f.Share >= goodFit) })
}

// IsOpen reports whether the user has to choose a reading of the model file.
func (d *Draft) IsOpen() bool { return len(d.Choices) > 1 }

// New reads a network and a recording and guesses the rest of a job: how the model file is to be
// read, by trying; which columns are features and outputs, by order and by trying; channel and kind
// of a feature, by its name; the normalisations, by trying the usual ones. The guess with which the
// network fits the recorded outputs best is taken.
//
// progress is called with the percentage of the work that is done and 100, and may be nil. The
// error is that of ctx, or says which file cannot be read, or which guess found nothing that fits;
// then it is of kind [dataset.ErrInput], an error of package model, or one of a file.
func New(ctx context.Context, modelFile, selection string,
	progress func(done, all int)) (*Draft, error) {
	readings, err := readNetwork(modelFile)
	if err != nil {
		return nil, err
	}
	columns, err := readColumns(selection)
	if err != nil {
		return nil, err
	}
	d := &Draft{Model: modelFile, Selection: selection,
		Convention: readings[0].Spec.Convention, Readings: len(readings)}
	var contests []*contest
	var misfit error
	for _, alike := range bySize(readings) {
		guesses, err := d.columnGuesses(alike[0], columns)
		misfit = cmp.Or(misfit, err)
		for _, g := range guesses {
			contests = append(contests, &contest{columns: g, readings: alike})
		}
	}
	if len(contests) == 0 {
		return nil, misfit
	}
	best, err := d.hold(ctx, contests, progress)
	if err != nil {
		return nil, err
	}
	if err := d.take(ctx, best); err != nil {
		return nil, err
	}
	g := best.columns
	d.Ignored = dataset.NamesWithout(columns, slices.Concat(g.features, g.outputs,
		[]string{g.column}))
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

// readNetwork lists the ways to read a model file.
func readNetwork(path string) ([]model.Reading, error) {
	readings, err := model.Readings(path)
	if pathError := new(os.PathError); errors.As(err, &pathError) &&
		!errors.Is(err, model.ErrFormat) {
		return nil, budget.CannotRead(path, pathError, "give a network: .onnx, .safetensors or "+
			".npz")
	}
	return readings, err
}

// bySize groups readings by the numbers of inputs and outputs of their networks.
func bySize(readings []model.Reading) [][]model.Reading {
	var groups [][]model.Reading
	for _, r := range readings {
		at := slices.IndexFunc(groups, func(g []model.Reading) bool {
			return g[0].Inputs == r.Inputs && g[0].Outputs == r.Outputs
		})
		if at < 0 {
			groups = append(groups, nil)
			at = len(groups) - 1
		}
		groups[at] = append(groups[at], r)
	}
	return groups
}
