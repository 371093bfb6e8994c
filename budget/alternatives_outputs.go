package budget

import (
	"context"
	"fmt"
	"math"
	"slices"

	"kerf/dataset"
	"kerf/portable"
)

// outputViews are those that leave the network alone: another scale of an output, two outputs under
// each other's name, outputs recorded some steps earlier or later, steps in reverse order. When ctx
// ends there are fewer.
func (pl *Planner) outputViews(ctx context.Context, rec *dataset.Recordings) []view {
	var predicted [][]float64
	if rec == pl.in.Selection {
		predicted = pl.predictedByFloat()
	} else {
		predicted = predictions(rec, pl.in.Float)
	}
	base := pl.in.scoreOf(rec, predicted)
	var views []view
	if !pl.in.Float.Classes {
		views = append(views, pl.in.outputScales(ctx, rec, base, predicted)...)
	}
	views = append(views, pl.in.outputExchanges(ctx, rec, base, predicted)...)
	if pl.in.Float.Classes {
		views = append(views, pl.in.otherClasses(rec, base, predicted)...)
	}
	views = append(views, pl.shifts(ctx, rec, predicted)...)
	return append(views, pl.in.backwards(rec, base))
}

// changed is a view of the same recordings with every step of the predictions changed.
func (in *Inputs) changed(kind, place, says string, rec *dataset.Recordings, base *dataset.Score,
	predicted [][]float64, change func(from, to []float64)) view {
	see := func() (*dataset.Recordings, [][]float64) {
		changed := make([][]float64, len(predicted))
		for i, values := range predicted {
			changed[i] = make([]float64, len(values))
			for at := 0; at < len(values); at += rec.Outputs {
				change(values[at:at+rec.Outputs], changed[i][at:at+rec.Outputs])
			}
		}
		return rec, changed
	}
	score := in.scoreOf(see())
	c := in.compareAll(base, score, dataset.Compare)
	return view{in.cause(kind, place, says, rec, base, score, c), c, see}
}

// scoreOf scores predictions of recordings.
func (in *Inputs) scoreOf(rec *dataset.Recordings, predicted [][]float64) *dataset.Score {
	known := recorded{}
	for i, s := range rec.Sequences {
		known[s] = predicted[i]
	}
	return dataset.Measure(known, rec, nil)
}

// outputScales try mean and std of outputs.csv as recorded, 0 and 1, and powers of ten.
func (in *Inputs) outputScales(ctx context.Context, rec *dataset.Recordings, base *dataset.Score,
	predicted [][]float64) []view {
	outputs := in.Float.Outputs
	var views []view
	try := func(place, says string, change func(o int, physical float64) float64) {
		if ctx.Err() != nil {
			return
		}
		views = append(views, in.changed(CauseOutputScale, place, says, rec, base, predicted,
			func(from, to []float64) {
				for o, v := range from {
					to[o] = change(o, v)
				}
			}))
	}
	raw := func(o int, physical float64) float64 {
		return (physical - outputs[o].Mean) / outputs[o].Std
	}
	means, stds := make([]float64, len(outputs)), make([]float64, len(outputs))
	for o := range outputs {
		means[o], stds[o] = dataset.MeanStd(dataset.Column(rec.Outputs, o, rec,
			func(s *dataset.Sequence) []float64 {
				return s.Y
			}))
	}
	file := in.Job.Outputs.File
	asRecorded := func(o int, v float64) float64 { return float64(raw(o, v)*stds[o]) + means[o] }
	isNear := true
	for o, output := range outputs {
		place := fmt.Sprintf("%s line %d", file, output.Line)
		only := func(change func(o int, physical float64) float64) func(int, float64) float64 {
			return func(k int, v float64) float64 {
				if k == o {
					return change(o, v)
				}
				return v
			}
		}
		for _, k := range powers {
			times := powerOfTen(k)
			try(place, fmt.Sprintf("has %s in a unit other than that of the recordings: times "+
				"%s fits", output.Name, powerText(k)), only(func(_ int, v float64) float64 {
				return times * v
			}))
		}
		try(place, fmt.Sprintf("seems to scale %s, which is in physical units already: mean 0 "+
			"and std 1 fit", output.Name), only(raw))
		if !isFar(stds[o]/output.Std) && math.Abs(means[o]-output.Mean) < output.Std ||
			rec == in.Signoff {
			// as recorded would be a fit, not another scale; outputs.csv is of all recordings
			continue
		}
		isNear = false
		try(place, fmt.Sprintf("has a mean or std of %s that does not fit: recorded are %.4g "+
			"and %.4g", output.Name, means[o], stds[o]), only(asRecorded))
	}
	try(file, "seems to scale outputs that are in physical units already: mean 0 and std 1 fit",
		raw)
	if !isNear {
		try(file, "seems to lack the scale of the outputs: mean and std of the recordings fit",
			asRecorded)
	}
	if slices.ContainsFunc(views, func(v view) bool { return v.helps() }) {
		return views
	}
	for o, output := range outputs { // the last resort: it fits whatever there is
		times, plus, shared := regression(rec, predicted, o)
		if !isFar(times) || shared < leastShared {
			continue
		}
		says := fmt.Sprintf("has %s in another unit than that of the recordings: about %.3g "+
			"times as much, plus %.3g, fits",
			output.Name, times, plus)
		try(fmt.Sprintf("%s line %d", file, output.Line), says, func(k int, v float64) float64 {
			if k == o {
				return float64(times*v) + plus
			}
			return v
		})
	}
	return views
}

// leastShared is the share of the variance that a line must explain to be another unit (our
// choice): where an output hardly moves, errors alone make the line flat.
const leastShared = 0.5

// regression is the line through recorded on predicted values of an output, by least squares, and
// the share of the variance that it explains.
func regression(rec *dataset.Recordings, predicted [][]float64,
	output int) (slope, offset, shared float64) {
	var p, y []float64
	for i, s := range rec.Sequences {
		for step := s.Settle; step < s.Steps; step++ {
			at := step*rec.Outputs + output
			p, y = append(p, predicted[i][at]), append(y, s.Y[at])
		}
	}
	meanP, stdP := portable.MeanStd(p)
	meanY, stdY := portable.MeanStd(y)
	sum := 0.0
	for i := range p {
		sum += float64((p[i] - meanP) * (y[i] - meanY))
	}
	covariance := sum / float64(len(p))
	slope = covariance / float64(stdP*stdP)
	shared = slope * covariance / float64(stdY*stdY)
	return slope, meanY - float64(slope*meanP), shared
}

// otherClasses tries the order of classes in which every predicted class is the recorded one that
// is most frequent beside it, where that is an order of all classes.
func (in *Inputs) otherClasses(rec *dataset.Recordings, base *dataset.Score,
	predicted [][]float64) []view {
	classes := rec.Outputs
	beside := make([][]int, classes) // by predicted and recorded class
	for c := range beside {
		beside[c] = make([]int, classes)
	}
	for i, s := range rec.Sequences {
		for step := s.Settle; step < s.Steps; step++ {
			at := step * classes
			beside[dataset.Class(predicted[i][at:at+classes])][dataset.Class(s.Y[at:at+classes])]++
		}
	}
	order := make([]int, classes) // recorded class by predicted one
	var names []string
	moved := 0
	for c, counts := range beside {
		for recorded, n := range counts {
			if n > counts[order[c]] {
				order[c] = recorded
			}
		}
		if slices.Contains(order[:c], order[c]) {
			return nil
		}
		if order[c] != c {
			moved++
		}
		names = append(names, in.Float.Outputs[order[c]].Name)
	}
	if moved < 3 {
		return nil // two are an exchange
	}
	says := "seem to be in another order: " + dataset.ListNames(names) + " fits"
	return []view{in.changed(CauseOutputs, "the classes", says, rec, base, predicted,
		func(from, to []float64) {
			for c, v := range from {
				to[order[c]] = v
			}
		})}
}

// powerOfTen is 10^k.
func powerOfTen(k int) float64 {
	if k < 0 {
		return 1 / portable.Power(10, -k)
	}
	return portable.Power(10, k)
}

// outputExchanges try every pair of outputs, or classes, under each other's name: the columns of
// the recordings, and the lines of outputs.csv, with which the scales go.
func (in *Inputs) outputExchanges(ctx context.Context, rec *dataset.Recordings, base *dataset.Score,
	predicted [][]float64) []view {
	outputs := in.Float.Outputs
	var views []view
	for p, b := range outputs {
		for o, a := range outputs[:p] {
			try := func(place, says string, ofA, ofB func(v float64) float64) {
				if ctx.Err() != nil {
					return
				}
				views = append(views, in.changed(CauseOutputs, place, says, rec, base, predicted,
					func(from, to []float64) {
						copy(to, from)
						to[o], to[p] = ofA(from[p]), ofB(from[o])
					}))
			}
			same := func(v float64) float64 { return v }
			rescaled := func(from, to dataset.Output) func(v float64) float64 {
				return func(v float64) float64 {
					return float64((v-from.Mean)/from.Std*to.Std) + to.Mean
				}
			}
			try(fmt.Sprintf("outputs %s and %s", a.Name, b.Name), "seem exchanged", same, same)
			if a.Mean != b.Mean || a.Std != b.Std {
				try(fmt.Sprintf("%s lines %d and %d", in.Job.Outputs.File, a.Line, b.Line),
					fmt.Sprintf("seem exchanged (%s and %s)", a.Name, b.Name), rescaled(b, a),
					rescaled(a, b))
			}
		}
	}
	return views
}

// foreignOutputs looks for sign-off outputs that belong to other features: the network follows its
// own recorded outputs no better than it follows those of other sequences of the scenario, or those
// of another time of the same sequence, while on the selection recordings it tells them apart. If a
// view helps and tells them apart, that is the cause.
func (pl *Planner) foreignOutputs(best *view, off *dataset.Score) *Cause {
	if !pl.errsAsForeign(off) {
		return nil
	}
	selection := pl.in.ownShare(pl.in.Selection, predictions(pl.in.Selection, pl.in.Float))
	c := pl.in.foreignBeside(selection, pl.in.Signoff, predictions(pl.in.Signoff, pl.in.Float))
	if c == nil || best == nil {
		return c
	}
	if rec, predicted := best.see(); pl.in.foreignBeside(selection, rec, predicted) == nil {
		return nil
	}
	return c
}

// foreignBeside compares with the shares on the selection recordings.
func (in *Inputs) foreignBeside(selection [2][]share, rec *dataset.Recordings,
	predicted [][]float64) *Cause {
	off := in.ownShare(rec, predicted)
	for o, output := range in.judged() {
		for how := range selection {
			a, b := selection[how][o], off[how][o]
			// Own errors as a share of foreign ones: at least twice what they are on the selection
			// recordings, with intervals apart, and a third or more.
			if b.value >= foreignLeast && b.value >= 2*a.value && b.low > a.high {
				c := Cause{
					Kind: CauseForeign, Place: "the outputs of the sign-off recordings",
					Signoff: true, Output: output.Name, Unit: output.Unit,
					Says: fmt.Sprintf("seem to belong to other features: the squared error "+
						"of %s is "+
						"%.0f %% of that against %s, on the selection recordings %.0f %%",
						output.Name, 100*b.value, foreignWords[how], 100*a.value),
				}.withoutFigures()
				return &c
			}
		}
	}
	return nil
}

// errsAsForeign reports whether the network errs so much more on the sign-off recordings, and
// explains so little of an output there, that the outputs may be others. Where sequences are alike,
// as those of one test cycle, their outputs fit each other's features, and nothing is wrong.
func (pl *Planner) errsAsForeign(off *dataset.Score) bool {
	base, constant := pl.floatOnSelection(), pl.constantOn(pl.in.Signoff)
	for o := range pl.in.judged() {
		e := pl.in.errorOf(off, o)
		if e >= unlikeRatio*pl.in.errorOf(base, o) && pl.in.leftBy(e, constant, o) > foreignLeft {
			return true
		}
	}
	return false
}

// foreignLeft is the share that is left unexplained where outputs may be others (our choice).
const foreignLeft = 0.1

// foreignLeast is the least share that outputs taken from elsewhere must explain to be the likely
// ones (our choice).
const foreignLeast = 1.0 / 3

// foreignWords name what recorded outputs are compared with.
var foreignWords = [2]string{"the outputs of other sequences of the scenario",
	"the outputs of another half of the sequence"}

// share is a ratio with its interval.
type share struct{ value, low, high float64 }

// mostForeign is how many other sequences of its scenario a sequence is compared with.
const mostForeign = 8

// ownShare is, per way of exchanging outputs and per output, the squared error against a sequence's
// own outputs as a share of that against others.
func (in *Inputs) ownShare(rec *dataset.Recordings, predicted [][]float64) (shares [2][]share) {
	byScenario := map[string][]int{}
	for i, s := range rec.Sequences {
		byScenario[s.Scenario] = append(byScenario[s.Scenario], i)
	}
	outputs := len(in.judged())
	for how := range shares {
		own, foreign := make([][]float64, outputs), make([][]float64, outputs)
		for i, s := range rec.Sequences {
			others := byScenario[s.Scenario]
			at := slices.Index(others, i)
			for o := range outputs {
				a, b := 0.0, 0.0
				if how == 0 {
					for n := 1; n < len(others) && n <= mostForeign; n++ {
						other := rec.Sequences[others[(at+n)%len(others)]]
						steps := min(s.Steps, other.Steps)
						a += in.apart(rec, predicted[i], s, s.Settle, 0, steps, o)
						b += in.apart(rec, predicted[i], other, s.Settle, 0, steps, o)
					}
				} else {
					a = in.apart(rec, predicted[i], s, s.Settle, 0, s.Steps, o)
					b = in.apart(rec, predicted[i], s, s.Settle, s.Steps/2, s.Steps, o)
				}
				own[o], foreign[o] = append(own[o], a), append(foreign[o], b)
			}
		}
		for o := range outputs {
			value, low, high := dataset.RatioInterval(own[o], foreign[o])
			shares[how] = append(shares[how], share{value, low, high})
		}
	}
	return shares
}

// apart adds up squared errors, or wrong classes, of predictions against the outputs of a sequence,
// which are taken so many steps later, around its end.
func (in *Inputs) apart(rec *dataset.Recordings, predicted []float64, s *dataset.Sequence, from,
	later, to, output int) float64 {
	sum := 0.0
	for step := from; step < to; step++ {
		at := (step + later) % s.Steps * rec.Outputs
		p := predicted[step*rec.Outputs : (step+1)*rec.Outputs]
		y := s.Y[at : at+rec.Outputs]
		if rec.Classes {
			if dataset.Class(p) != dataset.Class(y) {
				sum++
			}
			continue
		}
		d := p[output] - y[output]
		sum += float64(d * d)
	}
	return sum
}
