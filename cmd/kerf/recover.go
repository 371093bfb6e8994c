package main

import (
	"context"
	"fmt"
	"slices"
	"strconv"

	"github.com/spf13/cobra"

	"kerf/budget"
	"kerf/exporter/report"
	"kerf/fault"
	"kerf/recovery"
)

func (a *app) recoverCommand() *cobra.Command {
	var c choice
	var out, file string
	var epochs int
	var cmd *cobra.Command
	cmd = a.jobVerb(&cobra.Command{
		Use:   "recover JOB.toml",
		Short: "Train smaller networks, and write the one that plan would take",
		Long: `recover does what plan does with [recovery] in the job, up to the choice: it looks
for the smallest network that holds once it is trained, on the selection recordings, with
the network as given as its teacher, as far as [recovery] does not say otherwise. With
--keep-features or --keep-units it trains the cut that is given. It shows what was
trained, the loss of every epoch of the last training, and what the network loses on
selection recordings that it was not trained on. --out writes it with float weights.

Ctrl-C ends it and leaves no network. With --checkpoint every training is kept, and a
later run of recover, plan or units goes on behind the last epoch, to the same result.`,
		Example: `  kerf recover job.toml --out recovered.safetensors
  kerf recover job.toml --keep-units 0,1,2,3,4,5,6,7 --weights int4 --checkpoint trainings.json`,
	}, a.loadExamined, func(ctx context.Context, in *budget.Inputs) (result, error) {
		var asked *int
		if cmd.Flags().Changed("epochs") {
			if epochs < 1 {
				return nil, fault.New(fmt.Sprintf("--epochs: %d epochs are no training", epochs),
					"1 or more")
			}
			asked = &epochs
		}
		in = in.WithRecovery(asked)
		if out != "" {
			if err := checkNetworkFile(out); err != nil {
				return nil, err
			}
		}
		checkpoint, err := a.openCheckpoint(in, file)
		if err != nil {
			return nil, err
		}
		return a.recoverAlone(ctx, in, c, out, checkpoint)
	})
	c.cutFlags(cmd.Flags())
	c.formatFlags(cmd.Flags())
	checkpointFlag(cmd.Flags(), &file)
	cmd.Flags().IntVar(&epochs, "epochs", 0, "passes over the recordings (default: as the job "+
		"says, or as many as make ten million steps)")
	cmd.Flags().StringVar(&out, "out", "", "write the recovered float network (.safetensors or "+
		".npz; - for safetensors on stdout, without the tables)")
	return cmd
}

// recoverAlone chooses and trains as plan does, and writes the network where out asks for it.
func (a *app) recoverAlone(ctx context.Context, in *budget.Inputs, c choice, out string,
	checkpoint *recovery.Checkpoint) (result, error) {
	pl, cut, chosen, err := a.choose(ctx, in, c)
	if err != nil {
		return nil, err
	}
	if chosen, err = a.recoverChoice(ctx, pl, cut, chosen, checkpoint); err != nil {
		return nil, err
	}
	net, recovered := chosen.CutNet.Net, chosen.Candidate.Recovered
	if recovered != nil {
		net = recovery.Renormalise(recovered.Net, in.Float.Features).Net
	} else {
		a.ui.note("no training led to a better choice: the network is as cut")
	}
	r := pl.Price(cut, chosen)
	r.Loss = pl.SelectionLoss(chosen)
	s := report.NewSignoff(r, version)
	s.MeasuredOn = budget.SelectionSet
	shown := &recoverResult{Features: s.Kept.Features, Units: s.Kept.Units, Recovery: s.Recovery,
		Epochs: epochRows(recovered), Attempts: append([]report.AttemptRow{}, s.Attempts...),
		Loss: s.Loss, Caution: s.Caution,
		JobLines: []string{}, signoff: s}
	if out != "" {
		if err := a.writeNetwork(ctx, out, in, chosen.Candidate, net); err != nil ||
			out == standardStream {
			return nil, err
		}
		shown.JobLines = append(shown.JobLines, layerLines(net)...)
	}
	return shown, nil
}

// recoverResult is what kerf recover shows; the loss is on selection recordings, each sequence by
// networks that were trained without it.
type recoverResult struct {
	Features []string `json:"features"` // that stay
	Units    [][]int  `json:"units"`    // that stay; of a network from scratch its own
	// the last training; null: the network is as cut
	Recovery *report.RecoveryInfo `json:"recovery"`
	Epochs   []epochRow           `json:"epochs"`  // of that training
	Attempts []report.AttemptRow  `json:"trained"` // in the order of the search
	Loss     []report.LossRow     `json:"loss"`
	Caution  string               `json:"caution"`
	JobLines []string             `json:"job_lines"` // what a job needs to read the written network

	signoff *report.Signoff
}

// epochRow is one epoch of a training: losses per step and output.
type epochRow struct {
	Epoch    int      `json:"epoch"`     // from 1; 0: before the first
	Training *float64 `json:"training"`  // on the recordings trained on, while the weights moved
	HeldBack *float64 `json:"held_back"` // on those held back
}

// epochRows lists the epochs of the training that made a network; none where it was not trained.
func epochRows(r *budget.Recovered) []epochRow {
	if r == nil {
		return []epochRow{}
	}
	rows := []epochRow{{HeldBack: report.Finite(r.Result.Start)}}
	for i, e := range r.Result.Epochs {
		rows = append(rows, epochRow{i + 1, report.Finite(e.Training), report.Finite(e.HeldBack)})
	}
	return rows
}

func (r *recoverResult) tables() []report.Table {
	s := r.signoff
	tables := []report.Table{keptTable(s)}
	if len(r.Attempts) > 0 {
		tables = append(tables, s.AttemptTable(),
			sentenceTable("How to read it", []string{s.AttemptLegend()}))
	}
	if r.Recovery != nil {
		tables = append(tables, epochTable(r.Recovery, r.Epochs))
	}
	tables = slices.Concat(tables, []report.Table{s.FormatTable()}, s.AccuracyTables())
	if len(r.JobLines) > 0 {
		tables = append(tables, layerTable(r.JobLines))
	}
	return tables
}

// epochTable shows the losses of every epoch, and which epoch is kept.
func epochTable(info *report.RecoveryInfo, rows []epochRow) report.Table {
	t := report.Table{Title: "The last training: loss per step and output",
		Head: []string{"epoch", "recordings trained on", "recordings held back", "kept"}, Words: 1}
	if info.Stopped != "" {
		t.Title += fmt.Sprintf(" (ended before its last epoch: %s)", info.Stopped)
	}
	loss := func(v float64) string { return strconv.FormatFloat(v, 'g', 4, 64) }
	for _, e := range rows {
		kept := ""
		if e.Epoch == info.Best {
			kept = "kept"
		}
		t.Rows = append(t.Rows, []string{strconv.Itoa(e.Epoch),
			report.Optional(e.Training, loss), report.Optional(e.HeldBack, loss), kept})
	}
	return t
}
