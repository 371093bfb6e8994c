package budget

import (
	"fmt"
	"math"
	"slices"

	"kerf/dataset"
	"kerf/prune"
)

// Loss is one row of the accuracy table. The columns are measured on the same
// steps.
type Loss struct {
	RowName
	Slice dataset.Slice // of the recordings, that the row is about
	Unit  string

	Float, Cut, Fixed float64 // in the unit of the output
	Recovered         float64 // the same after recovery training; NaN where there was none
	// Fixed/Float - 1, for a classifier Float - Fixed; NaN for the bias and where Float is 0
	Rise                float64
	RiseLow, RiseHigh   float64 // 95 % interval; NaN where there is none
	FixedLow, FixedHigh float64 // 95 % interval; NaN where there is none
	Sequences, Steps    int
	// that the intervals rest on, see [dataset.Compare]; 0: they rest on sequences
	Blocks, BlockSteps int

	Judged   bool
	Relative bool // the tolerance is on Rise, else on Fixed
	// fraction or unit of the output; of the explained share the least, of all others the most
	Tolerance float64
	Verdict   Verdict // Pass, Fail, NotEnough; empty when not judged
	// with NotEnough: how many sequences are needed at least, as far as these tell; 0 when that
	// cannot be said
	WouldDo int

	comparisons int // that decide where a search ends, see [Inputs.comparisons]
	counts      sequenceCounts

	// What the row may show on the sign-off recordings, as its tolerance has it, see signoffReach,
	// and what the network as given may show there. Only on selection recordings.
	MayReach, FloatMayReach float64
}

// Margin is the room between the tolerance and the upper end of the interval,
// as a fraction of the tolerance; NaN without an interval or tolerance.
func (l *Loss) Margin() float64 {
	if _, high := l.JudgedValue(); l.Judged && l.Allowed() > 0 {
		return 1 - high/l.Allowed()
	}
	return math.NaN()
}

// On is the figure that the tolerance of a row is compared with.
func (l *Loss) On() ToleranceOn {
	if l.Relative {
		return OnRise
	}
	return OnFixed
}

// place is one slice of the recordings that a row is about.
type place struct {
	Scope
	slice dataset.Slice
}

// places lists the slices of one output: everywhere, each scenario, each region.
func (in *Inputs) places(rec *dataset.Recordings, output int) []place {
	all := []place{{Scope{prune.All, ""}, dataset.Slice{Output: output, Region: -1}}}
	scenarios := rec.Scenarios()
	for _, s := range in.Selection.Scenarios() {
		if !slices.Contains(scenarios, s) {
			scenarios = append(scenarios, s) // a row without a sequence: it cannot be judged
		}
	}
	for _, s := range scenarios {
		all = append(all, place{Scope{s, ""},
			dataset.Slice{Output: output, Scenario: s, Region: -1}})
	}
	for r, region := range in.Regions {
		all = append(all, place{Scope{prune.All, region.Name},
			dataset.Slice{Output: output, Region: r}})
	}
	return all
}

// judged lists what rows are about: the outputs, or for a classifier the class.
func (in *Inputs) judged() []dataset.Output {
	if in.Float.Classes {
		return []dataset.Output{{Name: in.Job.Outputs.Column}}
	}
	return in.Float.Outputs
}

// scores are the measurements of the networks on the same recordings; recovered is nil without
// recovery training. constant is what explained shares compare with; nil where no tolerance is on
// one.
type scores struct {
	constant, float, cut, fixed, recovered *dataset.Score
}

// lossRows makes the rows of the accuracy table. With judgedOnly, rows without
// a tolerance are left out, and so is the work for them.
func (pl *Planner) lossRows(rec *dataset.Recordings, s scores, judgedOnly bool) []Loss {
	var rows []Loss
	if pl.in.judgesExplained() {
		s.constant = pl.constantOn(rec)
	}
	for o, output := range pl.in.judged() {
		for _, p := range pl.in.places(rec, o) {
			judged := map[dataset.Metric]bool{}
			for _, t := range pl.in.Job.Tolerances[output.Name].rules(p.Scope) {
				judged[t.metric] = true
				row := pl.in.lossRow(output, p, t.metric, s)
				row.Judged, row.Relative, row.Tolerance = true, t.relative, t.limit
				row.Judge()
				rows = append(rows, row)
			}
			for _, m := range dataset.Metrics(pl.in.Float.Classes) {
				if !judged[m] && !judgedOnly {
					rows = append(rows, pl.in.lossRow(output, p, m, s))
				}
			}
		}
	}
	return rows
}

func (in *Inputs) lossRow(output dataset.Output, p place, metric dataset.Metric, s scores) Loss {
	base := s.float
	if metric == dataset.Explained {
		base = s.constant
	}
	c := dataset.Compare(base, s.fixed, p.slice, metric)
	row := Loss{
		RowName: RowName{output.Name, p.Scope, metric}, Slice: p.slice, Unit: output.Unit,
		Float: c.Base, Cut: s.cut.Value(base, p.slice, metric), Recovered: math.NaN(),
		Fixed: c.Other,
		Rise:  c.Rise, RiseLow: c.RiseLow, RiseHigh: c.RiseHigh, FixedLow: c.OtherLow,
		FixedHigh: c.OtherHigh,
		Sequences: c.Sequences, Steps: c.Steps, Blocks: c.Blocks, BlockSteps: c.BlockSteps,
		comparisons: in.comparisons(), counts: in.sequencesOf(p.slice),
	}
	if metric == dataset.Explained {
		row.Float, row.Unit = s.float.Value(base, p.slice, metric), ""
	}
	if s.recovered != nil {
		row.Recovered = s.recovered.Value(base, p.slice, metric)
	}
	return row
}

// Explain says in words why a row cannot be judged; empty for one that is.
func (l *Loss) Explain() string {
	switch {
	case l.Verdict == NotEnough && l.Sequences == 0 && l.Region != "":
		return fmt.Sprintf("%s: no step of the sign-off recordings lies in the region", l.Text())
	case l.Verdict == NotEnough && l.Sequences == 0:
		return fmt.Sprintf("%s: there are no sign-off recordings of the scenario", l.Text())
	case l.Verdict == NotEnough && l.WouldDo > 0:
		return fmt.Sprintf("%s: %s not enough for a verdict; at least %d are needed", l.Text(),
			few(l.Sequences), l.WouldDo)
	case l.Verdict == NotEnough:
		return fmt.Sprintf("%s: %s not enough for a verdict", l.Text(), few(l.Sequences))
	}
	return ""
}

func few(sequences int) string {
	if sequences == 1 {
		return "1 sequence is"
	}
	return fmt.Sprintf("%d sequences are", sequences)
}
