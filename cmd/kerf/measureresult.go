package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"

	"kerf/budget"
	"kerf/exporter"
	"kerf/exporter/report"
	"kerf/targets/measure"
)

// requireTools refuses a job whose targets cannot be measured here, before any work.
func requireTools(ctx context.Context, in *budget.Inputs) error {
	for _, t := range in.Targets {
		if err := measure.Require(ctx, t.Core); err != nil {
			return fmt.Errorf("%s: %w", t.Name, err)
		}
	}
	return nil
}

// measureResult compiles and runs the C of a result for every target of the job and puts what it
// finds into the result.
func (a *app) measureResult(ctx context.Context, r *budget.Result) error {
	files, err := exporter.Files(r, version)
	if err != nil {
		return err
	}
	dir, err := os.MkdirTemp("", "kerf-measure-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	for name, content := range files {
		if err := os.WriteFile(filepath.Join(dir, name), content, 0o644); err != nil {
			return err
		}
	}
	report := report.NewSignoff(r, version)
	progress := a.ui.progress("measured target")
	var all []budget.Measurement
	for i, t := range r.Inputs.Targets {
		s := subject{t.Name, t.Core, rowsOf(report, t.Name)}
		found, err := measure.Network(ctx, t.Core, dir, r.Inputs.Job.Name,
			measure.Options{Flags: s.flags(r.Inputs.Job.Name), Search: true})
		if err != nil {
			return fmt.Errorf("%s: %w", t.Name, err)
		}
		m := budget.Measurement{
			Target: t.Name, Flash: float64(found.Flash), RAM: float64(found.RAM),
			Stack: float64(found.StackChain), Cycles: found.Longest.Cycles,
			Times: budget.StepTimes{Steps: len(found.Cycles), Least: found.MinCycles(),
				Mean: found.MeanCycles(), Most: found.MaxCycles(), Searched: found.Longest.Steps,
				Text: found.StepTimes()},
			Optimise: t.Core.Optimise, CyclesFrom: found.CyclesFrom,
		}
		for _, tool := range found.Tools {
			m.ToolNames, m.ToolVersion = append(m.ToolNames, tool.Name),
				append(m.ToolVersion, tool.Version)
		}
		all = append(all, m)
		progress(i+1, len(r.Inputs.Targets))
	}
	r.TakeMeasured(all)
	return nil
}
