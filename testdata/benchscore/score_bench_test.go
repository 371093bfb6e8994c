//go:build unix

package benchscore

import (
	"fmt"
	"math/rand/v2"
	"os/exec"
	"runtime"
	"strconv"
	"strings"
	"syscall"
	"testing"

	"kerf/dataset"
	"kerf/model"
	"kerf/quant"
)

// network returns a GRU with random weights and a dense layer with two outputs, which reads the
// first kept of its features. Speed does not depend on the weights.
func network(features, kept, units int) *dataset.Float {
	random := rand.New(rand.NewPCG(1, 1))
	values := func(n int) []float64 {
		all := make([]float64, n)
		for i := range all {
			all[i] = 0.3 * random.NormFloat64()
		}
		return all
	}
	f := &dataset.Float{Net: &model.Network{
		Recurrent: []*model.Recurrent{{Kind: model.GRUResetAfter, Inputs: kept, Units: units,
			W: values(3 * units * kept), U: values(3 * units * units), B: values(3 * units),
			D: values(3 * units)}},
		Dense: []*model.Dense{{Inputs: units, Outputs: 2, W: values(2 * units), B: values(2)}},
	}}
	for i := range features {
		f.Features = append(f.Features, dataset.Feature{Name: fmt.Sprint("f", i), Std: 1})
	}
	for i := range kept {
		f.Kept = append(f.Kept, i)
	}
	f.Outputs = []dataset.Output{{Name: "a", Std: 1}, {Name: "b", Std: 1}}
	return f
}

// recordings returns sequences of normally distributed features and outputs.
func recordings(features, sequences, steps int) *dataset.Recordings {
	random := rand.New(rand.NewPCG(2, 2))
	rec := &dataset.Recordings{Features: features, Outputs: 2}
	for i := range sequences {
		s := &dataset.Sequence{Name: fmt.Sprint(i), Scenario: "random", Steps: steps}
		for range steps * features {
			s.X = append(s.X, random.NormFloat64())
		}
		for range steps * 2 {
			s.Y = append(s.Y, random.NormFloat64())
		}
		rec.Sequences = append(rec.Sequences, s)
	}
	return rec
}

// processorSeconds returns the processor time of all threads of this process so far. On a machine
// that others use, time on the clock says little.
func processorSeconds(tb testing.TB) float64 {
	var usage syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &usage); err != nil {
		tb.Fatal(err)
	}
	seconds := func(t syscall.Timeval) float64 { return float64(t.Sec) + float64(t.Usec)/1e6 }
	return seconds(usage.Utime) + seconds(usage.Stime)
}

// perSecond repeats work, which does the given amount of something, on one core. It reports and
// returns the amount per second of processor time.
func perSecond(b *testing.B, amount float64, unit string, work func()) float64 {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	rounds := 0
	begin := processorSeconds(b)
	for b.Loop() {
		work()
		rounds++
	}
	rate := amount * float64(rounds) / (processorSeconds(b) - begin)
	b.ReportMetric(rate, unit)
	b.ReportMetric(0, "ns/op")
	return rate
}

// BenchmarkScore scores networks on one core: of 20 features and 16 units, 1,760
// multiply-accumulates per step, and cut to 12 of both, 888. Errors are summed up as for a report.
func BenchmarkScore(b *testing.B) {
	for _, size := range []struct{ sequences, steps int }{{64, 500}, {1, 500}} {
		rec := recordings(20, size.sequences, size.steps)
		whole, cut := network(20, 20, 16), network(20, 12, 12)
		prepared := dataset.Prepare(whole, rec, nil)
		fixed, err := quant.Quantize(whole, quant.Calibrate(whole, rec),
			quant.Uniform(whole.Net, 8, 8, 16), quant.Nearest)
		if err != nil {
			b.Fatal(err)
		}
		for _, way := range []struct {
			name  string
			score func()
		}{
			{"float64", func() { dataset.Measure(whole, rec, nil) }},
			{"float32 in lanes", func() { prepared.Score(whole) }},
			{"cut, float32 in lanes", func() { prepared.Score(cut) }},
			{"int8 weights", func() { dataset.Measure(fixed, rec, nil) }},
		} {
			b.Run(fmt.Sprintf("%d × %d/%s", size.sequences, size.steps, way.name),
				func(b *testing.B) {
					perSecond(b, float64(size.sequences*size.steps), "steps/s", way.score)
				})
		}
		b.Run(fmt.Sprintf("%d × %d/torch", size.sequences, size.steps), func(b *testing.B) {
			torch(b, "torch_score.py", strconv.Itoa(size.sequences), strconv.Itoa(size.steps))
		})
	}
}

// torch reports the steps per second that a script prints, where the library is installed.
func torch(b *testing.B, script ...string) {
	out, err := exec.Command("/usr/bin/python3", script...).Output()
	if err != nil {
		b.Skip("not measured: needs the Debian packages python3-torch and libopenblas0-pthread")
	}
	rate, err := strconv.ParseFloat(strings.TrimSpace(string(out)), 64)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
	}
	b.ReportMetric(rate, "steps/s")
	b.ReportMetric(0, "ns/op")
}
