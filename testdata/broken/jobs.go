package main

import (
	"bytes"
	"embed"
	"encoding/csv"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"kerf/model"
	"kerf/testdata/demo"
	"kerf/testdata/slow"
)

// Names of the jobs, as README.md has them.
const (
	demoJob   = "demo"
	cityJob   = "cityweather"
	lstmJob   = "lstm"
	elmanJob  = "elman"
	slowJob   = "slow"
	modelFile = "model.safetensors"
)

//go:embed lstm elman
var trained embed.FS

// layer is one entry of [[model.layer]].
type layer struct{ name, cell, activation string }

// layersOf holds the layers of every job, which its model file does not say.
var layersOf = map[string][]layer{
	demoJob: {{"gru", "gru", ""}, {"head", "", "identity"}},
	cityJob: {{"gru", "gru", ""}, {"head", "", "identity"}},
	lstmJob: {{"lstm", "lstm", ""}, {"first", "", "relu"}, {"second", "", "tanh"},
		{"head", "", "identity"}},
	elmanJob: {{"rnn", "elman-tanh", ""}, {"head", "", "identity"}},
	slowJob:  {{"gru", "gru", ""}, {"head", "", "identity"}},
}

// draft is a job as files that can still be changed: tables cell by cell, weights tensor by tensor.
type draft struct {
	job                string
	text               string // job.toml up to the layers
	layers             []layer
	features, outputs  [][]string // with header
	selection, signoff *recording
	tensors            map[string]*model.Tensor
}

// recording is a table of steps in sequences.
type recording struct {
	header    []string
	sequences []sequence
}

// sequence is one sequence of a recording.
type sequence struct {
	name, scenario string
	rows           [][]string
}

// samplesOf finds what a job says of samples: two tables, and the limit of an interrupt.
var samplesOf = regexp.MustCompile(`(?m)^\[(raw|\[channel\])\]\n(.+\n)+\n|^interrupt_time.*\n`)

// readDraft reads a job as it stands in the repository, whose top is the folder root. All features
// are given: what samples show of a job that is broken would be no question to the network.
func readDraft(job, root string) (*draft, error) {
	files, err := filesOf(job, root)
	if err != nil {
		return nil, err
	}
	d := &draft{job: job, layers: layersOf[job]}
	text := strings.ReplaceAll(string(files["job.toml"]), "[scores]\nfile = \"scores.csv\"\n", "")
	text = strings.ReplaceAll(text, "model.npz", modelFile)
	text = samplesOf.ReplaceAllString(text, "")
	d.text, _, _ = strings.Cut(text, "[[model.layer]]")
	for _, table := range []struct {
		name string
		to   *[][]string
	}{{"features.csv", &d.features}, {"outputs.csv", &d.outputs}} {
		*table.to, err = csv.NewReader(bytes.NewReader(files[table.name])).ReadAll()
		if err != nil {
			return nil, fmt.Errorf("%s of %s: %w", table.name, job, err)
		}
	}
	if at := slices.Index(d.features[0], "computed"); at >= 0 {
		for row, cells := range d.features {
			d.features[row] = slices.Delete(cells, at, at+1)
		}
	}
	if d.selection, err = readRecording(files["selection.csv"]); err != nil {
		return nil, err
	}
	if d.signoff, err = readRecording(files["signoff.csv"]); err != nil {
		return nil, err
	}
	weights := files[modelFile]
	d.tensors, err = model.ReadSafetensors(bytes.NewReader(weights), int64(len(weights)), modelFile)
	return d, err
}

// filesOf returns the files of a job that [readDraft] needs, by name.
func filesOf(job, root string) (map[string][]byte, error) {
	switch job {
	case demoJob:
		return demo.Files()
	case slowJob:
		return slow.Files()
	case cityJob:
		files := map[string][]byte{}
		for _, name := range []string{"job.toml", "features.csv", "outputs.csv", modelFile,
			"selection.csv", "signoff.csv"} {
			content, err := os.ReadFile(filepath.Join(root, "testdata", "cityweather", name))
			if err != nil {
				return nil, err
			}
			files[name] = content
		}
		return files, nil
	}
	files, err := demo.Files() // for the recordings
	if err != nil {
		return nil, err
	}
	for _, name := range []string{"job.toml", "features.csv", "outputs.csv", modelFile} {
		if files[name], err = trained.ReadFile(job + "/" + name); err != nil {
			return nil, err
		}
	}
	return files, nil
}

// readRecording reads recordings as CSV.
func readRecording(text []byte) (*recording, error) {
	rows, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	if err != nil {
		return nil, err
	}
	rec := &recording{header: rows[0]}
	for _, row := range rows[1:] {
		if last := len(rec.sequences) - 1; last < 0 || rec.sequences[last].name != row[0] {
			rec.sequences = append(rec.sequences, sequence{name: row[0], scenario: row[1]})
		}
		s := &rec.sequences[len(rec.sequences)-1]
		s.rows = append(s.rows, row)
	}
	return rec, nil
}

// column returns the place of a column of the recordings, from 0.
func (r *recording) column(name string) int {
	for i, h := range r.header {
		if h == name {
			return i
		}
	}
	panic("no column " + name)
}

// text returns the recordings as CSV.
func (r *recording) text() []byte {
	var out bytes.Buffer
	out.WriteString(strings.Join(r.header, ",") + "\n")
	for _, s := range r.sequences {
		for _, row := range s.rows {
			out.WriteString(strings.Join(row, ",") + "\n")
		}
	}
	return out.Bytes()
}

// write writes the job into a folder and returns the path of its job file.
func (d *draft) write(dir string) (string, error) {
	var job, weights bytes.Buffer
	job.WriteString(d.text)
	for _, l := range d.layers {
		fmt.Fprintf(&job, "\n[[model.layer]]\nname = %q\n", l.name)
		if l.cell != "" {
			fmt.Fprintf(&job, "cell = %q\n", l.cell)
		} else {
			fmt.Fprintf(&job, "activation = %q\n", l.activation)
		}
	}
	if err := model.WriteSafetensors(&weights, d.tensors, nil); err != nil {
		return "", err
	}
	path := filepath.Join(dir, "job.toml")
	for name, content := range map[string][]byte{
		"job.toml": job.Bytes(), modelFile: weights.Bytes(), "features.csv": tableText(d.features),
		"outputs.csv":   tableText(d.outputs),
		"selection.csv": d.selection.text(), "signoff.csv": d.signoff.text(),
	} {
		if err := os.WriteFile(filepath.Join(dir, name), content, 0o644); err != nil {
			return "", err
		}
	}
	return path, nil
}

// tableText returns a table as CSV.
func tableText(rows [][]string) []byte {
	var out bytes.Buffer
	for _, row := range rows {
		out.WriteString(strings.Join(row, ",") + "\n")
	}
	return out.Bytes()
}

// clone returns a copy that shares nothing that a breakage may change.
func (d *draft) clone() *draft {
	c := *d
	c.layers = append([]layer(nil), d.layers...)
	c.features, c.outputs = cloneRows(d.features), cloneRows(d.outputs)
	c.selection, c.signoff = d.selection.clone(), d.signoff.clone()
	c.tensors = map[string]*model.Tensor{}
	for name, t := range d.tensors {
		c.tensors[name] = &model.Tensor{Shape: t.Shape, Data: append([]float64(nil), t.Data...)}
	}
	return &c
}

// clone returns a copy.
func (r *recording) clone() *recording {
	c := &recording{header: append([]string(nil), r.header...)}
	for _, s := range r.sequences {
		s.rows = cloneRows(s.rows)
		c.sequences = append(c.sequences, s)
	}
	return c
}

func cloneRows(rows [][]string) [][]string {
	c := make([][]string, len(rows))
	for i, row := range rows {
		c[i] = append([]string(nil), row...)
	}
	return c
}
