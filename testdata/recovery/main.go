// Command recovery measures what recovery training wins and prints the tables of docs/recovery.md:
// for every job file given, the RMSE of the network as given and its rise after a cut by rank,
// after recovery training, and in integers, each with its 95 % interval.
//
//	go run ./testdata/recovery [-held-back] [-scratch EPOCHS] JOB.toml...
//
// Everything is ranked, calibrated and trained on selection recordings, and judged on the sign-off
// recordings. With -held-back it is judged on selection recordings, in four parts that the
// compensation and the training did not see (heldback.go): choices are made by these figures. With
// -scratch small networks are trained from the beginning, and judged in the same parts
// (scratch.go).
package main

import (
	"context"
	"flag"
	"fmt"
	"math"
	"os"
	"slices"

	"kerf/budget"
	"kerf/dataset"
	"kerf/prune"
	"kerf/quant"
	"kerf/recovery"
)

func main() {
	heldBack := flag.Bool("held-back", false, "judge on selection recordings, in four parts "+
		"held back")
	epochs := flag.Int("scratch", 0, "train small networks from scratch, over so many epochs")
	flag.Parse()
	for _, job := range flag.Args() {
		err := error(nil)
		if *epochs > 0 {
			err = fromScratch(job, *epochs)
		} else {
			err = measure(job, *heldBack)
		}
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
}

// shapes are the shares of features and units that stay, and the word widths of the weights.
var shapes = []struct {
	features, units float64
	bits            []int
}{
	{1, 1, []int{8, 4}}, {0.8, 0.75, []int{8, 4}}, {0.6, 0.5, []int{8, 4}},
	{0.5, 0.35, []int{8, 4}},
	{1, 0.5, []int{8}}, {0.6, 1, []int{8}},
}

// measure prints the table of one job.
func measure(job string, heldBack bool) error {
	in, err := budget.Load(job)
	if err != nil {
		return err
	}
	in = in.WithRecovery(nil)
	pl := budget.NewPlanner(in)
	cut, err := pl.Rank(context.Background())
	if err != nil {
		return err
	}
	fmt.Printf("\n%s\n\n| features, units | words | output | float | cut | recovered | "+
		"recovered against cut | cut, fixed | recovered, fixed | distance | epoch "+
		"|\n|---|---|---|---:|---:|---:|---:|---:|---:|---:|---:|\n", in.Job.Name)
	for _, s := range shapes {
		for _, bits := range s.bits {
			c := in.Whole(quant.Uniform(in.Float.Net, bits, 16, 16))
			c.Features = best(cut.FeatureRank, s.features)
			c.Units[0] = best(cut.UnitRank, s.units)
			judge := signedOff
			if heldBack {
				if (s.features != 0.6 && s.units != 0.5) || bits != 8 {
					continue
				}
				judge = heldBackParts
			}
			v, err := judge(pl, c)
			if err != nil {
				return err
			}
			v.print(in, c, bits)
		}
	}
	return nil
}

// best returns the most needed share of the items of a ranking, in the order of the network. The
// jobs have one recurrent layer.
func best(rank []prune.Ranked, share float64) []int {
	var items []int
	for _, r := range rank[len(rank)-int(share*float64(len(rank))):] {
		items = append(items, r.Item)
	}
	slices.Sort(items)
	return items
}

// versions are the networks of one candidate, and the recordings that judge them.
type versions struct {
	rec                        *dataset.Recordings
	cut, recovered             dataset.Predictor
	cutFixed, recoveredInFixed dataset.Predictor
	epochs                     string // best epoch of all that were trained
}

// signedOff makes the versions of a candidate as a plan does, to be judged on the sign-off
// recordings.
func signedOff(pl *budget.Planner, c budget.Candidate) (*versions, error) {
	in := pl.Inputs()
	return trained(in, in.Signoff, in.Selection, c)
}

// trained makes the versions of a candidate on selection recordings, to be judged on others.
func trained(in *budget.Inputs, rec, selection *dataset.Recordings,
	c budget.Candidate) (*versions, error) {
	cut := prune.MeasureStatistics(in.Float, selection).Cut(c.Features, c.Units, prune.Refit)
	training, heldBack := recovery.Split(selection)
	task := &recovery.Task{Start: quant.Standardise(cut, quant.Calibrate(cut, selection)),
		Teacher: in.Float, Formats: &c.Formats, Training: training, HeldBack: heldBack}
	result, err := recovery.Train(context.Background(), task, in.Job.Recovery.Settings(), nil,
		func(*recovery.Result) {})
	if err != nil {
		return nil, err
	}
	return newVersions(rec, selection, cut, result.Net, result, c)
}

// newVersions quantizes the networks of a candidate with the given calibration recordings.
func newVersions(rec, calibration *dataset.Recordings, cut, recovered *dataset.Float,
	result *recovery.Result, c budget.Candidate) (*versions, error) {
	v := &versions{rec: rec, cut: cut, recovered: recovered,
		epochs: fmt.Sprintf("%d of %d", result.Best, len(result.Epochs))}
	var err error
	if v.cutFixed, err = fixed(cut, calibration, c); err != nil {
		return nil, err
	}
	v.recoveredInFixed, err = fixed(recovered, calibration, c)
	return v, err
}

// fixed returns the integer network of p in the formats of a candidate.
func fixed(p *dataset.Float, calibration *dataset.Recordings,
	c budget.Candidate) (dataset.Predictor, error) {
	p = quant.Standardise(p, quant.Calibrate(p, calibration))
	return quant.Quantize(p, quant.Calibrate(p, calibration), c.Formats, quant.Nearest)
}

// print prints the rows of a candidate, one for each output.
func (v *versions) print(in *budget.Inputs, c budget.Candidate, bits int) {
	base := dataset.Measure(in.Float, v.rec, nil)
	cut, recovered := dataset.Measure(v.cut, v.rec, nil), dataset.Measure(v.recovered, v.rec, nil)
	cutFixed, recoveredInFixed := dataset.Measure(v.cutFixed, v.rec, nil),
		dataset.Measure(v.recoveredInFixed, v.rec, nil)
	for o, out := range in.Float.Outputs {
		slice := dataset.Slice{Output: o, Region: -1}
		rmse := base.Value(base, slice, dataset.RMSE)
		fmt.Printf("| %d, %d | int%d | %s | %.4f |", len(c.Features), c.UnitCount(), bits, out.Name,
			rmse)
		for _, pair := range [][2]*dataset.Score{{base, cut}, {base, recovered}, {cut, recovered},
			{base, cutFixed}, {base, recoveredInFixed}} {
			r := dataset.Compare(pair[0], pair[1], slice, dataset.RMSE)
			fmt.Printf(" %+.1f (%+.1f..%+.1f) %% |", 100*r.Rise, 100*r.RiseLow, 100*r.RiseHigh)
		}
		fmt.Printf(" %.2f → %.2f | %s |\n", distance(in.Float, v.cut, v.rec, o)/rmse,
			distance(in.Float, v.recovered, v.rec, o)/rmse, v.epochs)
	}
}

// distance returns the root of the mean squared difference of two predictors in one output. Unlike
// an error it holds no noise of the recorded outputs.
func distance(a, b dataset.Predictor, rec *dataset.Recordings, output int) float64 {
	sum, steps := 0.0, 0
	for _, s := range rec.Sequences {
		x, y := make([]float64, s.Steps*rec.Outputs), make([]float64, s.Steps*rec.Outputs)
		a.Predict(s, x)
		b.Predict(s, y)
		for k := output; k < len(x); k += rec.Outputs {
			sum += (x[k] - y[k]) * (x[k] - y[k])
		}
		steps += s.Steps
	}
	return math.Sqrt(sum / float64(steps))
}
