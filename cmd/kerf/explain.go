package main

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"kerf/budget"
	"kerf/exporter/report"
	"kerf/fault"
)

func (a *app) explainCommand() *cobra.Command {
	var cmd *cobra.Command
	cmd = a.verb(&cobra.Command{
		Use:   "explain HANDOFF [ROW]",
		Short: "Say what a row of the sign-off means and how it was computed",
		Long: `explain reads the sign-off of a handoff and says of a row what it means, its formula,
on which recordings and how many sequences it stands, where its interval comes from,
what kind of figure it is and what that rests on, and which line of the job set its
limit. Without a row it lists the rows.

A row of the accuracy is OUTPUT/SCENARIO or OUTPUT/REGION, for one metric alone with
/METRIC behind it; a row of the cost is TARGET/RESOURCE, for one part alone with /PART
behind it. A / or \ inside a name has a \ in front, as the list shows it. Some of the
names alone, such as an output, a scenario, a region or a target, list the rows that
have them, or explain the one row that has. Upper and lower case need not agree, nor
blanks and underscores. HANDOFF is a folder, a signoff.json, or - for one on stdin.`,
		Example: `  kerf explain handoff
  kerf explain handoff temp_max_next/all
  kerf explain handoff cortex-m4f/flash`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) < 1 || len(args) > 2 {
				return fault.New(fmt.Sprintf("%s takes a handoff and a row, got %d arguments",
					cmd.CommandPath(), len(args)), cmd.CommandPath()+" handoff lists the rows")
			}
			return nil
		},
	}, func(_ context.Context, args []string) (result, error) {
		s, err := readSignoff(args[0], a.stdin)
		if err != nil {
			return nil, err
		}
		if len(args) == 1 {
			return listRows(s), nil
		}
		return namedRows(s, args[1], cmd.CommandPath()+" "+shellWord(args[0]))
	})
	return cmd
}

// rowList is what kerf explain shows without a row: every row of the sign-off.
type rowList struct {
	Rows []listedRow `json:"rows"`
}

// listedRow is one row with the figure that is judged.
type listedRow struct {
	Row     string         `json:"row"`
	Names   []string       `json:"names"` // that the row is made of
	Value   float64        `json:"value"`
	Unit    string         `json:"unit"`
	Limit   *float64       `json:"limit"`
	Kind    budget.Kind    `json:"kind"`
	Verdict budget.Verdict `json:"verdict"`

	shown, shownLimit string
	ofCost            bool
}

// lossNames returns the names that an accuracy row is made of. Those of the place have no metric:
// they stand for all its rows that are judged.
func lossNames(l report.LossRow) (place, row []string) {
	return []string{l.Output, l.WhereName()},
		[]string{l.Output, l.WhereName(), string(l.Metric)}
}

// costNames returns the names that a cost row is made of. A total has no part behind it.
func costNames(c report.CostRow) []string {
	if c.Part == budget.Total {
		return []string{c.Target, string(c.Resource)}
	}
	return []string{c.Target, string(c.Resource), c.Part}
}

// listRows lists the rows of the accuracy, then those of the cost.
func listRows(s *report.Signoff) *rowList {
	list := &rowList{Rows: []listedRow{}}
	for _, l := range s.Loss {
		_, names := lossNames(l)
		value, limit, unit := judged(l)
		row := listedRow{Row: budget.RowText(names...), Names: names, Value: value, Unit: unit,
			Limit: l.Tolerance, Kind: l.Kind, Verdict: l.Verdict, shown: shownLoss(value, unit)}
		if limit != nil {
			row.shownLimit = shownLoss(*limit, unit)
		}
		list.Rows = append(list.Rows, row)
	}
	for _, c := range s.Cost {
		names := costNames(c)
		row := listedRow{Row: budget.RowText(names...), Names: names, Value: c.Value,
			Unit:  c.Unit,
			Limit: c.Limit, Kind: c.Kind, Verdict: c.Verdict,
			shown: c.ShownValue(), ofCost: true}
		if c.Limit != nil {
			row.shownLimit = report.Quantity(*c.Limit, c.Unit)
		}
		list.Rows = append(list.Rows, row)
	}
	return list
}

// judged returns the figure that the tolerance of a row is on: the rise, whose unit is empty, or
// the error of the fixed-point network.
func judged(l report.LossRow) (value float64, limit *float64, unit string) {
	if l.ToleranceOn == budget.OnRise && l.Rise != nil {
		return *l.Rise, l.Tolerance, ""
	}
	return l.Fixed, l.Tolerance, lossUnit(l)
}

// lossUnit returns the unit of the columns float, cut and fixed: empty for a share, 1 for an output
// without a unit.
func lossUnit(l report.LossRow) string {
	if l.Metric.IsShare() {
		return ""
	}
	if l.Unit == "" {
		return "1"
	}
	return l.Unit
}

// shownLoss prints a figure of the accuracy in its unit, as lossUnit gives it.
func shownLoss(v float64, unit string) string {
	switch unit {
	case "":
		return report.Percent(v)
	case "1":
		return report.Significant(v)
	}
	return report.Significant(v) + " " + unit
}

func (l *rowList) tables() []report.Table {
	t := report.Table{Title: "Rows of the sign-off",
		Head: []string{"row", "value", "limit", "kind", "verdict"}, Numbers: 1, Words: 2}
	for _, r := range l.Rows {
		t.Rows = append(t.Rows,
			[]string{r.Row, r.shown, r.shownLimit, string(r.Kind), report.ShortVerdict(r.Verdict)})
	}
	return []report.Table{t}
}

// explained is what kerf explain shows of a row, or of several rows under one name.
type explained struct {
	Rows []explanation `json:"rows"`
}

// explanation is the meaning of one row, and where its figures come from.
type explanation struct {
	Row        string         `json:"row"`
	Names      []string       `json:"names"` // that the row is made of
	Meaning    string         `json:"meaning"`
	Formula    string         `json:"formula"`
	Figures    []figure       `json:"figures"` // that the row shows or is made of
	Recordings []string       `json:"recordings"`
	Sequences  int            `json:"sequences"`
	Steps      int            `json:"steps"`
	Interval   string         `json:"interval"`
	Kind       budget.Kind    `json:"kind"`
	KindMeans  string         `json:"kind_means"`
	Sources    []string       `json:"sources"` // of the figures
	Limit      *float64       `json:"limit"`
	AtLeast    bool           `json:"at_least"`
	LimitFrom  string         `json:"limit_from"`
	Margin     *float64       `json:"margin"`
	Verdict    budget.Verdict `json:"verdict"`
	Why        string         `json:"why"` // the reason for the verdict
	Caution    string         `json:"caution"`
	facts      [][]string     // lines of the text alone: name and text, about limit and recordings
}

// figure is one number behind a row.
type figure struct {
	Name  string      `json:"name"`
	Value float64     `json:"value"`
	Unit  string      `json:"unit"` // empty: a share
	Kind  budget.Kind `json:"kind"`
	shown string
}

// explainRow finds the rows of a name. A place without a metric stands for its judged rows, or for
// all if none is judged.
func explainRow(s *report.Signoff, name string) *explained {
	found := &explained{}
	judgedOnly := slices.ContainsFunc(s.Loss, func(l report.LossRow) bool {
		place, _ := lossNames(l)
		return budget.RowText(place...) == name && l.Verdict != ""
	})
	for _, l := range s.Loss {
		place, row := lossNames(l)
		if budget.RowText(row...) == name || budget.RowText(place...) == name &&
			(!judgedOnly || l.Verdict != "") {
			found.Rows = append(found.Rows, explainLoss(s, l))
		}
	}
	for _, c := range s.Cost {
		if budget.RowText(costNames(c)...) == name {
			found.Rows = append(found.Rows, explainCost(s, c))
		}
	}
	return found
}

func (e *explained) tables() []report.Table {
	var tables []report.Table
	for _, r := range e.Rows {
		t := report.Table{Title: "What a row means, and where it comes from",
			Head: []string{"", r.Row}, Numbers: 2}
		say := func(what, text string) {
			if text != "" {
				t.Rows = append(t.Rows, []string{what, text})
			}
		}
		say("meaning", r.Meaning)
		say("formula", r.Formula)
		for _, f := range r.Figures {
			say(f.Name, strings.TrimSuffix(f.shown+", "+string(f.Kind), ", "))
		}
		for _, f := range r.facts {
			say(f[0], f[1])
		}
		say("interval", r.Interval)
		say("kind", r.KindMeans)
		for _, source := range r.Sources {
			say("source", source)
		}
		say("verdict", string(r.Verdict))
		say("why", r.Why)
		say("caution", r.Caution)
		tables = append(tables, t)
	}
	return tables
}
