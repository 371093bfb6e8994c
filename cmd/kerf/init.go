package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"

	"github.com/spf13/cobra"

	"kerf/budget/draft"
	"kerf/dataset"
	"kerf/exporter/emit"
	"kerf/exporter/report"
	"kerf/fault"
)

func (a *app) initCommand() *cobra.Command {
	var out, name string
	var signoff []string
	cmd := a.verb(&cobra.Command{
		Use:   "init MODEL SELECTION",
		Short: "Write a commented job from a network and a recording",
		Long: `init reads a network and a selection recording and writes job.toml, features.csv and
outputs.csv. Which columns are features and outputs it guesses from their order and the
shape of the network; channel and kind of a feature from its name; means and standard
deviations it takes from the recording, or 0 and 1. Arrays (.npz, .safetensors) do not
say the order of layers, nor every cell and activation: there it lists all that fit the
shapes. It runs the network with every such guess and takes the one that gives the
recorded outputs best, and says how well, and how well the next best does.

Every guess is marked GUESS in a comment of the job; what only you know is marked
FILL IN, and kerf plan refuses the job without it. That may be the reading of the
network: where the recording does not tell several apart, each is a comment of the job,
and you take the # off one. Where one of the three files is there already, init writes
nothing.`,
		Example: `  kerf init model.npz selection.csv --signoff signoff.csv --out draft`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) != 2 {
				return fault.New(fmt.Sprintf("%s takes a network and a recording, got %d "+
					"arguments", cmd.CommandPath(), len(args)),
					cmd.CommandPath()+" model.onnx selection.csv")
			}
			return nil
		},
	}, func(ctx context.Context, args []string) (result, error) {
		return a.draft(ctx, args[0], args[1], signoff, name, out)
	})
	cmd.Flags().StringVar(&out, "out", ".", "folder for the three files")
	cmd.Flags().StringVar(&name, "name", "", "name of the job, prefix of every C identifier "+
		"(default: that of the model file)")
	cmd.Flags().StringSliceVar(&signoff, "signoff", nil, "recordings that only judge")
	return cmd
}

// draft writes the draft of a job into the folder out: all of its files, or none.
func (a *app) draft(ctx context.Context, model, selection string, signoff []string,
	name, out string) (result, error) {
	if name != "" {
		if err := emit.CheckPrefix(name); err != nil {
			return nil, err
		}
	}
	paths := []string{filepath.Join(out, "job.toml"), filepath.Join(out, "features.csv"),
		filepath.Join(out, "outputs.csv")}
	for _, path := range paths {
		if _, err := os.Lstat(path); err == nil {
			return nil, alreadyDrafted(path)
		}
	}
	for _, path := range signoff {
		if _, err := os.Stat(path); err != nil {
			return nil, unreadable(path, err, "--signoff names recordings that only judge")
		}
	}
	endReading := a.ui.phase("reading the network and the recording")
	endTrying := func() {}
	trying := sync.OnceValue(func() func(done, all int) {
		endReading()
		var step func(done, all int)
		step, endTrying = a.ui.progress("trying what the file may mean, percent")
		return step
	})
	d, err := draft.New(ctx, model, selection, func(done, all int) { trying()(done, all) })
	endReading()
	endTrying()
	if err != nil {
		return nil, err
	}
	if d.Name = name; name == "" {
		d.Name = jobName(model)
	}
	d.Model, d.Selection = fromFolder(out, model), fromFolder(out, selection)
	for _, path := range signoff {
		d.Signoff = append(d.Signoff, fromFolder(out, path))
	}
	files := [][]byte{d.TOML(), d.FeaturesCSV(), d.OutputsCSV()}
	if files[2] == nil {
		paths, files = paths[:2], files[:2]
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if err := writeAllNew(out, paths, files); err != nil {
		return nil, err
	}
	return newInitResult(d, paths), nil
}

// jobName turns the name of a model file into a name that C allows.
func jobName(model string) string {
	name := strings.ToLower(strings.TrimSuffix(filepath.Base(model), filepath.Ext(model)))
	name = strings.Trim(notInName.ReplaceAllString(name, "_"), "_")
	if emit.CheckPrefix(name) != nil {
		return "network"
	}
	return name
}

// notInName matches what a name in C does not hold, once letters are small.
var notInName = regexp.MustCompile(`[^a-z0-9]+`)

// fromFolder returns a path as a file in dir names it: relative, with slashes.
func fromFolder(dir, path string) string {
	from, err := filepath.Abs(dir)
	if err != nil {
		return path
	}
	to, err := filepath.Abs(path)
	if err != nil {
		return path
	}
	relative, err := filepath.Rel(from, to)
	if err != nil {
		return filepath.ToSlash(to) // on another drive
	}
	return filepath.ToSlash(relative)
}

// alreadyDrafted returns the error for a file that would be overwritten.
func alreadyDrafted(path string) error {
	return fault.New(path+" is there already", "choose another folder with --out, or move "+
		"the file away")
}

// writeAllNew writes files that must not be there yet: all of them, or none.
func writeAllNew(dir string, paths []string, files [][]byte) (err error) {
	_, statError := os.Stat(dir)
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return cannotWrite(dir, err)
	}
	written := 0
	defer func() {
		if err == nil {
			return
		}
		for _, path := range paths[:written] {
			os.Remove(path) // a failed run leaves no file; the first error is the one to report
		}
		if errors.Is(statError, fs.ErrNotExist) {
			os.Remove(dir)
		}
	}()
	for i, path := range paths {
		if err := writeNew(path, files[i]); err != nil {
			return err
		}
		written++
	}
	return nil
}

// initResult is what kerf init shows: what it wrote and guessed.
type initResult struct {
	Files    []string `json:"files"`
	Features []string `json:"features"`
	Outputs  []string `json:"outputs"`  // of a classifier its classes
	Column   string   `json:"column"`   // of the class; empty for a regression
	Ignored  []string `json:"ignored"`  // columns
	Readings int      `json:"readings"` // ways to read the model file that were tried
	// the best of them; several, where the recording does not tell them apart
	Choices    []readingRow `json:"choices"`
	Next       *readingRow  `json:"next"` // the best other one; null if there is none
	Normalised string       `json:"normalised"`
	Scaled     string       `json:"scaled"`
	Fit        []fitRow     `json:"fit"` // with the first of choices
	// whether the network with these guesses does not give what was recorded
	Doubtful bool     `json:"doubtful"`
	Rescaled []string `json:"rescaled"` // outputs that another mean and std would fit far better
	FillIn   []string `json:"fill_in"`  // keys of the job
}

// fitRow is the share of the variance of an output that the network explains, or of the steps whose
// class is right.
type fitRow struct {
	Output string   `json:"output"`
	Share  *float64 `json:"share"`
}

// readingRow is one way to read the model file.
type readingRow struct {
	Layers string   `json:"layers"`
	Fit    []fitRow `json:"fit"`
}

func fitRows(fits []draft.Fit) []fitRow {
	var rows []fitRow
	for _, f := range fits {
		rows = append(rows, fitRow{f.Output, report.Finite(f.Share)})
	}
	return rows
}

// String lists what is explained of every output.
func (r readingRow) String() string {
	var shares []string
	for _, f := range r.Fit {
		share := "nothing"
		if f.Share != nil {
			share = report.Percent(*f.Share)
		}
		shares = append(shares, share+" of "+f.Output)
	}
	return r.Layers + ": " + strings.Join(shares, ", ")
}

func newInitResult(d *draft.Draft, paths []string) *initResult {
	r := &initResult{Column: d.Column, Ignored: append([]string{}, d.Ignored...),
		Normalised: d.Normalised, Scaled: d.Scaled, Doubtful: d.IsDoubtful(), Readings: d.Readings,
		Rescaled: []string{}, FillIn: []string{}}
	for i, c := range d.Choices {
		reading := ""
		if d.IsOpen() {
			reading = fmt.Sprintf("reading %d: ", i+1)
		}
		for _, s := range c.Rescaled {
			r.Rescaled = append(r.Rescaled, reading+s.String())
		}
	}
	for _, p := range paths {
		r.Files = append(r.Files, filepath.ToSlash(p))
	}
	for _, f := range d.Features {
		r.Features = append(r.Features, f.Name)
	}
	r.Outputs = append([]string{}, d.Classes...)
	for _, o := range d.Outputs {
		r.Outputs = append(r.Outputs, o.Name)
	}
	r.Fit = fitRows(d.Fit())
	for _, c := range d.Choices {
		r.Choices = append(r.Choices, readingRow{c.String(), fitRows(c.Fit)})
	}
	if d.Next != nil {
		r.Next = &readingRow{d.Next.String(), fitRows(d.Next.Fit)}
	}
	if d.IsOpen() {
		r.FillIn = append(r.FillIn, "model.file")
	}
	if len(d.Signoff) == 0 {
		r.FillIn = append(r.FillIn, "recordings.signoff")
	}
	return r
}

func (r *initResult) tables() []report.Table {
	what := "outputs"
	if r.Column != "" {
		what = "classes, in column " + r.Column
	}
	t := report.Table{Title: "A draft: look at what is marked " + draft.Guess,
		Head: []string{"", "written or guessed"}, Numbers: 2}
	say := func(name, text string) {
		if text != "" {
			t.Rows = append(t.Rows, []string{name, text})
		}
	}
	say("files", dataset.ListNames(r.Files))
	if r.Readings > 1 {
		for i, c := range r.Choices {
			name := "reading of the network"
			if len(r.Choices) > 1 {
				name = fmt.Sprintf("reading %d of the network", i+1)
			}
			say(name, c.String())
		}
		if r.Next != nil {
			say("next best reading", r.Next.String())
		}
	}
	say("features", dataset.ListNames(r.Features))
	say("features' mean and std", r.Normalised)
	say(what, dataset.ListNames(r.Outputs))
	say("outputs' mean and std", r.Scaled)
	say("left out", dataset.ListNames(r.Ignored))
	for _, f := range r.Fit {
		text := ""
		if f.Share != nil {
			text = report.Percent(*f.Share)
		}
		if r.Column != "" {
			say("right "+f.Output, text+" of the steps")
		} else {
			say("explained of "+f.Output, text+" of its variance")
		}
	}
	for _, s := range r.Rescaled {
		say("doubt", s)
	}
	if r.Doubtful && len(r.Rescaled) == 0 {
		say("doubt", "that is little: the order of the columns, or mean and std, are probably "+
			"not those of the training")
	}
	say("to fill in", strings.Join(r.FillIn, ", "))
	return []report.Table{t}
}
