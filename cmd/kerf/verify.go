package main

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/signal"

	"github.com/spf13/cobra"

	"kerf/exporter"
)

func (a *app) verifyCommand() *cobra.Command {
	var against string
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "verify DIR",
		Short: "Prove that a handoff is whole and unchanged, and that it computes what it says",
		Long: `verify reads a handoff folder and compares every file with the manifest; renders
the reports anew from signoff.json; rebuilds the integer network from
NAME_network.json, proves the bound of every accumulator, emits the C anew and runs
the steps of the self-test; and where a C compiler is present, compiles the C and
runs its self-test. It writes nothing.

With --against it also makes the handoff again from the job, and compares byte for
byte: every figure then follows from the input files with the hashes shown.

Exit code: 0 verified, 1 it does not verify (the table says what and where), 2 there
is no handoff, or bad input.`,
		Example: `  kerf verify handoff
  kerf verify handoff --against job.toml`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) != 1 {
				return &usageError{fmt.Sprintf("%s takes one handoff folder, got %d arguments", cmd.CommandPath(), len(args)), cmd.CommandPath() + " DIR"}
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error {
			return a.verify(args[0], against, asJSON)
		},
	}
	cmd.Flags().StringVar(&against, "against", "", "job file that the handoff was made from: make it again and compare")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print JSON instead of the table")
	return cmd
}

func (a *app) verify(dir, job string, asJSON bool) error {
	v, err := exporter.Verify(dir, version)
	if err != nil {
		return err
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := v.RunSelftest(ctx); err != nil {
		return err
	}
	if job != "" {
		if err := a.verifyAgainst(v, job); err != nil {
			return err
		}
	}
	a.ui.endProgress()
	if !v.Verified {
		a.code = exitBroken
	}
	if asJSON {
		encoder := json.NewEncoder(a.stdout)
		encoder.SetIndent("", "  ")
		return encoder.Encode(v)
	}
	return a.printVerification(v)
}

// verifyAgainst makes the handoff again from its job.
func (a *app) verifyAgainst(v *exporter.Verification, job string) error {
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
	in, err := a.load(job)
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
		return skip(err.Error())
	}
	result, err := a.assess(in, c)
	if err != nil {
		return err
	}
	files, err := exporter.Files(result, version)
	if err != nil {
		return err
	}
	v.CheckAgain(files)
	return nil
}

// verifiedMeans says what the word is worth.
const verifiedMeans = "Verified: the files are those that kerf wrote, and they compute what they say. Whether that is good enough the sign-off says."

// printVerification draws what was checked, then what was found.
func (a *app) printVerification(v *exporter.Verification) error {
	verdict := "verified"
	if !v.Verified {
		verdict = "does not verify"
	}
	fmt.Fprintf(a.stdout, "Handoff: %s (kerf %s), %s\nSHA-256 of manifest.json, which stands for all of it:\n%s\n\n", v.Name, v.Kerf, verdict, v.Manifest)
	checks := exporter.Table{Title: "What was checked", Head: []string{"check", "result", "what"}, Numbers: 3}
	found := exporter.Table{Title: "What was found", Head: []string{"file", "problem"}, Numbers: 2}
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
	tables := []exporter.Table{checks}
	if len(found.Rows) > 0 {
		tables = append(tables, found)
	}
	if err := a.page.printTexts(a.stdout, tables); err != nil {
		return err
	}
	if v.Verified {
		fmt.Fprintf(a.stdout, "\n%s\n", a.page.wrap(verifiedMeans, 0))
	}
	_, err := fmt.Fprintf(a.stdout, "\n%s\n", a.page.wrap(exporter.Caution, 0))
	return err
}
