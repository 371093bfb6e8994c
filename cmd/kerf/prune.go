package main

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"kerf/budget"
	"kerf/dataset"
	"kerf/exporter/report"
	"kerf/fault"
	"kerf/model"
	"kerf/whole"
)

func (a *app) pruneCommand() *cobra.Command {
	var c choice
	var out string
	cmd := a.candidateVerb(&cobra.Command{
		Use:   "prune JOB.toml",
		Short: "Cut features and units, and show the path",
		Long: `prune searches backwards from the whole network: in every round the front ends,
features and hidden units of a few candidates are ranked anew, and what saves most for
its loss is taken out where the selection recordings stay within every tolerance in
every scenario and region. [search] of the job says what the search minimises and
how long it may look, [features] and [units] what to keep or drop whatever is
measured. The first table is the way to the choice, with what could not go; the
second says of its neighbours why they were not chosen. What goes is replaced by its
best linear prediction from what stays, folded into the weights, and the first dense
layer is fitted anew; the last table compares that with simpler ways. With --keep-features
or --keep-units the cut is the one given. prune trains nothing: with [recovery] in the job
plan goes on from this cut, and so does recover. --out writes the cut float network as
safetensors, with torch names, whatever format the job's network has.`,
		Example: `  kerf prune job.toml
  kerf prune job.toml --keep-units 0,1,2,3,4,5,6,7 --out cut.safetensors`,
	}, &c, func(ctx context.Context, job string) (*budget.Inputs, error) {
		if out != "" {
			if err := checkNetworkFile(out); err != nil {
				return nil, err
			}
		}
		return a.loadExamined(ctx, job)
	}, func(ctx context.Context, pl *budget.Planner, cut *budget.Cut,
		chosen *budget.Chosen) (result, error) {
		if out != "" {
			if err := a.writeNetwork(ctx, out, pl.Inputs(), chosen.Candidate,
				chosen.CutNet.Net); err !=
				nil || out == standardStream {
				return nil, err
			}
		}
		s := report.NewSignoff(pl.Price(cut, chosen), version)
		r := &pruneResult{Path: s.Path, Features: s.Kept.Features, Units: s.Kept.Units,
			Methods: []methodRow{}, JobLines: []string{}, signoff: s}
		if chosen.CutNet.Net.Parameters() < pl.Inputs().Float.Net.Parameters() {
			stop := a.ui.phase("comparing ways to replace what goes")
			var err error
			r.methods, err = pl.CompareMethods(ctx, chosen.Candidate)
			stop()
			if err != nil {
				return nil, err
			}
			r.Methods = methodRows(r.methods)
		}
		if out != "" {
			r.JobLines = append(r.JobLines, layerLines(chosen.CutNet.Net)...)
		}
		return r, nil
	})
	cmd.Flags().StringVar(&out, "out", "", "write the cut float network (.safetensors or .npz; "+
		"- for safetensors on stdout, without the tables)")
	return cmd
}

// pruneResult is what kerf prune shows: the path of the cut, what stays, and the loss of every way
// to replace what goes.
type pruneResult struct {
	Path     []report.PathRow `json:"path"`
	Features []string         `json:"features"` // that stay
	Units    [][]int          `json:"units"`    // that stay, one list per recurrent layer
	Methods  []methodRow      `json:"methods"`
	JobLines []string         `json:"job_lines"` // what a job needs to read the written network

	signoff *report.Signoff
	methods []budget.MethodLoss
}

// methodRow is the error of the cut network for one way to replace what it lost, on selection
// recordings.
type methodRow struct {
	budget.RowName
	Unit   string  `json:"unit"`
	Method string  `json:"method"`
	Float  float64 `json:"float"`
	Cut    float64 `json:"cut"`
}

// methodRows lists the losses of every way, way by way.
func methodRows(methods []budget.MethodLoss) []methodRow {
	var rows []methodRow
	for _, m := range methods {
		for _, l := range m.Rows {
			rows = append(rows, methodRow{l.RowName, l.Unit,
				m.Method.String(), l.Float, l.Cut})
		}
	}
	return rows
}

// tables returns the path, what stays, the ways to replace what goes, and the lines for a job.
func (r *pruneResult) tables() []report.Table {
	tables := pathTables(r.signoff)
	if len(r.methods) > 0 {
		tables = append(tables, methodTable(r.methods))
	}
	if len(r.JobLines) > 0 {
		tables = append(tables, layerTable(r.JobLines))
	}
	return tables
}

// pathTables shows the path of the cut, what each step that was taken leaves on every target, and
// what stays in the end.
func pathTables(s *report.Signoff) []report.Table {
	tables := []report.Table{s.StepTable()}
	tables = append(tables, s.FrontierTables()...)
	tables = append(tables, s.LeftTables()...)
	if legend := s.FrontierLegend(); legend != "" {
		tables = append(tables, sentenceTable("How to read the candidates", []string{legend}))
	}
	return append(tables, keptTable(s))
}

// keptTable says how many features and units stay, and which.
func keptTable(s *report.Signoff) report.Table {
	return keptOf(s.Kept.Features, s.Network.TrainedFeatures, s.Kept.Units, s.Network.TrainedUnits)
}

// keptOf is [keptTable] for features and units, and for how many there were.
func keptOf(features []string, allFeatures int, units [][]int, allUnits int) report.Table {
	count := 0
	for _, kept := range units {
		count += len(kept)
	}
	return report.Table{Title: "What stays", Head: []string{"of the", "kept", "names"}, Numbers: 3,
		Rows: [][]string{
			{"features", fmt.Sprintf("%d of %d", len(features), allFeatures),
				dataset.ListNames(features)},
			{"units", fmt.Sprintf("%d of %d", count, allUnits), joinUnits(units)},
		}}
}

// methodTable shows the loss of the cut with each way to replace what goes.
func methodTable(methods []budget.MethodLoss) report.Table {
	t := report.Table{Title: "What the cut costs (selection recordings, before rounding), by " +
		"what replaces it", Head: []string{"row", "float"}, Numbers: 1}
	for _, m := range methods {
		t.Head = append(t.Head, m.Method.String())
	}
	for i, l := range methods[0].Rows {
		row := []string{l.Text(), report.Significant(l.Float)}
		for _, m := range methods {
			row = append(row, report.Significant(m.Rows[i].Cut))
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// writeNetwork writes a cut float network with torch names to a file that must not be there yet, or
// to stdout. The metadata are texts: features and units that the network keeps, as lists in JSON,
// and the lines that a job needs to read it. Nothing is written after ctx has ended.
func (a *app) writeNetwork(ctx context.Context, path string, in *budget.Inputs,
	c budget.Candidate, net *model.Network) error {
	if err := cmp.Or(ctx.Err(), checkNetworkFile(path)); err != nil {
		return err
	}
	var b bytes.Buffer
	features, err := json.Marshal(in.KeptFeatures(c))
	if err != nil {
		return err
	}
	units, err := json.Marshal(c.Units)
	if err != nil {
		return err
	}
	metadata := map[string]string{
		"made_by":  "kerf " + version,
		"features": string(features),
		"units":    string(units),
	}
	if lines := layerLines(net); len(lines) > 0 {
		metadata["job"] = strings.Join(lines, "\n")
	}
	write := func() error { return model.WriteSafetensors(&b, model.ToTorch(net), metadata) }
	if strings.HasSuffix(path, ".npz") { // the format has no place for metadata
		write = func() error { return model.WriteNPZ(&b, model.ToTorch(net)) }
	}
	if err := write(); err != nil {
		return err
	}
	if path == standardStream {
		_, err := a.stdout.Write(b.Bytes())
		return err
	}
	err = whole.NewFile(path, b.Bytes())
	if errors.Is(err, fs.ErrExist) {
		return thereAlready(path)
	}
	if err != nil {
		return fault.New("--out: "+err.Error(), "choose another file").From(err)
	}
	return nil
}

// checkNetworkFile refuses a name that no network can be written to.
func checkNetworkFile(path string) error {
	if path == standardStream {
		return nil
	}
	if !strings.HasSuffix(path, ".safetensors") && !strings.HasSuffix(path, ".npz") {
		return fault.New("--out: "+path+" does not end in .safetensors or .npz",
			"the network is written in one of these formats")
	}
	if _, err := os.Lstat(path); err == nil {
		return thereAlready(path)
	}
	dir := filepath.Dir(path)
	if info, err := os.Stat(dir); err != nil || !info.IsDir() {
		return fault.New("--out: "+path+" is in no folder that exists", "make the folder "+dir+
			", or choose another file")
	}
	return nil
}

// thereAlready returns the error for a network file that would be overwritten.
func thereAlready(path string) error {
	return fault.New("--out: "+path+" is there already",
		"choose another file: a network is never overwritten")
}

// layerLines returns the lines of a job without which a written network would be read as another
// one: tensors do not say which cell or activation they belong to. There are none where the file
// alone gives the same network.
func layerLines(net *model.Network) []string {
	spec := model.ToTorchSpec(net)
	if bare, err := model.FromTorch("", model.ToTorch(net),
		model.Spec{Convention: spec.Convention}); err == nil && reflect.DeepEqual(bare, net) {
		return nil
	}
	var lines []string
	for _, l := range spec.Layers {
		lines = append(lines, "[[model.layer]]", fmt.Sprintf("name = %q", l.Name))
		if l.Cell != "" {
			lines = append(lines, fmt.Sprintf("cell = %q", l.Cell))
		}
		if l.Activation != "" {
			lines = append(lines, fmt.Sprintf("activation = %q", l.Activation))
		}
	}
	return lines
}

// layerTable shows the lines that a job needs to read the written network.
func layerTable(lines []string) report.Table {
	t := report.Table{Title: "What a job needs to read the written network",
		Head: []string{"line"}, Numbers: 1}
	for _, l := range lines {
		t.Rows = append(t.Rows, []string{l})
	}
	return t
}

// joinUnits prints the units of every layer: numbers with commas, layers with semicolons.
func joinUnits(units [][]int) string {
	layers := make([]string, len(units))
	for l, indices := range units {
		parts := make([]string, len(indices))
		for i, j := range indices {
			parts[i] = strconv.Itoa(j)
		}
		layers[l] = strings.Join(parts, ", ")
	}
	return strings.Join(layers, "; ")
}
