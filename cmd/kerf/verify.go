package main

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"os"

	"github.com/spf13/cobra"

	"kerf/exporter"
	"kerf/exporter/report"
	"kerf/fault"
)

func (a *app) verifyCommand() *cobra.Command {
	var against string
	cmd := a.verb(&cobra.Command{
		Use:   "verify DIR",
		Short: "Prove that a handoff is whole and unchanged, and that it computes what it says",
		Long: `verify reads a handoff folder and compares every file with the manifest; renders
the reports anew from signoff.json; rebuilds the integer network from
NAME_network.json, proves the bound of every accumulator, emits the C anew and runs
the steps of the self-test; and where a C compiler is present, compiles the C and
runs its self-test. It writes nothing.

With --against it also makes the handoff again from the job, and compares byte for
byte: every figure then follows from the input files with the hashes shown.

Exit code: 0 verified, 1 it does not verify or could not be checked as a whole (the
table says what and where), 2 there is no handoff, or bad input.`,
		Example: `  kerf verify handoff
  kerf verify handoff --against job.toml`,
		Args: oneHandoff,
	}, func(ctx context.Context, args []string) (result, error) {
		if args[0] == standardStream {
			return nil, fault.New("a handoff is a folder, which a stream cannot carry",
				"kerf verify DIR")
		}
		return a.verify(ctx, args[0], against)
	})
	cmd.Flags().StringVar(&against, "against", "", "job file that the handoff was made from: "+
		"make it again and compare")
	return cmd
}

// verify checks a handoff, and with a job makes it again.
func (a *app) verify(ctx context.Context, dir, job string) (result, error) {
	v, err := exporter.Verify(dir, version)
	if err != nil {
		return nil, err
	}
	if err := v.RunSelftest(ctx); err != nil {
		return nil, err
	}
	if job != "" {
		if err := a.verifyAgainst(ctx, v, job); err != nil {
			return nil, err
		}
	}
	return &verification{v}, nil
}

// verifyAgainst makes the handoff again from its job and compares every byte. What keeps it from
// that is a check that was skipped, and no error.
func (a *app) verifyAgainst(ctx context.Context, v *exporter.Verification, job string) error {
	if _, err := os.Stat(job); err != nil {
		return unreadable(job, err, "give the job file that the handoff was made from")
	}
	skip := func(why string) error {
		v.Add(exporter.Check{What: "made again", Skipped: true, Detail: "not made: " + why})
		return nil
	}
	if !v.Readable() {
		return skip("the manifest cannot be read")
	}
	if !v.CheckInputs(job) {
		return skip("the inputs are others")
	}
	in, err := a.load(ctx, job)
	if err != nil {
		return err
	}
	if !v.CheckLoaded(in) {
		return skip("the inputs are others")
	}
	if v.Kerf != version {
		return skip(fmt.Sprintf("made by kerf %s, this is %s", v.Kerf, version))
	}
	c, err := choiceFrom(v.ByHand())
	if err != nil {
		v.Add(exporter.Check{What: "made again",
			Findings: []exporter.Finding{{File: exporter.ManifestFile, Problem: err.Error()}}})
		return nil
	}
	if v.Measured() {
		if err := requireTools(ctx, in, nil); err != nil {
			return skip(fmt.Sprintf("its figures were measured, which cannot be done here: %v",
				err))
		}
	}
	_, files, err := a.makeHandoff(ctx, in, c, nil, v.Measured())
	if err := cmp.Or(err, ctx.Err()); err != nil {
		return err // a training that was interrupted gives another network
	}
	v.CheckAgain(files)
	return nil
}

// verifiedMeans says what "verified" stands for.
const verifiedMeans = "Verified: the files are those that kerf wrote, and they compute what " +
	"they say. Whether that is good enough the sign-off says."

// verification is what kerf verify shows.
type verification struct {
	*exporter.Verification
}

// isBroken reports whether something does not hold or could not be checked.
func (v *verification) isBroken() bool { return !v.Verified }

// tables returns what was checked, then what was found, if anything.
func (v *verification) tables() []report.Table {
	checks := report.Table{Title: "What was checked", Head: []string{"check", "result", "what"},
		Numbers: 3}
	found := report.Table{Title: "What was found", Head: []string{"file", "problem"}, Numbers: 2}
	for _, c := range v.Checks {
		result := "holds"
		switch {
		case len(c.Findings) > 0:
			result = "does not hold"
		case c.Skipped:
			result = "not checked"
		}
		checks.Rows = append(checks.Rows, []string{c.What, result, c.Detail})
		for _, f := range c.Findings {
			found.Rows = append(found.Rows, []string{f.File, f.Problem})
		}
	}
	if len(found.Rows) == 0 {
		return []report.Table{checks}
	}
	return []report.Table{checks, found}
}

// text prints the verdict and the hash of the manifest in front of the tables.
func (v *verification) text(w io.Writer, p page) error {
	verdict := "verified"
	switch {
	case v.Found():
		verdict = "does not verify"
	case !v.Verified:
		verdict = "not verified: not everything could be checked"
	}
	fmt.Fprintf(w, "Handoff: %s (kerf %s), %s\nSHA-256 of manifest.json, which stands for all "+
		"of it:\n%s\n\n", report.Visible(v.Name), report.Visible(v.Kerf), verdict, v.Manifest)
	if err := p.printTexts(w, v.tables()); err != nil {
		return err
	}
	if v.Verified {
		fmt.Fprintf(w, "\n%s\n", p.wrap(verifiedMeans, 0))
	}
	_, err := fmt.Fprintf(w, "\n%s\n", p.wrap(report.Caution, 0))
	return err
}
