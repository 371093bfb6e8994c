// Benchfront measures the emitted C of front ends on every core:
//
//	go run ./testdata/benchfront
//
// README.md says what is compared.
package main

import (
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/signal"
	"path/filepath"
	"strings"

	"github.com/olekukonko/tablewriter"
	"github.com/olekukonko/tablewriter/renderer"
	"github.com/olekukonko/tablewriter/tw"

	"kerf/dataset"
	"kerf/exporter/emit"
	"kerf/frontend"
	"kerf/quant"
	"kerf/targets"
	"kerf/targets/measure"
	"kerf/testdata/randomnet"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := benchmark(ctx, os.Stdout, os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, "benchfront:", err)
		os.Exit(1)
	}
}

// setting is a front end that is measured.
type setting struct {
	name    string
	front   *frontend.FrontEnd
	isFloat bool // the float C takes the place of the emitted C
}

// singlePrecision are further flags of the float C, see testdata/benchtarget.
var singlePrecision = map[string][]string{"cortex-m7": {"-mfpu=fpv5-sp-d16"}}

// settings are the case of one channel, for which other ways were measured, and a front end of
// three channels as a power unit has.
func settings() []setting {
	sampling := dataset.Sampling{Samples: 64, Rate: 6400, Period: 0.1}
	channel := func(name string, high float64) frontend.Channel {
		c := frontend.Channel{Name: name, Cycles: 4,
			Converter: frontend.Converter{High: high, Bits: 12}}
		c.Floor = c.Converter.Step()
		c.Baseline.Seconds = 2
		return c
	}
	add := func(f *frontend.FrontEnd, channel int, definitions ...string) {
		for _, text := range definitions {
			d, err := frontend.ParseDefinition(text)
			if err != nil {
				panic(err)
			}
			feature := frontend.Feature{Name: fmt.Sprintf("f%d", len(f.Features)), Definition: d,
				Channel: channel, Scale: 1}
			for i := range f.Channels {
				if f.Channels[i].Name == d.Other {
					feature.Other = i
				}
			}
			f.Features = append(f.Features, feature)
		}
	}
	one := &frontend.FrontEnd{Sampling: sampling,
		Channels: []frontend.Channel{channel("supply", 250)}}
	add(one, 0, "amplitude(1)", "amplitude(2)", "amplitude(3)", "amplitude(4)", "amplitude(5)",
		"phase(1)", "distortion(5)")
	two := &frontend.FrontEnd{Sampling: sampling,
		Channels: []frontend.Channel{channel("supply", 250), channel("return", 16)}}
	add(two, 0, "amplitude(1)", "amplitude(2)", "amplitude(3)", "amplitude(4)", "amplitude(5)",
		"phase(1)", "distortion(5)")
	add(two, 1, "amplitude(1)", "amplitude(2)", "amplitude(3)", "amplitude(4)", "amplitude(5)",
		"phase(1)", "distortion(5)")
	three := &frontend.FrontEnd{Sampling: sampling, Channels: []frontend.Channel{
		channel("supply", 250), channel("return", 10), channel("case_drain", 4)}}
	add(three, 0, "level", "slope", "amplitude(1)", "phase(1)", "amplitude(2)", "distortion(5)")
	add(three, 1, "level", "trend", "amplitude(1)", "phase(1, supply)", "amplitude(2)",
		"distortion(5)")
	add(three, 2, "level", "slope", "ripple", "phase(1, supply)", "relative", "distortion(5)")
	return []setting{{"one channel", one, false}, {"the same, float C", one, true},
		{"two channels", two, false}, {"three channels", three, false}}
}

// benchmark measures every front end on the cores that are named, or on all, and prints a table.
func benchmark(ctx context.Context, w io.Writer, cores []string) error {
	if len(cores) == 0 {
		cores = targets.Names()
	}
	table := tablewriter.NewTable(w, tablewriter.WithRenderer(renderer.NewMarkdown()),
		tablewriter.WithHeaderAutoFormat(tw.Off))
	table.Header("front end", "core", "sample", "longest", "features", "window", "RAM", "flash",
		"constants", "stack")
	for _, s := range settings() {
		dir, err := os.MkdirTemp("", "kerf-benchfront-")
		if err != nil {
			return err
		}
		defer os.RemoveAll(dir)
		bits, err := write(s.front, dir)
		if err != nil {
			return err
		}
		if s.isFloat {
			if err := writeFloat(s.front, dir); err != nil {
				return err
			}
		}
		for _, core := range cores {
			p, err := targets.Load(core)
			if err != nil {
				return err
			}
			o := measure.Options{Steps: 1,
				Front: &measure.Front{Bits: bits, Samples: s.front.Sampling.Samples}}
			if s.isFloat {
				o.Flags = singlePrecision[core]
			}
			r, err := measure.Network(ctx, p, dir, "net", o)
			if err != nil {
				return fmt.Errorf("%s on %s: %w", s.name, core, err)
			}
			f := r.Front
			n := float64(s.front.Sampling.Samples)
			if err := table.Append(s.name, core, fmt.Sprintf("%.1f", f.Sampling.Cycles/n),
				f.Longest.Cycles, fmt.Sprintf("%.0f (%.0f)", f.Mean.Cycles, f.Features.Cycles),
				fmt.Sprintf("%.0f", f.Sampling.Cycles+f.Mean.Cycles), f.RAM, f.Flash, f.Constants,
				max(f.SampleChain, f.FeaturesChain)); err != nil {
				return err
			}
		}
	}
	return table.Render()
}

// write writes the emitted C of a network with the front end, and returns the bits of its channels.
func write(f *frontend.FrontEnd, dir string) ([]int, error) {
	random := rand.New(rand.NewPCG(18, 1))
	float := randomnet.Network(random, len(f.Features), randomnet.OneGRU, 1)
	rec := randomnet.Recordings(random, float)
	net, err := quant.Quantize(float, quant.Calibrate(float, rec),
		quant.Uniform(float.Net, 8, 8, 16), quant.Nearest)
	if err != nil {
		return nil, err
	}
	var bits, kept []int
	for _, c := range f.Channels {
		bits = append(bits, c.Converter.Bits)
	}
	for j := range net.Layers[0].Units {
		kept = append(kept, j)
	}
	front := &emit.FrontEnd{}
	var encodings []frontend.Encoding
	for i := range f.Features {
		c := f.Channels[f.Features[i].Channel].Converter
		encodings = append(encodings, frontend.Encoding{Mean: (c.Low + c.High) / 2,
			Std: (c.High - c.Low) / 8, FractionBits: 12})
		front.Index = append(front.Index, i)
		net.Features[i].Name = f.Features[i].Name
	}
	front.Integer = frontend.NewInteger(f, encodings)
	p := &emit.Program{Name: "net", Version: "benchmark", JobHash: strings.Repeat("0", 64),
		VerdictLine: "benchmark", Net: net, Description: float.Net.String(),
		KeptUnits: [][]int{kept}, Vectors: emit.Vectors(net, rec), Front: front}
	files, err := p.CFiles()
	if err != nil {
		return nil, err
	}
	for name, content := range files {
		if err := os.WriteFile(filepath.Join(dir, name), content, 0o644); err != nil {
			return nil, err
		}
	}
	return bits, nil
}
