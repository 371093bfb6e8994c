package budget

import (
	"fmt"
	"math"
	"slices"

	"kerf/dataset"
	"kerf/portable"
)

// outputAlternatives are those that leave the network alone: another scale of an output, two outputs under
// each other's name, outputs recorded some steps earlier or later. It returns those that speak against the
// job.
func (in *Inputs) outputAlternatives(rec *dataset.Recordings) []accepted {
	predicted := predictions(rec, in.Float)
	base := in.scoreOf(rec, predicted)
	var causes []accepted
	if !in.Float.Classes {
		causes = append(causes, in.outputScales(rec, base, predicted)...)
	}
	causes = append(causes, in.outputExchanges(rec, base, predicted)...)
	return append(causes, in.shifts(rec, predicted)...)
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
func (in *Inputs) outputScales(rec *dataset.Recordings, base *dataset.Score, predicted [][]float64) []accepted {
	outputs := in.Float.Outputs
	var causes []accepted
	try := func(place, says string, change func(o int, physical float64) float64) {
		changed := make([][]float64, len(predicted))
		for i, values := range predicted {
			changed[i] = make([]float64, len(values))
			for k, v := range values {
				changed[i][k] = change(k%len(outputs), v)
			}
		}
		score := in.scoreOf(rec, changed)
		if c := in.compareAll(base, score, dataset.Compare); c.helps() {
			causes = append(causes, accepted{in.cause(CauseOutputScale, place, says, rec, base, score, c), c.sum})
		}
	}
	raw := func(o int, physical float64) float64 { return (physical - outputs[o].Mean) / outputs[o].Std }
	means, stds := make([]float64, len(outputs)), make([]float64, len(outputs))
	for o := range outputs {
		means[o], stds[o] = meanStd(columnOf(rec.Outputs, o, rec, func(s *dataset.Sequence) []float64 { return s.Y }))
	}
	file := in.Job.Outputs.File
	asRecorded := func(o int, v float64) float64 { return float64(raw(o, v)*stds[o]) + means[o] }
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
			try(place, fmt.Sprintf("has %s in a unit other than that of the recordings: times %s fits", output.Name, powerText(k)), only(func(_ int, v float64) float64 { return times * v }))
		}
		try(place, fmt.Sprintf("seems to scale %s, which is in physical units already: mean 0 and std 1 fit", output.Name), only(raw))
		try(place, fmt.Sprintf("has a mean or std of %s that does not fit: recorded are %.4g and %.4g", output.Name, means[o], stds[o]), only(asRecorded))
	}
	try(file, "seems to scale outputs that are in physical units already: mean 0 and std 1 fit", raw)
	try(file, "seems to lack the scale of the outputs: mean and std of the recordings fit", asRecorded)
	return causes
}

// powerOfTen is 10^k.
func powerOfTen(k int) float64 {
	if k < 0 {
		return 1 / portable.Power(10, -k)
	}
	return portable.Power(10, k)
}

// outputExchanges try every pair of outputs, or classes, under each other's name.
func (in *Inputs) outputExchanges(rec *dataset.Recordings, base *dataset.Score, predicted [][]float64) []accepted {
	outputs := in.Float.Outputs
	var causes []accepted
	for p := range outputs {
		for o := range p {
			changed := make([][]float64, len(predicted))
			for i, values := range predicted {
				changed[i] = slices.Clone(values)
				for at := 0; at < len(values); at += len(outputs) {
					changed[i][at+o] = values[at+p]
					changed[i][at+p] = values[at+o]
				}
			}
			score := in.scoreOf(rec, changed)
			if c := in.compareAll(base, score, dataset.Compare); c.helps() {
				place := fmt.Sprintf("outputs %s and %s", outputs[o].Name, outputs[p].Name)
				causes = append(causes, accepted{in.cause(CauseOutputs, place, "seem exchanged", rec, base, score, c), c.sum})
			}
		}
	}
	return causes
}

// mostShifted is by how many steps outputs are tried earlier and later.
const mostShifted = 3

// shifts compare predictions with outputs recorded some steps later or earlier, on the steps that have both.
//
// A network follows what its outputs were: where it forecasts or smooths, its outputs come nearer to earlier
// recorded values than to those of the same step, and nothing is wrong. What tells the two apart is the slope
// of the recorded on the predicted values. Training makes it 1 where the outputs belong, and by an
// identity of mean squares the gain of a shift is twice the variance of the predictions times the difference
// of the slopes at the shift and without. So earlier outputs are a cause only where the mean of both slopes is
// below 1: then the shifted ones are nearer to what was trained. Later outputs, which no network can know, need no such test.
func (in *Inputs) shifts(rec *dataset.Recordings, predicted [][]float64) []accepted {
	var causes []accepted
	for k := -mostShifted; k <= mostShifted; k++ {
		if k == 0 {
			continue
		}
		given, shifted, values := overlap(rec, predicted, k)
		if len(given.Sequences) < 2 {
			continue
		}
		base, score := in.scoreOf(given, values), in.scoreOf(shifted, values)
		c := in.compareAll(base, score, dataset.Compare)
		if !c.helps() || k < 0 && !in.belowOne(given, shifted, values, c.output) {
			continue
		}
		steps := "steps"
		if k == 1 || k == -1 {
			steps = "step"
		}
		late := "late"
		if k < 0 {
			late = "early"
		}
		says := fmt.Sprintf("seem to be recorded %d %s too %s", max(k, -k), steps, late)
		causes = append(causes, accepted{in.cause(CauseShift, "the outputs of the recordings", says, rec, base, score, c), c.sum})
	}
	return causes
}

// overlap pairs predictions with the outputs at the same step and with those k steps later, on the steps
// that have both.
func overlap(rec *dataset.Recordings, predicted [][]float64, k int) (given, shifted *dataset.Recordings, values [][]float64) {
	a, b := *rec, *rec
	a.Sequences, b.Sequences, a.Memory, b.Memory = nil, nil, 0, 0
	for i, s := range rec.Sequences {
		first, last := max(0, -k), min(s.Steps, s.Steps-k)
		if last <= max(first, s.Settle) {
			continue
		}
		part := func(from int) *dataset.Sequence {
			short := *s
			short.Steps, short.Settle = last-first, max(0, s.Settle-first)
			short.Y = s.Y[(first+from)*rec.Outputs : (last+from)*rec.Outputs]
			return &short
		}
		a.Sequences, b.Sequences = append(a.Sequences, part(0)), append(b.Sequences, part(k))
		values = append(values, predicted[i][first*rec.Outputs:last*rec.Outputs])
	}
	return &a, &b, values
}

// belowOne tells whether the mean of two slopes of recorded on predicted values, as given and shifted, is
// below 1 with all of its 95 % interval.
func (in *Inputs) belowOne(given, shifted *dataset.Recordings, predicted [][]float64, output int) bool {
	if in.Float.Classes {
		return false // classes have no slope
	}
	outputs := given.Outputs
	meanP, meanA, meanB, n := 0.0, 0.0, 0.0, 0.0
	each := func(visit func(i int, p, a, b float64)) {
		for i, s := range given.Sequences {
			for at := s.Settle*outputs + output; at < len(predicted[i]); at += outputs {
				visit(i, predicted[i][at], s.Y[at], shifted.Sequences[i].Y[at])
			}
		}
	}
	each(func(_ int, p, a, b float64) { meanP, meanA, meanB, n = meanP+p, meanA+a, meanB+b, n+1 })
	meanP, meanA, meanB = meanP/n, meanA/n, meanB/n
	products, squares := make([]float64, len(predicted)), make([]float64, len(predicted))
	each(func(i int, p, a, b float64) {
		d := p - meanP
		products[i] += float64(d * ((a - meanA) + (b - meanB)) / 2)
		squares[i] += float64(d * d)
	})
	_, _, high := dataset.RatioInterval(products, squares)
	return high < 1
}

// foreignOutputs looks for sign-off outputs that belong to other features: the network follows its own
// recorded outputs no better than it follows those of other sequences of the scenario, or those of
// another time of the same sequence, while on the selection recordings it tells them apart.
func (in *Inputs) foreignOutputs() (Cause, bool) {
	selection, off := in.ownShare(in.Selection), in.ownShare(in.Signoff)
	for o, output := range in.judged() {
		for how := range selection {
			a, b := selection[how][o], off[how][o]
			// Own errors as a share of foreign ones: at least twice what they are on the selection
			// recordings, with intervals apart, and a third or more.
			if b.value >= foreignLeast && b.value >= 2*a.value && b.low > a.high {
				return Cause{
					Kind: CauseForeign, Place: "the outputs of the sign-off recordings", Signoff: true, Output: output.Name, Unit: output.Unit,
					Ratio: math.NaN(),
					Says: fmt.Sprintf("hardly belong to their features: the squared error of %s is %.0f %% of that against %s, on the selection recordings %.0f %%",
						output.Name, 100*b.value, foreignWords[how], 100*a.value),
				}, true
			}
		}
	}
	return Cause{}, false
}

const foreignLeast = 1.0 / 3

// foreignWords name what recorded outputs are compared with.
var foreignWords = [2]string{"the outputs of other sequences of the scenario", "the outputs of another half of the sequence"}

// share is a ratio with its interval.
type share struct{ value, low, high float64 }

// mostForeign is how many other sequences of its scenario a sequence is compared with.
const mostForeign = 8

// ownShare is, per way of exchanging outputs and per output, the squared error against a sequence's own
// outputs as a share of that against others.
func (in *Inputs) ownShare(rec *dataset.Recordings) (shares [2][]share) {
	predicted := predictions(rec, in.Float)
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

// apart adds up squared errors, or wrong classes, of predictions against the outputs of a sequence, which are
// taken so many steps later, around its end.
func (in *Inputs) apart(rec *dataset.Recordings, predicted []float64, s *dataset.Sequence, from, later, to, output int) float64 {
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
