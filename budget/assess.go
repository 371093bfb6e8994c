package budget

import (
	"fmt"
	"strings"

	"kerf/dataset"
	"kerf/quant"
)

// Verdicts on the whole.
const (
	Fits       = "fits"
	DoesNotFit = "does not fit"
)

// Result is a candidate judged on the sign-off recordings.
type Result struct {
	Inputs   *Inputs
	Cut      *Cut
	Chosen   *Chosen
	Loss     []Loss // tolerances first within each place
	Costs    []Cost
	Before   []Cost // of the whole network in the widest formats that the job allows
	Counts   *quant.Counts
	Verdict  string // Fits, DoesNotFit or NotEnough
	Warnings []string
}

// Assess measures the chosen candidate on the sign-off recordings, which no
// choice has seen, and gives every verdict.
func (in *Inputs) Assess(cut *Cut, chosen *Chosen) *Result {
	r := in.Price(cut, chosen)
	measure := func(p dataset.Predictor) *dataset.Score { return dataset.Measure(p, in.Signoff, in.Regions) }
	r.Loss = in.lossRows(in.Signoff, scores{measure(in.Float), measure(chosen.CutNet), measure(chosen.Fixed)}, false)
	r.Counts = chosen.Fixed.Count(in.Signoff)
	r.Verdict = verdict(r.Loss, r.Costs)
	r.warn()
	return r
}

// Price gives the cost of a choice and judges only that.
func (in *Inputs) Price(cut *Cut, chosen *Chosen) *Result {
	r := &Result{Inputs: in, Cut: cut, Chosen: chosen, Costs: in.Costs(chosen.Candidate)}
	r.Before = in.Costs(in.widest())
	r.Verdict = verdict(nil, r.Costs)
	return r
}

// widest is the whole network in the widest formats that the job allows.
func (in *Inputs) widest() Candidate {
	formats, _ := in.Job.Formats.candidates() // checked when the job was read
	return in.Whole(formats[len(formats)-1])
}

// SelectionLoss compares the float, the cut and the fixed-point network on the
// selection recordings, on the rows that have a tolerance.
func (in *Inputs) SelectionLoss(chosen *Chosen) []Loss {
	measure := func(p dataset.Predictor) *dataset.Score { return dataset.Measure(p, in.Selection, in.Regions) }
	return in.lossRows(in.Selection, scores{in.floatOnSelection(), measure(chosen.CutNet), measure(chosen.Fixed)}, true)
}

func verdict(loss []Loss, costs []Cost) string {
	whole := Fits
	for _, l := range loss {
		switch {
		case l.Verdict == Fail:
			return DoesNotFit
		case l.Verdict == NotEnough:
			whole = NotEnough
		}
	}
	for _, c := range costs {
		if c.Verdict == Fail {
			return DoesNotFit
		}
	}
	return whole
}

// warn gathers what a reader of the verdict should know.
func (r *Result) warn() {
	in := r.Inputs
	add := func(format string, args ...any) { r.Warnings = append(r.Warnings, fmt.Sprintf(format, args...)) }
	r.Warnings = append(r.Warnings, in.Warnings...)
	for _, l := range r.Loss {
		if reason := l.Explain(); reason != "" {
			add("%s", reason)
		}
	}
	if !r.Chosen.Within && len(in.Job.Tolerances) > 0 {
		add("no choice kept every tolerance on the selection recordings; the last one tried goes to sign-off")
	}
	if n := r.Counts.Inputs; n > 0 {
		add("%d of %d feature values of the sign-off recordings lie beyond the calibrated range and saturate", n, r.Counts.Steps*len(r.Chosen.Candidate.Features))
	}
	if n := r.Counts.Gates; n > 0 {
		add("%d gate values of the sign-off recordings saturate inside the network", n)
	}
	if units := r.Counts.StalledUnits(); len(units) > 0 {
		names := make([]string, len(units))
		for i, u := range units {
			names[i] = fmt.Sprint(r.Chosen.Candidate.Units[u])
		}
		hint := ""
		if r.Chosen.Candidate.Formats.StateBits == 16 {
			hint = `; a 32-bit state moves on: [formats] state = "int32"`
		}
		add("slow units stand still because a step of their state is less than its last place: trained units %s%s", strings.Join(names, ", "), hint)
	}
	for _, t := range in.Targets {
		if t.Core.TimingKind != "official" {
			add("%s: no official instruction timing is published; cycles rest on figures %s", t.Name, t.Core.TimingKind)
		}
	}
	if len(in.Targets) > 0 {
		add("cycles assume flash without wait states; add those of your clock and part")
	}
}
