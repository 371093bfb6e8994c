package main

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"kerf/budget"
	"kerf/exporter/report"
)

func (a *app) unitsCommand() *cobra.Command {
	var all bool
	var file string
	cmd := a.jobVerb(&cobra.Command{
		Use:   "units JOB.toml",
		Short: "How many hidden units? A line per number, with loss and cost",
		Long: `units plans the job for every number of hidden units, from what was trained down to
one in each recurrent layer, and measures each network on the selection recordings,
beside flash, RAM and cycles on every target. A row is what plan takes with
--units-count and that number; it says which units stay, or that the network was
trained ([recovery] in the job). Recommended is what plan takes by itself.

A network that was trained with another size competes on the same table when the job
names it:

  [[model.other]]
  file = "smaller.safetensors"

That network is judged as if it were planned by itself, relative to its own float
network, and compared with the network of the job beside that: it is recommended only
where it costs less and is shown to be no worse than that by more than the tolerances.`,
		Example: `  kerf units job.toml
  kerf units job.toml --format csv`,
	}, a.loadExamined, func(ctx context.Context, in *budget.Inputs) (result, error) {
		checkpoint, err := a.openCheckpoint(in, file)
		if err != nil {
			return nil, err
		}
		pl, cut, chosen, err := a.choose(ctx, in, choice{})
		if err != nil {
			return nil, err
		}
		if chosen, err = a.recoverChoice(ctx, pl, cut, chosen, checkpoint); err != nil {
			return nil, err
		}
		step, end := a.ui.progress("measuring sizes")
		defer end()
		sizes, err := pl.Sizes(ctx, chosen, step)
		if err != nil {
			return nil, err
		}
		return newUnitsResult(in, sizes, all), nil
	})
	checkpointFlag(cmd.Flags(), &file)
	cmd.Flags().BoolVar(&all, "all", false, "print as well every judged error and every cost")
	return cmd
}

// sizeTables shows a line for every size, and what the rows speak for. With all it shows as well
// the loss in every row that is judged, and the cost on each target.
func sizeTables(in *budget.Inputs, sizes []budget.Size, all bool) []report.Table {
	tables := []report.Table{sizeLines(sizes), sizeKept(in, sizes)}
	if all {
		tables = append(tables, sizeLosses(sizes))
		for _, target := range in.Targets {
			tables = append(tables, sizeCosts(sizes, target.Name))
		}
	}
	return append(tables, sentenceTable("What that says", sizeSentences(in, sizes, all)))
}

// sizeLines has a row for every size: the share of a tolerance that it may use, drawn as well, what
// it costs, and whether it is possible. A mark stands at the row that is recommended.
func sizeLines(sizes []budget.Size) report.Table {
	t := report.Table{Title: "Hidden units: the share of a tolerance that may be used, and cost",
		Head: []string{"", "units", "features", "used", "", "cost", "outcome"}, Numbers: 2,
		Bar: 4}
	for _, s := range sizes {
		mark, used, bar := "", "", ""
		if s.Recommended {
			mark = ">"
		}
		if s.Tightest.Judged {
			used, bar = report.UsedPercent(report.Finite(s.Used)), usedBar(s.Used)
		}
		t.Rows = append(t.Rows, []string{mark, sizeName(s),
			strconv.Itoa(len(s.Candidate.Features)), used, bar, report.Percent(s.Share),
			outcome(s)})
	}
	return t
}

// sizeKept has for every size the units that stay, or that it was trained, the features that go,
// and the words.
func sizeKept(in *budget.Inputs, sizes []budget.Size) report.Table {
	t := report.Table{Title: "What each row keeps",
		Head: []string{"units", "which", "without", "words"}, Numbers: 1, Words: 3}
	for _, s := range sizes {
		t.Rows = append(t.Rows, []string{sizeName(s), madeOf(s),
			strings.Join(in.DroppedFeatures(s.Candidate), ", "), s.Candidate.Formats.String()})
	}
	return t
}

// madeOf returns which of the given units stay, or how the network was trained.
func madeOf(s budget.Size) string {
	switch r := s.Candidate.Recovered; {
	case s.Other:
		return "as trained"
	case r != nil && r.Scratch:
		return "trained from scratch"
	case r != nil:
		return "trained from the cut"
	}
	var layers []string
	for _, units := range s.Candidate.Units {
		layers = append(layers, ranges(units))
	}
	return strings.Join(layers, "; ")
}

// ranges lists ascending numbers, those that follow one another as their first and last.
func ranges(numbers []int) string {
	var parts []string
	for i := 0; i < len(numbers); {
		end := i
		for end+1 < len(numbers) && numbers[end+1] == numbers[end]+1 {
			end++
		}
		if end > i+1 {
			parts = append(parts, fmt.Sprintf("%d-%d", numbers[i], numbers[end]))
		} else {
			for _, n := range numbers[i : end+1] {
				parts = append(parts, strconv.Itoa(n))
			}
		}
		i = end + 1
	}
	return strings.Join(parts, " ")
}

// barCells is how many cells of a bar make a whole tolerance. Our choice.
const barCells = 10

// usedBar draws a share of a tolerance: dots for what is left of it, an arrow for what is beyond.
func usedBar(share float64) string {
	if !(share <= 1) {
		return strings.Repeat("#", barCells) + ">"
	}
	full := int(math.Round(math.Max(share, 0) * barCells))
	return strings.Repeat("#", full) + strings.Repeat(".", barCells-full)
}

// sizeLosses shows the rise of every judged error with its interval.
func sizeLosses(sizes []budget.Size) report.Table {
	t := report.Table{Title: "Rise of the error in fixed point against the float network of the " +
		"same file, with its 95 % interval, on selection recordings", Head: []string{"units"},
		Numbers: 1}
	for _, l := range sizes[0].Loss {
		t.Head = append(t.Head, l.Text())
	}
	add := func(name string, losses []budget.Loss) {
		row := []string{name}
		for _, l := range losses {
			row = append(row, interval(l))
		}
		t.Rows = append(t.Rows, row)
	}
	for _, s := range sizes {
		add(sizeName(s), s.Loss)
		if s.Beside != nil {
			add(fmt.Sprintf("%d against float %s", s.Units, s.Beside.File), s.Beside.Loss)
		}
	}
	return t
}

// sizeCosts shows what every size takes on one target, and whether it fits.
func sizeCosts(sizes []budget.Size, target string) report.Table {
	t := report.Table{Title: "What each size takes", Head: []string{target}, Numbers: 1, Words: 1}
	for i, s := range sizes {
		row, over, unjudged := []string{sizeName(s)}, []string{}, []string{}
		for _, c := range s.Costs {
			if c.Target != target || c.Part != budget.Total {
				continue
			}
			name := report.Spaced(c.Resource)
			if i == 0 {
				t.Head = append(t.Head, name)
			}
			row = append(row, report.Quantity(c.Value, c.Unit))
			switch c.Verdict {
			case budget.Fail:
				over = append(over, name)
			case budget.NoEstimate:
				unjudged = append(unjudged, name)
			}
		}
		fit := "fits"
		switch {
		case len(over) > 0:
			fit = "too much " + strings.Join(over, ", ")
		case len(unjudged) > 0:
			fit = "no estimate of " + strings.Join(unjudged, ", ")
		}
		t.Rows = append(t.Rows, append(row, fit))
	}
	t.Head = append(t.Head, "fit")
	return t
}

// sizeName returns the numbers of units of a row, and for another network its file as well.
func sizeName(s budget.Size) string {
	name := unitNumbers(s.Candidate)
	if s.Other {
		name += " " + s.File
	}
	return name
}

// unitNumbers returns the numbers of units per recurrent layer, as --units-count takes them.
func unitNumbers(c budget.Candidate) string {
	var counts []string
	for _, units := range c.Units {
		counts = append(counts, strconv.Itoa(len(units)))
	}
	return strings.Join(counts, ",")
}

// interval prints the rise of an error with its 95 % interval, or the error itself where the
// tolerance is on the error.
func interval(l budget.Loss) string {
	show, value, low, high := report.Significant, l.Fixed, l.FixedLow, l.FixedHigh
	if !l.Judged || l.Relative {
		show, value, low, high = report.Percent, l.Rise, l.RiseLow, l.RiseHigh
		if l.Metric.IsShare() {
			show = report.Points
		}
	}
	if math.IsNaN(low) {
		return show(value)
	}
	return fmt.Sprintf("%s [%s, %s]", show(value), bare(show(low)), bare(show(high)))
}

// bare returns a printed figure without its unit.
func bare(text string) string {
	return strings.TrimSuffix(strings.TrimSuffix(text, " %"), " points")
}

// outcome returns whether a size is possible, and if not where it breaks a tolerance.
func outcome(s budget.Size) string {
	switch {
	case !s.Tightest.Judged:
		return ""
	case !s.Within:
		return "breaks " + s.Tightest.Text()
	case s.Beside != nil && s.Beside.Broken:
		return "is worse than " + s.Beside.File
	case !s.IsPossible():
		return "may be worse than " + s.Beside.File
	case s.Recommended:
		return "recommended"
	case s.Broken > 0:
		return "too large"
	}
	return "possible"
}

// sizeSentences returns what the rows mean, and which one is recommended.
func sizeSentences(in *budget.Inputs, sizes []budget.Size, all bool) []string {
	lines := []string{
		"A row is what kerf plan takes with --units-count and its number of units, or with count " +
			"under [units] of the job.",
		"Used: the share of its tolerance that the tightest row may reach on the sign-off " +
			"recordings, relative to the float network " + in.Job.Model.File + "; behind " +
			"\"breaks\" is its name. The figures are from selection recordings, on which the " +
			"cuts were fitted. Cost: " + in.Objective() + ".",
	}
	for _, s := range sizes {
		if s.Beside != nil {
			lines = append(lines, fmt.Sprintf("%s is judged relative to its own float network, "+
				"as if it were planned by itself; %s.", sizeName(s), s.Beside))
		}
	}
	if rows := sizes[0].GivenBreaks; len(rows) > 0 {
		names := make([]string, len(rows))
		for i, row := range rows {
			names[i] = row.Text()
		}
		lines = append(lines, report.GivenBreaksSentence(strings.Join(names, ", ")))
	}
	if dearer := dearerWithLess(sizes); dearer != "" {
		lines = append(lines, dearer)
	}
	if !all {
		lines = append(lines, "--all prints every judged error, and every cost on each target.")
	}
	return append([]string{recommendation(in, sizes)}, lines...)
}

// recommendation says which size is recommended, or why none is.
func recommendation(in *budget.Inputs, sizes []budget.Size) string {
	for _, s := range sizes {
		if s.Recommended {
			return fmt.Sprintf("Recommended: %s units. Of the rows that are possible it "+
				"breaks the fewest limits (%d), and of those it costs the least: %s (%s).",
				sizeName(s), s.Broken, report.Percent(s.Share), in.Objective())
		}
	}
	if !in.JudgesLoss() {
		return "The job gives no tolerance: nothing is recommended."
	}
	return "No size is within every tolerance with a reserve for the sign-off: nothing is " +
		"recommended."
}

// dearerWithLess names the targets on which a row has fewer units than the one before it and costs
// more, and says why; empty where there is none.
func dearerWithLess(sizes []budget.Size) string {
	var targets []string
	for i := 1; i < len(sizes); i++ {
		if sizes[i].Other || sizes[i-1].Other || sizes[i].Units >= sizes[i-1].Units {
			continue
		}
		for k, c := range sizes[i].Costs {
			if c.Part == budget.Total && k < len(sizes[i-1].Costs) &&
				(c.Resource == budget.Flash || c.Resource == budget.Cycles) &&
				c.Value > sizes[i-1].Costs[k].Value && !slices.Contains(targets, c.Target) {
				targets = append(targets, c.Target)
			}
		}
	}
	if len(targets) == 0 {
		return ""
	}
	return "Some rows with a unit less take more flash or cycles on " +
		strings.Join(targets, ", ") + ": the C reads rows in groups of four, and another " +
		"number of columns or another form needs code of its own."
}

// unitsResult is what kerf units shows.
type unitsResult struct {
	Sizes    []sizeRow    `json:"sizes"`
	Findings []findingRow `json:"findings"`

	in    *budget.Inputs
	sizes []budget.Size
	all   bool
}

// sizeRow is one network with its loss on selection recordings and its cost.
type sizeRow struct {
	Units      int      `json:"units"`
	File       string   `json:"file"`
	Other      bool     `json:"other"` // one of [[model.other]], as trained
	Features   []string `json:"kept_features"`
	Kept       [][]int  `json:"kept_units"` // of a network from scratch its own
	Trained    string   `json:"trained"`    // "from the cut", "from scratch" or empty
	Formats    string   `json:"formats"`
	WeightBits int      `json:"weight_bits"`
	StateBits  int      `json:"state_bits"`
	MayReach   *float64 `json:"may_reach"` // of the tightest judged row
	// whether it is within every tolerance, with the reserve for the sign-off
	Within      bool          `json:"within"`
	Broken      int           `json:"broken_limits"`
	Recommended bool          `json:"recommended"`
	Loss        []sizeLossRow `json:"loss"` // relative to the float network of the file
	// of another network: relative to the float network of the job
	Against []sizeLossRow `json:"against_given,omitempty"`
	Cost    []sizeCostRow `json:"cost"`
}

// sizeLossRow is a judged error of one size.
type sizeLossRow struct {
	budget.RowName
	Fixed    *float64 `json:"fixed"`
	Rise     *float64 `json:"rise"`
	RiseLow  *float64 `json:"rise_low"`
	RiseHigh *float64 `json:"rise_high"`
}

// sizeCostRow is what one size takes of a resource of a target.
type sizeCostRow struct {
	Target   string          `json:"target"`
	Resource budget.Resource `json:"resource"`
	Value    float64         `json:"value"`
	Unit     string          `json:"unit"`
	Kind     budget.Kind     `json:"kind"`
	Limit    *float64        `json:"limit"`
	Verdict  budget.Verdict  `json:"verdict"`
}

func newUnitsResult(in *budget.Inputs, sizes []budget.Size, all bool) *unitsResult {
	r := &unitsResult{Sizes: []sizeRow{},
		Findings: findingRows(sizeSentences(in, sizes, all)),
		in:       in, sizes: sizes, all: all}
	for _, s := range sizes {
		l := s.Candidate.Formats.Layers[0]
		row := sizeRow{Units: s.Units, File: s.File, Other: s.Other, WeightBits: l.RecurrentBits,
			StateBits: l.StateBits, MayReach: report.Finite(s.Tightest.MayReach), Within: s.Within,
			Broken: s.Broken, Recommended: s.Recommended, Loss: []sizeLossRow{},
			Cost: []sizeCostRow{}, Features: in.KeptFeatures(s.Candidate), Kept: s.Candidate.Units,
			Formats: s.Candidate.Formats.String()}
		if s.Candidate.Recovered != nil {
			row.Trained = strings.TrimPrefix(madeOf(s), "trained ")
		}
		row.Loss = append(row.Loss, sizeLossRows(s.Loss)...)
		if s.Beside != nil {
			row.Against = sizeLossRows(s.Beside.Loss)
		}
		for _, c := range s.Costs {
			if c.Part == budget.Total {
				row.Cost = append(row.Cost, sizeCostRow{c.Target, c.Resource, c.Value, c.Unit,
					c.Kind, report.Finite(c.Limit), c.Verdict})
			}
		}
		r.Sizes = append(r.Sizes, row)
	}
	return r
}

func sizeLossRows(losses []budget.Loss) []sizeLossRow {
	var rows []sizeLossRow
	for _, l := range losses {
		rows = append(rows, sizeLossRow{l.RowName, report.Finite(l.Fixed), report.Finite(l.Rise),
			report.Finite(l.RiseLow), report.Finite(l.RiseHigh)})
	}
	return rows
}

func (r *unitsResult) tables() []report.Table {
	return sizeTables(r.in, r.sizes, r.all)
}
