package main

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"kerf/budget"
	"kerf/dataset"
	"kerf/exporter/report"
	"kerf/fault"
)

// withoutResult is what kerf rank --without shows: the best network without some channels beside
// the best one of the job, both on the selection recordings.
type withoutResult struct {
	Channels  []string         `json:"channels"`
	Features  []string         `json:"features"`   // of the channels
	FrontEnds []string         `json:"front_ends"` // that nothing needs without them
	Fits      bool             `json:"fits"`       // within every tolerance and limit without them
	With      withoutNetwork   `json:"with"`
	Without   withoutNetwork   `json:"without"`
	Loss      []withoutLossRow `json:"loss"`
	Cost      []withoutCostRow `json:"cost"`
	Findings  []findingRow     `json:"findings"`

	says []string
}

// withoutNetwork is one of the two networks.
type withoutNetwork struct {
	Features []string `json:"features"`
	Units    int      `json:"units"` // of all layers
	Formats  string   `json:"formats"`
	Trained  bool     `json:"trained"`
	Within   bool     `json:"within"`        // every tolerance, with the reserve for the sign-off
	Broken   int      `json:"broken_limits"` // over all targets
}

// withoutLossRow is a judged row of both networks.
type withoutLossRow struct {
	budget.RowName
	Unit         string             `json:"unit"`
	Float        *float64           `json:"float"`
	With         *float64           `json:"with"`
	Without      *float64           `json:"without"`
	WithMayReach *float64           `json:"with_may_reach"`
	MayReach     *float64           `json:"may_reach"` // without the channels
	Tolerance    float64            `json:"tolerance"`
	On           budget.ToleranceOn `json:"tolerance_on"`
	Kept         bool               `json:"kept"` // without the channels

	row budget.Loss
}

// withoutCostRow is what both networks take of a resource of a target. Where nothing is within
// every tolerance without the channels, the second one is the network with them less their
// features.
type withoutCostRow struct {
	Target   string          `json:"target"`
	Resource budget.Resource `json:"resource"`
	Unit     string          `json:"unit"`
	With     float64         `json:"with"`
	Without  float64         `json:"without"`
	Freed    float64         `json:"freed"`      // below 0 it costs
	FrontEnd *float64        `json:"front_ends"` // of that, code that computes features
	Limit    *float64        `json:"limit"`
	Verdict  budget.Verdict  `json:"verdict"` // without the channels
}

// bestNetwork is what plan would choose for inputs.
type bestNetwork struct {
	in        *budget.Inputs
	candidate budget.Candidate
	within    bool
	rows      []budget.Loss // judged, on the selection recordings
	costs     []budget.Cost
}

// best chooses a network as plan does, and judges nothing on sign-off recordings.
func (a *app) best(ctx context.Context, in *budget.Inputs) (*bestNetwork, error) {
	pl, cut, chosen, err := a.choose(ctx, in, choice{})
	if err != nil {
		return nil, err
	}
	if chosen, err = a.recoverChoice(ctx, pl, cut, chosen, nil); err != nil {
		return nil, err
	}
	return &bestNetwork{in, chosen.Candidate, chosen.Within, pl.Reached(chosen),
		in.Costs(chosen.Candidate)}, nil
}

// broken counts the limits that a network breaks.
func (b *bestNetwork) broken() int {
	n := 0
	for _, c := range b.costs {
		if c.Part == budget.Total && c.Verdict == budget.Fail {
			n++
		}
	}
	return n
}

// network says what a network is.
func (b *bestNetwork) network() withoutNetwork {
	c := b.candidate
	return withoutNetwork{Features: b.in.KeptFeatures(c), Units: c.UnitCount(),
		Formats: c.Formats.String(), Trained: c.Recovered != nil, Within: b.within,
		Broken: b.broken()}
}

// rankWithout compares the best network without some channels with the best one of the job.
func (a *app) rankWithout(ctx context.Context, in *budget.Inputs,
	channels nameList) (result, error) {
	if !in.JudgesLoss() {
		return nil, fault.New("--without: the job gives no tolerance, so nothing tells which "+
			"network is the best", `add [tolerance], such as leakage = { rmse_rise = "5 %" }`)
	}
	rest, err := in.WithoutChannels(channels)
	if err != nil {
		return nil, err
	}
	with, err := a.best(ctx, in)
	if err != nil {
		return nil, err
	}
	without, err := a.best(ctx, rest)
	if err != nil {
		return nil, err
	}
	return newWithoutResult(channels, with, without), nil
}

func newWithoutResult(channels []string, with, without *bestNetwork) *withoutResult {
	r := &withoutResult{Channels: channels, Features: []string{}, FrontEnds: []string{},
		With: with.network(), Without: without.network(), Loss: []withoutLossRow{},
		Cost: []withoutCostRow{}}
	for _, f := range with.in.Float.Features {
		if slices.Contains(channels, f.Channel) {
			r.Features = append(r.Features, f.Name)
		}
	}
	r.Fits = without.within && r.Without.Broken == 0
	rest := without
	if !without.within { // in words and with units that say nothing of the channels
		less := with.candidate
		less.Features = slices.DeleteFunc(slices.Clone(less.Features), func(k int) bool {
			return slices.Contains(channels, with.in.Float.Features[k].Channel)
		})
		rest = &bestNetwork{in: with.in, candidate: less, costs: with.in.Costs(less)}
	}
	needed, _ := with.in.FrontEnds(with.candidate)
	stay, _ := with.in.FrontEnds(rest.candidate)
	for _, g := range needed {
		if !slices.ContainsFunc(stay, func(s budget.FrontEnd) bool { return s.Name == g.Name }) {
			r.FrontEnds = append(r.FrontEnds, g.Name)
		}
	}
	for i, l := range without.rows {
		before := with.rows[i] // the same rows: both have the tolerances of the job
		r.Loss = append(r.Loss, withoutLossRow{RowName: l.RowName, Unit: l.Unit,
			Float: report.Finite(l.Float), With: report.Finite(before.Fixed),
			Without: report.Finite(l.Fixed), WithMayReach: report.Finite(before.MayReach),
			MayReach: report.Finite(l.MayReach), Tolerance: l.Tolerance, On: l.On(),
			Kept: l.ReachUsed() <= 1, row: l})
	}
	frontEnds := map[string]float64{} // freed, by target and resource
	for i, c := range rest.costs {
		before := with.costs[i] // the same rows: both have the targets of the job
		freed := before.Value - c.Value
		switch c.Part {
		case budget.FrontEndPart, budget.SamplingPart, budget.FeaturesPart, budget.FrontTablesPart,
			budget.FrontCodePart, budget.FrontStatePart:
			frontEnds[budget.CostText(c.Target, c.Resource)] += freed
		case budget.Total:
			row := withoutCostRow{Target: c.Target, Resource: c.Resource, Unit: c.Unit,
				With: before.Value, Without: c.Value, Freed: freed, Limit: report.Finite(c.Limit),
				Verdict: c.Verdict}
			if v, ok := frontEnds[budget.CostText(c.Target, c.Resource)]; ok {
				row.FrontEnd = &v
			}
			r.Cost = append(r.Cost, row)
		}
	}
	r.says = r.sentences(with.in)
	r.Findings = findingRows(r.says)
	return r
}

// sentences say whether anything fits without the channels, what that loses and what it frees.
func (r *withoutResult) sentences(in *budget.Inputs) []string {
	channels := dataset.ListNames(r.Channels)
	reads := slices.ContainsFunc(r.With.Features, func(name string) bool {
		return slices.Contains(r.Features, name)
	})
	sizes := func(n withoutNetwork) string {
		return fmt.Sprintf("%s and %s", report.Plural(len(n.Features), "feature"),
			report.Plural(n.Units, "unit"))
	}
	var lines []string
	switch {
	case !reads:
		lines = append(lines, fmt.Sprintf("The best network reads nothing of %s: without it "+
			"nothing is lost.", channels))
	case r.Fits:
		lines = append(lines, fmt.Sprintf("Without %s a network with %s is within every tolerance "+
			"and limit, with the reserve for the sign-off; the best one with it has %s.", channels,
			sizes(r.Without), sizes(r.With)))
	case r.Without.Within:
		lines = append(lines,
			fmt.Sprintf("Without %s a network with %s is within every tolerance, "+
				"but breaks limits (%d).", channels, sizes(r.Without), r.Without.Broken))
	default:
		broken := 0
		for _, l := range r.Loss {
			if !l.Kept {
				broken++
			}
		}
		nearest := "The network with all other features and units in the widest words"
		if r.Without.Trained {
			nearest = "After training the network"
		}
		lines = append(lines, fmt.Sprintf("Without %s nothing fits: no network is within every "+
			"tolerance. %s breaks %d of %d rows.", channels, nearest, broken, len(r.Loss)))
	}
	if reads {
		worst := slices.MaxFunc(r.Loss, func(a, b withoutLossRow) int {
			return cmp.Compare(a.row.ReachUsed(), b.row.ReachUsed())
		})
		reach, tolerance := worst.row.ReachText()
		lines = append(lines, fmt.Sprintf("The tightest row is %s: it may reach %s on the "+
			"sign-off recordings, tolerance %s.", worst.Text(), reach, tolerance))
	}
	if !r.With.Within {
		lines = append(lines, "With it nothing is within every tolerance either.")
	}
	if reads {
		lines = append(lines, r.freed()...)
	}
	if in.Job.Recovery == nil && reads {
		lines = append(lines, "Nothing was trained: what stays only takes over what it can "+
			"predict. [recovery] in the job trains both networks; a network that was trained "+
			"without the channel may do better still.")
	}
	return append(lines, fmt.Sprintf("The figures are from selection recordings. kerf plan judges "+
		"the network without %s on the sign-off recordings if the job has [features] drop = [%s].",
		channels, r.dropped()))
}

// dropped lists the channels as a job drops them.
func (r *withoutResult) dropped() string {
	quoted := make([]string, len(r.Channels))
	for i, name := range r.Channels {
		quoted[i] = fmt.Sprintf("%q", budget.ChannelPrefix+name)
	}
	return strings.Join(quoted, ", ")
}

// freed says for each target what is freed, and how much of it by front ends.
func (r *withoutResult) freed() []string {
	that := "that"
	if !r.Without.Within {
		that = "the best network with it, less the features of the channel,"
	}
	names := map[budget.Resource]string{budget.Flash: "of flash", budget.RAM: "of RAM",
		budget.Cycles: "a step"}
	var lines, freed, taken []string
	for i, c := range r.Cost {
		if name := names[c.Resource]; name != "" && c.Freed != 0 {
			text := report.Quantity(math.Abs(c.Freed), c.Unit) + " " + name
			if c.Resource == budget.Cycles {
				text = report.Quantity(math.Abs(c.Freed), c.Unit) + " cycles " + name
			}
			if c.Freed > 0 {
				freed = append(freed, text)
			} else {
				taken = append(taken, text)
			}
		}
		if i+1 < len(r.Cost) && r.Cost[i+1].Target == c.Target {
			continue
		}
		var parts []string
		if len(freed) > 0 {
			parts = append(parts, "frees "+strings.Join(freed, ", "))
		}
		if len(taken) > 0 {
			parts = append(parts, "takes "+strings.Join(taken, ", ")+" more")
		}
		if len(parts) > 0 {
			lines = append(lines, fmt.Sprintf("On %s %s %s.", c.Target, that,
				strings.Join(parts, " and ")))
		}
		freed, taken = nil, nil
	}
	if len(r.FrontEnds) > 0 {
		lines = append(lines, "Among that are front ends: "+dataset.ListNames(r.FrontEnds)+
			". What the sensor, its wiring and its converter take comes on top.")
	}
	return lines
}

func (r *withoutResult) tables() []report.Table {
	return []report.Table{r.lossTable(), r.costTable(),
		sentenceTable("What that says", r.says)}
}

// lossTable has the tightest rows of each output, where the network without the channels may use
// most of its tolerance.
func (r *withoutResult) lossTable() report.Table {
	t := report.Table{Title: "Accuracy without " + dataset.ListNames(r.Channels) +
		", on selection recordings: the tightest rows of each output",
		Head: []string{"row", "float", "with it", "without", "may reach", "tolerance",
			"outcome"},
		Numbers: 1, Words: 1}
	var outputs []string
	for _, l := range r.Loss {
		if !slices.Contains(outputs, l.Output) {
			outputs = append(outputs, l.Output)
		}
	}
	for _, output := range outputs {
		var rows []withoutLossRow
		for _, l := range r.Loss {
			if l.Output == output {
				rows = append(rows, l)
			}
		}
		slices.SortStableFunc(rows, func(a, b withoutLossRow) int {
			return cmp.Compare(b.row.ReachUsed(), a.row.ReachUsed())
		})
		for _, l := range rows[:min(shownRows, len(rows))] {
			outcome := "kept"
			if !l.Kept {
				outcome = "broken"
			}
			reach, tolerance := l.row.ReachText()
			t.Rows = append(t.Rows, []string{l.Text(), report.Optional(l.Float, report.Significant),
				report.Optional(l.With, report.Significant),
				report.Optional(l.Without, report.Significant), reach, tolerance, outcome})
		}
	}
	return t
}

// shownRows is how many rows of each output the table shows. Our choice.
const shownRows = 3

// costTable shows what both networks take, see withoutCostRow.
func (r *withoutResult) costTable() report.Table {
	title := "What the best networks take"
	if !r.Without.Within {
		title = "What the best network takes with it, and less its features"
	}
	t := report.Table{Title: title, Head: []string{"of", "with it", "without",
		"freed", "by front ends", "limit"}, Numbers: 1}
	for _, c := range r.Cost {
		if c.Resource != budget.Flash && c.Resource != budget.RAM && c.Resource != budget.Cycles &&
			c.Resource != budget.Energy && c.Limit == nil {
			continue
		}
		show := func(v float64) string { return report.Quantity(v, c.Unit) }
		limit := report.Optional(c.Limit, show)
		if c.Verdict == budget.Fail {
			limit += ", broken"
		}
		t.Rows = append(t.Rows, []string{budget.CostText(c.Target, c.Resource), show(c.With),
			show(c.Without), signed(c.Freed, show), report.Optional(c.FrontEnd, show), limit})
	}
	return t
}

// signed prints a figure that may be less than nothing.
func signed(v float64, show func(float64) string) string {
	if v < 0 {
		return "-" + show(-v)
	}
	return show(v)
}
