package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strconv"

	"github.com/spf13/cobra"

	"kerf/budget"
	"kerf/exporter/report"
	"kerf/fault"
	"kerf/prune"
	"kerf/recovery"
)

func (a *app) recoverCommand() *cobra.Command {
	var c choice
	var out, checkpoint string
	var epochs int
	var cmd *cobra.Command
	cmd = a.jobVerb(&cobra.Command{
		Use:   "recover JOB.toml",
		Short: "Train the cut network for a few epochs and write it",
		Long: `recover cuts as prune does, then trains what stays on the selection recordings, in
the number formats it will run in and with the network as given as its teacher, as
far as [recovery] of the job does not say otherwise. It shows the loss of every
epoch, and on the selection sequences that were held back what was won. --out writes
the network with float weights. plan does all this by itself when the job has
[recovery].

Ctrl-C ends it and leaves no network. With --checkpoint every whole epoch is kept, and
a later run goes on behind the last one, to the same result.`,
		Example: `  kerf recover job.toml --out recovered.safetensors
  kerf recover job.toml --keep-units 0,1,2,3,4,5,6,7 --weights int4 --checkpoint training.json`,
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
		return a.recoverAlone(ctx, in, c, out, checkpoint)
	})
	c.cutFlags(cmd.Flags())
	c.formatFlags(cmd.Flags())
	cmd.Flags().IntVar(&epochs, "epochs", 0, "passes over the recordings (default: as the job "+
		"says, or 20)")
	cmd.Flags().StringVar(&out, "out", "", "write the recovered float network (.safetensors or "+
		".npz; - for safetensors on stdout, without the tables)")
	cmd.Flags().StringVar(&checkpoint, "checkpoint", "", "file to keep the training in after "+
		"every epoch, and to go on from")
	return cmd
}

// recoverAlone trains the candidate that c gives or the search chooses, and writes the network
// where out asks for it.
func (a *app) recoverAlone(ctx context.Context, in *budget.Inputs, c choice,
	out, checkpoint string) (result, error) {
	pl, _, chosen, err := a.choose(ctx, in, c)
	if err != nil {
		return nil, err
	}
	step, end := a.ui.training()
	r, err := pl.RecoverOnce(ctx, chosen.Candidate, trainingFile(in, chosen, checkpoint), step)
	end()
	if err != nil {
		return nil, err
	}
	net := recovery.Renormalise(r.Net, in.Float.Features).Net
	shown := newRecoverResult(r, pl.HeldBackLoss(chosen.CutNet, r))
	shown.kept = keptOf(in.KeptFeatures(chosen.Candidate), len(in.Float.Features),
		chosen.Candidate.Units, len(prune.Units(in.Float.Net)))
	if out != "" {
		if err := a.writeNetwork(ctx, out, in, chosen.Candidate, net); err != nil ||
			out == standardStream {
			return nil, err
		}
		shown.JobLines = append(shown.JobLines, layerLines(net)...)
	}
	return shown, nil
}

// trainingFile returns the checkpoint of a training, and nil without a path. Its key stands for all
// that the training depends on: every file of the job, the candidate and the settings.
func trainingFile(in *budget.Inputs, chosen *budget.Chosen, path string) *recovery.Checkpoint {
	if path == "" {
		return nil
	}
	hash := sha256.New()
	for _, f := range in.Files {
		if f.Role != budget.SignoffRole {
			fmt.Fprintln(hash, f.Role, f.SHA256)
		}
	}
	c := chosen.Candidate
	fmt.Fprintln(hash, version, c.Features, c.Units, c.Formats, in.Job.Recovery.Settings())
	return &recovery.Checkpoint{File: path, Key: hex.EncodeToString(hash.Sum(nil))}
}

// epochTable shows the losses of every epoch, and which epoch is kept.
func epochTable(r *budget.Recovered) report.Table {
	t := report.Table{Title: "Recovery training: loss per step and output",
		Head: []string{"epoch", "recordings trained on", "recordings held back", "kept"}, Words: 1}
	loss := func(v float64) string { return strconv.FormatFloat(v, 'g', 4, 64) }
	kept := func(epoch int) string {
		if epoch == r.Result.Best {
			return "kept"
		}
		return ""
	}
	t.Rows = append(t.Rows, []string{"0", "", loss(r.Result.Start), kept(0)})
	for i, e := range r.Result.Epochs {
		t.Rows = append(t.Rows,
			[]string{strconv.Itoa(i + 1), loss(e.Training), loss(e.HeldBack), kept(i + 1)})
	}
	if why := r.Result.Stopped; why != "" {
		t.Title += fmt.Sprintf(" (ended before its last epoch: %s)", why)
	}
	return t
}

// heldBackTable compares the float networks by the first metric, on all recordings and on each
// scenario.
func heldBackTable(rows []budget.Loss) report.Table {
	t := report.Table{Title: "Float networks on the selection sequences held back, which " +
		"chose the epoch", Head: []string{"output", "where", "metric", "float", "cut", "recovered"},
		Numbers: 3}
	number := func(v float64) string { return strconv.FormatFloat(v, 'g', 4, 64) }
	for _, l := range rows {
		if l.Region != "" || l.Sequences == 0 || l.Metric != rows[0].Metric {
			continue
		}
		t.Rows = append(t.Rows, []string{l.Output, l.Scenario, string(l.Metric) + " " + l.Unit,
			number(l.Float), number(l.Cut), number(l.Recovered)})
	}
	return t
}

// recoverResult is what kerf recover shows: losses per step and output.
type recoverResult struct {
	// loss on the recordings held back before the first epoch
	Start float64 `json:"start"`
	// the epoch that is kept, from 1; 0: none was better than the start
	Best     int           `json:"best"`
	Stopped  string        `json:"stopped"` // why it ended before the last epoch; empty: it did not
	Epochs   []epochRow    `json:"epochs"`
	HeldBack []heldBackRow `json:"held_back"`
	JobLines []string      `json:"job_lines"` // what a job needs to read the written network

	recovered *budget.Recovered
	losses    []budget.Loss
	kept      report.Table
}

type epochRow struct {
	Epoch    int     `json:"epoch"`
	Training float64 `json:"training"`  // on the recordings trained on, while the weights moved
	HeldBack float64 `json:"held_back"` // on those held back
}

// heldBackRow compares the float networks on the selection sequences held back, which chose the
// epoch.
type heldBackRow struct {
	budget.RowName
	Unit      string   `json:"unit"`
	Float     *float64 `json:"float"`
	Cut       *float64 `json:"cut"`
	Recovered *float64 `json:"recovered"`
}

func newRecoverResult(r *budget.Recovered, losses []budget.Loss) *recoverResult {
	result := &recoverResult{Start: r.Result.Start, Best: r.Result.Best, Stopped: r.Result.Stopped,
		Epochs: []epochRow{}, HeldBack: []heldBackRow{}, JobLines: []string{}, recovered: r,
		losses: losses}
	for i, e := range r.Result.Epochs {
		result.Epochs = append(result.Epochs, epochRow{i + 1, e.Training, e.HeldBack})
	}
	for _, l := range losses {
		result.HeldBack = append(result.HeldBack,
			heldBackRow{l.RowName, l.Unit,
				report.Finite(l.Float), report.Finite(l.Cut), report.Finite(l.Recovered)})
	}
	return result
}

func (r *recoverResult) tables() []report.Table {
	tables := []report.Table{r.kept, epochTable(r.recovered), heldBackTable(r.losses)}
	if len(r.JobLines) > 0 {
		tables = append(tables, layerTable(r.JobLines))
	}
	return tables
}
