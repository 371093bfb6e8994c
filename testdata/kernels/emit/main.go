// Emit writes the C of sample networks, one folder each, and index.json, which
// says what they are:
//
//	go run ./testdata/kernels/emit -out DIR
//
// Weights and calibration recordings are random numbers from a fixed seed.
package main

import (
	"encoding/json"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"

	"kerf/dataset"
	"kerf/exporter"
	"kerf/model"
	"kerf/quant"
)

func main() {
	out := flag.String("out", "", "folder to write to")
	flag.Parse()
	if err := emit(*out); err != nil {
		fmt.Fprintln(os.Stderr, "emit:", err)
		os.Exit(1)
	}
}

func emit(out string) error {
	all := samples()
	for i, s := range all {
		files, err := s.files(rand.New(rand.NewPCG(uint64(i), 0)))
		if err != nil {
			return fmt.Errorf("%s: %w", s.Name, err)
		}
		dir := filepath.Join(out, s.Name)
		if err := os.MkdirAll(dir, 0o755); err != nil {
			return err
		}
		for name, content := range files {
			if err := os.WriteFile(filepath.Join(dir, name), content, 0o644); err != nil {
				return err
			}
		}
	}
	index, err := json.MarshalIndent(all, "", " ")
	if err != nil {
		return err
	}
	return os.WriteFile(filepath.Join(out, "index.json"), index, 0o644)
}

// files is the emitted C, with net as the name of the job.
func (s sample) files(random *rand.Rand) (map[string][]byte, error) {
	p := s.network(random)
	var formats quant.Formats
	h := &exporter.Handoff{Name: "net", Version: "sample", JobHash: strings.Repeat("0", 64), VerdictLine: "sample", Description: p.Net.String()}
	for _, l := range s.Layers {
		formats.Layers = append(formats.Layers, quant.LayerFormats{InputBits: l.InputBits, RecurrentBits: l.RecurrentBits, StateBits: l.StateBits})
		units := make([]int, l.Units)
		for j := range units {
			units[j] = j
		}
		h.KeptUnits = append(h.KeptUnits, units)
	}
	for _, d := range s.Dense {
		formats.Dense = append(formats.Dense, d.Bits)
	}
	var err error
	rec := recordings(random, s)
	if h.Net, err = quant.Quantize(p, quant.Calibrate(p, rec), formats, quant.Nearest); err != nil {
		return nil, err
	}
	h.Vectors = exporter.Vectors(h.Net, rec)
	return h.CFiles()
}

// network has normally distributed weights of the size that training starts
// from: a deviation of 1 over the root of the number of inputs would be common
// practice; half of it for recurrent weights keeps a ReLU state from growing.
func (s sample) network(random *rand.Rand) *dataset.Float {
	values := func(n int, size float64) []float64 {
		v := make([]float64, n)
		for i := range v {
			v[i] = random.NormFloat64() * size
		}
		return v
	}
	net := &model.Network{}
	in := s.Features
	for _, l := range s.Layers {
		rows := kinds[l.Kind].Gates() * l.Units
		net.Recurrent = append(net.Recurrent, &model.Recurrent{
			Kind: kinds[l.Kind], Inputs: in, Units: l.Units,
			W: values(rows*in, 0.3), U: values(rows*l.Units, 0.1), B: values(rows, 0.5), D: values(rows, 0.5),
		})
		in = l.Units
	}
	for _, d := range s.Dense {
		net.Dense = append(net.Dense, &model.Dense{Inputs: in, Outputs: d.Outputs, Activation: activations[d.Activation], W: values(d.Outputs*in, 0.5), B: values(d.Outputs, 0.5)})
		in = d.Outputs
	}
	var features []dataset.Feature
	for i := range s.Features {
		features = append(features, dataset.Feature{Name: fmt.Sprintf("f%d", i), Unit: "bar", Std: 1})
	}
	var outputs []dataset.Output
	for o := range in {
		outputs = append(outputs, dataset.Output{Name: fmt.Sprintf("o%d", o), Unit: "L/min", Mean: 1, Std: 2})
	}
	return dataset.NewFloat(net, features, outputs)
}

// recordings are three runs of 50 steps of normally distributed features.
func recordings(random *rand.Rand, s sample) *dataset.Recordings {
	const runs, steps = 3, 50
	outputs := s.Dense[len(s.Dense)-1].Outputs
	rec := &dataset.Recordings{Features: s.Features, Outputs: outputs}
	for i := range runs {
		q := &dataset.Sequence{Name: fmt.Sprint(i), Scenario: "random", Steps: steps, Y: make([]float64, steps*outputs)}
		for range steps * s.Features {
			q.X = append(q.X, random.NormFloat64())
		}
		rec.Sequences = append(rec.Sequences, q)
	}
	return rec
}
