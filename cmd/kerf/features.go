package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strconv"

	"github.com/spf13/cobra"

	"kerf/budget"
	"kerf/exporter/report"
	"kerf/fault"
	"kerf/frontend"
)

func (a *app) featuresCommand() *cobra.Command {
	var out string
	cmd := a.jobVerb(&cobra.Command{
		Use:   "features JOB.toml",
		Short: "Compute features from raw samples, and compare with the recordings",
		Long: `features computes every feature that features.csv defines by raw samples, in double
precision, and holds it against the recordings. Where both differ it looks for the
definition that a notebook used (another harmonic, sign or unit, RMS for peak, sine for
cosine, a window that begins a sample later, a baseline over its whole stretch, power for
amplitude, the factor of another unit) and says the line to write, or what a device cannot
compute of it.

--out writes the sequences that have samples as recordings to train with: the computed
features anew, as features.csv defines them and with all digits, everything else as it
was recorded. The files are selection.csv and signoff.csv; where one of them is there
already, features writes nothing.`,
		Example: `  kerf features job.toml
  kerf features job.toml --json
  kerf features job.toml --out computed`,
	}, a.loadUncompared, func(ctx context.Context, in *budget.Inputs) (result, error) {
		if in.Raw == nil {
			return nil, fault.New("the job has no raw samples", "[raw] and [[channel]] name them, "+
				"the column computed of features.csv says what is computed")
		}
		defer a.ui.phase("computing features from samples")()
		r := newFeaturesResult(in)
		if out == "" {
			return r, nil
		}
		var err error
		r.Files, err = a.writeComputed(ctx, in, out)
		return r, err
	})
	cmd.Flags().StringVar(&out, "out", "", "folder for recordings with the computed features")
	return cmd
}

// writeComputed writes recordings with computed features into a folder, and returns their paths:
// all of them, or none. Nothing is written after ctx has ended.
func (a *app) writeComputed(ctx context.Context, in *budget.Inputs, dir string) ([]string, error) {
	if dir == standardStream {
		return nil, fault.New("--out: recordings of two sets cannot go to stdout", "name a folder")
	}
	selection, signoff, without := in.RecomputedCSV()
	paths, files := []string{}, [][]byte{}
	for _, set := range []struct {
		name string
		text []byte
	}{{"selection.csv", selection}, {"signoff.csv", signoff}} {
		if set.text == nil {
			continue
		}
		path := filepath.Join(dir, set.name)
		if _, err := os.Lstat(path); err == nil {
			return nil, alreadyDrafted(path)
		}
		paths, files = append(paths, path), append(files, set.text)
	}
	if len(paths) == 0 {
		return nil, fault.New("--out: no sequence of the recordings has samples",
			"[raw] names files with samples of the same sequences")
	}
	if without > 0 {
		a.ui.note(fmt.Sprintf("%s without samples: not written", report.Plural(without,
			"sequence")))
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	return paths, writeAllNew(dir, paths, files)
}

// featuresResult is what kerf features shows.
type featuresResult struct {
	Features []computedRow `json:"features"`
	Files    []string      `json:"files"` // that --out has written
}

// computedRow is a feature that is computed from samples, beside what was recorded.
type computedRow struct {
	Name     string   `json:"name"`
	Channel  string   `json:"channel"`
	Unit     string   `json:"unit"`
	Computed string   `json:"computed"` // as features.csv has it
	RMS      float64  `json:"rms"`      // difference, in the unit
	Largest  float64  `json:"largest"`  // difference, in the unit
	InStd    *float64 `json:"rms_in_std"`
	MostStd  *float64 `json:"largest_in_std"`
	Sequence string   `json:"sequence"` // where the largest is
	Step     int      `json:"step"`
	Steps    int      `json:"steps"`         // that were compared
	Faint    int      `json:"faint"`         // below the floor, not compared
	Floor    string   `json:"floor"`         // and where it comes from; empty of a feature without
	OfFaint  float64  `json:"faint_largest"` // difference below the floor, in the unit
	Below    bool     `json:"faint_differs"` // the recordings have something else there
	Turned   int      `json:"turned"`        // angles that are whole turns away
	Within   bool     `json:"within"`        // the difference is small enough
	Found    bool     `json:"found"`         // a definition that gives what was recorded
	Line     string   `json:"line"`          // to write into features.csv; of one that was found
	Why      string   `json:"why"`           // a device cannot compute that
	Remark   string   `json:"remark"`        // on what was found, such as a factor
}

func newFeaturesResult(in *budget.Inputs) *featuresResult {
	r := &featuresResult{Features: []computedRow{}, Files: []string{}}
	for _, c := range in.ComputedFeatures() {
		row := computedRow{Name: c.Feature.Name, Channel: c.Feature.Channel, Unit: c.Feature.Unit,
			Computed: c.Feature.Computed, RMS: c.Difference.RMS, Largest: c.Difference.Largest,
			InStd:    report.Finite(c.Difference.RMS / c.Spread),
			MostStd:  report.Finite(c.Difference.Largest / c.Spread),
			Sequence: c.Difference.Sequence, Step: c.Difference.Step, Steps: c.Difference.Steps,
			Faint: c.Difference.Faint, Turned: c.Difference.Turned, Within: c.Within,
			Floor: c.Floor, OfFaint: c.Difference.FaintLargest, Below: c.Faint, Found: c.Found}
		if c.Found {
			row.Line, row.Why, row.Remark = c.Reading.Line(), c.Reading.Why(), c.Reading.Remark()
		}
		r.Features = append(r.Features, row)
	}
	return r
}

// isBroken reports whether a feature is not what was recorded.
func (r *featuresResult) isBroken() bool {
	for _, f := range r.Features {
		if !f.Within {
			return true
		}
	}
	return false
}

func (r *featuresResult) tables() []report.Table {
	t := report.Table{Title: "Features computed from samples, against the recordings",
		Head: []string{"feature", "computed", "RMS, std", "largest", "steps", "faint",
			"outcome"},
		Numbers: 2, Words: 1}
	digits := func(v float64) string { return strconv.FormatFloat(v, 'g', 2, 64) }
	var said []string
	for _, f := range r.Features {
		outcome := "as recorded"
		switch {
		case f.Steps == 0:
			outcome = "not compared"
		case f.Turned > 0 && f.InStd != nil && *f.InStd <= frontend.MostRMS:
			outcome = "turns differ"
		case !f.Within:
			outcome = "differs"
		case f.Below:
			outcome = "0 below the floor"
		}
		if !f.Within {
			said = append(said, f.sentence())
		}
		if f.Below && f.Steps > 0 {
			said = append(said, fmt.Sprintf("%s: %d of %d steps lie below %s: a device has 0 "+
				"there, and the recordings do not; floor in [[channel]] sets it.", f.Name, f.Faint,
				f.Faint+f.Steps, f.Floor))
		}
		t.Rows = append(t.Rows, []string{f.Name, f.Computed, report.Optional(f.InStd, digits),
			report.Optional(f.MostStd, digits), strconv.Itoa(f.Steps), strconv.Itoa(f.Faint),
			outcome})
	}
	tables := []report.Table{t}
	if len(said) > 0 {
		tables = append(tables, sentenceTable("What the recordings have instead", said))
	}
	if len(r.Files) > 0 {
		tables = append(tables, sentenceTable("Recordings with computed features", r.Files))
	}
	return tables
}

// sentence says of a feature that differs what was recorded, or where it differs most.
func (f *computedRow) sentence() string {
	switch {
	case f.Steps == 0:
		return fmt.Sprintf("%s: all %d steps lie below %s, so nothing is compared.", f.Name,
			f.Faint, f.Floor)
	case f.Found && f.Why == "" && f.Remark != "":
		return fmt.Sprintf("%s: in features.csv write %s (%s)", f.Name, f.Line, f.Remark)
	case f.Found && f.Why == "":
		return fmt.Sprintf("%s: in features.csv write %s.", f.Name, f.Line)
	case f.Found:
		return fmt.Sprintf("%s: a device cannot compute what was recorded: %s. The nearest that "+
			"it can is %s; compute the recordings so and train with that.", f.Name, f.Why, f.Line)
	}
	return fmt.Sprintf("%s: no definition that was tried gives what was recorded; the largest "+
		"difference is in sequence %s, step %d.", f.Name, f.Sequence, f.Step)
}
