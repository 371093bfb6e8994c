package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"runtime"
	"strings"
	"syscall"
	"time"

	"kerf/budget"
	"kerf/dataset"
	"kerf/model"
)

// Sizes of the large job: a machine of many channels that was recorded for two weeks with a step
// every seven seconds.
const (
	largeFeatures  = 48
	largeUnits     = 64
	largeSequences = 60
	largeSteps     = 3000 // of each sequence
	largeSeed      = 44_000
)

// measureTime prints the processor time of the examination.
func measureTime(out *strings.Builder, _ string) error {
	jobs := []string{demoJob, cityJob, lstmJob, elmanJob, slowJob}
	b, err := newBench(".", jobs...)
	if err != nil {
		return err
	}
	out.WriteString("\n## Time of the examination\n\n| job | features | weights | selection " +
		"steps | alternatives | processor time | time |\n|---|---:|---:|---:|---:|---:|---:|\n")
	for _, job := range jobs {
		in, err := load(b.drafts[job])
		if err != nil {
			return err
		}
		timed(out, job, in)
	}
	in, err := large()
	if err != nil {
		return err
	}
	timed(out, "large", in)
	return nil
}

// timed examines a job and prints its row.
func timed(out *strings.Builder, job string, in *budget.Inputs) {
	began, processor := time.Now(), processorTime()
	e, _ := budget.NewPlanner(in).Examine(context.Background()) // which does not end
	fmt.Fprintf(out, "| %s | %d | %d | %d | %d | %.1f s | %.1f s |\n", job, len(in.Float.Features),
		in.Float.Net.Parameters(), in.Selection.Steps(), e.Tried, processorTime()-processor,
		time.Since(began).Seconds())
}

// processorTime returns the processor time that this process has used so far, in seconds.
func processorTime() float64 {
	var used syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &used); err != nil {
		panic(err)
	}
	return time.Duration(used.Utime.Nano() + used.Stime.Nano()).Seconds()
}

// large returns the large job. Its outputs are those of its own network, with noise. The job is
// written and read as files.
func large() (*budget.Inputs, error) {
	random := rand.New(rand.NewPCG(largeSeed, 0))
	normal := func(n int, deviation float64) []float64 {
		v := make([]float64, n)
		for i := range v {
			v[i] = float64(float32(deviation * random.NormFloat64()))
		}
		return v
	}
	rows := model.GRUResetAfter.Gates() * largeUnits
	net := &model.Network{
		Recurrent: []*model.Recurrent{{
			Kind: model.GRUResetAfter, Inputs: largeFeatures, Units: largeUnits,
			W: normal(rows*largeFeatures, 0.2), U: normal(rows*largeUnits, 0.12),
			B: normal(rows, 0.3), D: normal(rows, 0.3),
		}},
		Dense: []*model.Dense{{Inputs: largeUnits, Outputs: 2, W: normal(2*largeUnits, 0.3),
			B: normal(2, 0.3)}},
	}
	d := &draft{job: "large", layers: layersOf[slowJob], tensors: model.ToTorch(net)}
	d.text = "name = \"large\"\n[model]\nfile = \"model.safetensors\"\nconvention = " +
		"\"torch\"\n[recordings]\nselection = \"selection.csv\"\nsignoff = " +
		"\"signoff.csv\"\n[features]\nfile = \"features.csv\"\n[outputs]\nfile = \"outputs.csv\"\n"
	d.features = [][]string{{"name", "channel", "kind", "unit", "mean", "std"}}
	var features []dataset.Feature
	header := []string{"sequence", "scenario", "t"}
	for i := range largeFeatures {
		name := fmt.Sprintf("feature_%d", i)
		header = append(header, name)
		d.features = append(d.features, []string{name, "channel", "level", "bar", "0", "1"})
		features = append(features, dataset.Feature{Name: name, Std: 1})
	}
	header = append(header, "leakage", "air")
	d.outputs = [][]string{{"name", "unit", "mean", "std"}, {"leakage", "L/min", "0", "1"},
		{"air", "% by volume", "0", "1"}}
	float := dataset.NewFloat(net, features,
		[]dataset.Output{{Name: "leakage", Std: 1}, {Name: "air", Std: 1}})
	record := func(prefix string, sequences int) *recording {
		rec := &recording{header: header}
		for i := range sequences {
			s := sequence{name: fmt.Sprint(prefix, i), scenario: []string{"calm", "busy"}[i%2]}
			x, state := make([]float64, 0, largeSteps*largeFeatures), normal(largeFeatures, 1)
			for range largeSteps {
				for f := range state {
					const kept, added = 0.9, 0.436 // a lag of ten steps with variance 1
					state[f] = kept*state[f] + added*random.NormFloat64()
					x = append(x, state[f])
				}
			}
			y := make([]float64, largeSteps*2)
			float.Predict(&dataset.Sequence{Steps: largeSteps, X: x}, y)
			for step := range largeSteps {
				row := append(make([]string, 0, len(header)), s.name, s.scenario, fmt.Sprint(step))
				for _, v := range x[step*largeFeatures : (step+1)*largeFeatures] {
					row = append(row, printed(v, 4))
				}
				for o := range 2 {
					row = append(row, printed(y[step*2+o]+0.3*random.NormFloat64(), 5))
				}
				s.rows = append(s.rows, row)
			}
			rec.sequences = append(rec.sequences, s)
		}
		return rec
	}
	d.selection, d.signoff = record("sel", largeSequences), record("off", largeSequences/5)
	return load(d)
}

// machine describes the machine of the measurement.
func machine() string {
	processor := "unknown processor"
	info, _ := os.ReadFile("/proc/cpuinfo")
	for line := range strings.Lines(string(info)) {
		if name, found := strings.CutPrefix(line, "model name\t: "); found {
			processor = strings.TrimSpace(name)
			break
		}
	}
	return fmt.Sprintf("Measured on %s: %s, %d cores that others used as well, %s %s/%s.\n",
		time.Now().Format("2 January 2006"), processor, runtime.NumCPU(), runtime.Version(),
		runtime.GOOS, runtime.GOARCH)
}
