package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"kerf/budget/cost"
	"kerf/exporter/report"
	"kerf/fault"
	"kerf/targets"
	"kerf/whole"
)

func (a *app) targetsFitCommand() *cobra.Command {
	var classes []string
	var out string
	cmd := a.verb(&cobra.Command{
		Use:   "fit PROFILE MEASUREMENTS.csv",
		Short: "Fit the costs of a profile to steps that were measured on a board",
		Long: `fit reads the lines that NAME_board.c of several handoffs printed on a board, fits the
costs of instruction classes to them, shows what is left over for every network, and
writes a profile of your own that says where its figures come from. The costs then
hold what flash adds at the clock of the measurement.

It refuses measurements that cannot tell the costs apart: there must be more
networks than costs, of different sizes and word widths.

PROFILE is a built-in profile, or one of your own when it ends in .toml. Measurements
may come from stdin (-).`,
		Example: `  kerf targets fit cortex-m4f board.csv --classes load_flash,branch_taken
  kerf targets fit cortex-m4f board.csv --classes load_flash --out my-board.toml`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) != 2 {
				return fault.New(fmt.Sprintf("%s takes a profile and a file of measurements, "+
					"got %d arguments", cmd.CommandPath(), len(args)),
					cmd.CommandPath()+" cortex-m4f board.csv")
			}
			return nil
		},
	}, func(_ context.Context, args []string) (result, error) {
		return a.fit(args[0], args[1], classes, out)
	})
	cmd.Flags().StringSliceVar(&classes, "classes", nil, "fit only these instruction classes "+
		"(default: all that the networks execute)")
	cmd.Flags().StringVar(&out, "out", "", "the new profile, - for stdout without the tables "+
		"(default: PROFILE-fitted.toml in this folder)")
	return cmd
}

// fit fits the profile to the measurements in file and writes it to out. The result is nil when the
// profile went to stdout.
func (a *app) fit(profile, file string, classes []string, out string) (result, error) {
	core, err := readProfile(profile)
	if err != nil {
		return nil, err
	}
	read := func() ([]byte, error) { return whole.ReadRegular(file, cost.MaxBoardBytes) }
	if file == standardStream {
		file = "stdin"
		read = func() ([]byte, error) { return whole.Read(a.stdin, cost.MaxBoardBytes) }
	}
	data, err := read()
	if err != nil {
		return nil, unreadable(file, err, "give the lines that NAME_board.c printed")
	}
	lines, err := cost.ReadBoardLines(bytes.NewReader(data), file)
	if err != nil {
		return nil, err
	}
	fitted, err := cost.FitProfile(core, lines, classes)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	named := nameOrigin(fitted, core, filepath.Base(file), data)
	if out == "" {
		out = named.Name + ".toml"
	}
	text := named.TOML()
	if _, err := targets.Parse(text, out); err != nil {
		return nil, fmt.Errorf("the fitted profile is not allowed: %w", err)
	}
	if out == standardStream {
		_, err := a.stdout.Write(text)
		return nil, err
	}
	if err := writeNew(out, text); err != nil {
		return nil, err
	}
	return newFitResult(fitted, out), nil
}

// nameOrigin gives the fitted profile a name of its own and every new figure its source.
func nameOrigin(f *cost.Fitted, core *targets.Profile, file string,
	data []byte) *targets.Profile {
	p := f.Profile
	p.Name, p.Title, p.TimingKind = core.Name+"-fitted", core.Title+", fitted to a board",
		"own measurement"
	networks := len(f.Rows)
	source := fmt.Sprintf("least squares over %d networks measured on a board, %s", networks, file)
	for _, c := range f.Costs {
		p.Costs[c.Class] = targets.Cost{Cycles: c.After, Source: source, Quality: "own measurement",
			Note: fmt.Sprintf("standard error %.2g; %s has %g", c.Error, core.Name, c.Before)}
	}
	p.Notes = append([]string{fmt.Sprintf("Fitted by kerf %s from profile %s and %s (SHA-256 "+
		"%x). The fitted costs hold what flash adds at the clock and flash settings of the "+
		"measurement: give no flash_wait with them.", version, core.Name, file,
		sha256.Sum256(data))}, core.Notes...)
	return p
}

// fitTables shows the fitted costs, and what is left over for every network.
func fitTables(f *cost.Fitted) []report.Table {
	costs := report.Table{Title: fmt.Sprintf("Fitted costs (condition number %.3g)", f.Condition),
		Head: []string{"instruction", "before", "fitted", "standard error"}, Numbers: 1}
	for _, c := range f.Costs {
		costs.Rows = append(costs.Rows,
			[]string{strings.ReplaceAll(c.Class, "_", " "),
				strconv.FormatFloat(c.Before, 'g', -1, 64), fmt.Sprintf("%.3f", c.After),
				fmt.Sprintf("%.2g", c.Error)})
	}
	rows := report.Table{Title: "Cycles of one step, and what is left over",
		Head:  []string{"lines", "measured", "before", "left", "fitted", "left", "network"},
		Words: 1}
	for _, r := range f.Rows {
		left := func(v float64) string {
			return fmt.Sprintf("%+.1f %%", 100*(r.Measured-v)/r.Measured)
		}
		rows.Rows = append(rows.Rows,
			[]string{strconv.Itoa(r.Lines), report.Quantity(r.Measured, "cycles"),
				report.Quantity(r.Before, "cycles"), left(r.Before),
				report.Quantity(r.After, "cycles"), left(r.After),
				r.Name + " " + strings.ReplaceAll(r.Network, ";", " ")})
	}
	return []report.Table{costs, rows}
}

// writeNew writes a file that must not be there yet.
func writeNew(path string, content []byte) error {
	err := whole.NewFile(path, content)
	if errors.Is(err, fs.ErrExist) {
		return fault.New(path+" is there already", "give another name with --out, or move "+
			"the file away").From(err)
	}
	if err != nil {
		return cannotWrite(path, err)
	}
	return nil
}

// cannotWrite returns the error for a file that cannot be written, without repeating its path.
func cannotWrite(path string, err error) error {
	return fault.New(path+" cannot be written: "+fault.Reason(err), "give another name with --out").
		From(err)
}

// fitResult is what kerf targets fit shows.
type fitResult struct {
	Profile string `json:"profile"` // file
	// condition number of the columns, scaled to equal length; 1 is best
	Condition float64     `json:"condition"`
	Costs     []fittedRow `json:"costs"`
	Networks  []leftRow   `json:"networks"`

	fitted *cost.Fitted
}

// fittedRow is the cost of one instruction class before and after the fit.
type fittedRow struct {
	Class    string  `json:"class"`
	Before   float64 `json:"before"` // cycles
	Fitted   float64 `json:"fitted"`
	StdError float64 `json:"std_error"`
}

// leftRow compares the measured cycles of one network with the old and the new estimate.
type leftRow struct {
	Name     string  `json:"name"`
	Network  string  `json:"network"`
	Lines    int     `json:"lines"`
	Measured float64 `json:"measured"`
	Before   float64 `json:"before"`
	Fitted   float64 `json:"fitted"`
}

func newFitResult(f *cost.Fitted, file string) *fitResult {
	r := &fitResult{Profile: file, Condition: f.Condition, Costs: []fittedRow{},
		Networks: []leftRow{}, fitted: f}
	for _, c := range f.Costs {
		r.Costs = append(r.Costs, fittedRow{c.Class, c.Before, c.After, c.Error})
	}
	for _, row := range f.Rows {
		r.Networks = append(r.Networks,
			leftRow{row.Name, row.Network, row.Lines, row.Measured, row.Before, row.After})
	}
	return r
}

func (r *fitResult) tables() []report.Table { return fitTables(r.fitted) }

// text prints the name of the new profile below the tables.
func (r *fitResult) text(w io.Writer, p page) error {
	if err := p.printTexts(w, r.tables()); err != nil {
		return err
	}
	_, err := fmt.Fprintf(w, "\nProfile: %s\n", r.Profile)
	return err
}
