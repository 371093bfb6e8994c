package report

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"kerf/budget"
	"kerf/dataset"
)

// LossRow is one row of the accuracy table: a [budget.Loss] with null for NaN, and
// with its margin, its kind and the line of the job that set its tolerance.
type LossRow struct {
	budget.RowName
	Unit        string             `json:"unit"`
	Float       float64            `json:"float"`
	Cut         float64            `json:"cut"`
	Recovered   *float64           `json:"recovered"` // nil without recovery training
	Fixed       float64            `json:"fixed"`
	FixedLow    *float64           `json:"fixed_low"`
	FixedHigh   *float64           `json:"fixed_high"`
	Rise        *float64           `json:"rise"`
	RiseLow     *float64           `json:"rise_low"`
	RiseHigh    *float64           `json:"rise_high"`
	Sequences   int                `json:"sequences"`
	Steps       int                `json:"steps"`
	Tolerance   *float64           `json:"tolerance"`
	ToleranceOn budget.ToleranceOn `json:"tolerance_on"` // empty without a tolerance
	// file, line and key of the job; empty without a tolerance
	From string `json:"tolerance_from"`
	// of the upper end of the interval, as a fraction of the tolerance
	Margin *float64 `json:"margin"`
	// measured: on the recordings, by the network named in the column
	Kind    budget.Kind    `json:"kind"`
	Verdict budget.Verdict `json:"verdict"`
	WouldDo int            `json:"would_do,omitempty"` // sequences that would do for a verdict
	// of steps that the intervals rest on; 0: they rest on sequences
	Blocks     int `json:"blocks,omitempty"`
	BlockSteps int `json:"block_steps,omitempty"`
}

// lossRow is made of a row of the result; from is the line of the job that set its tolerance.
func lossRow(l budget.Loss, from string) LossRow {
	row := LossRow{
		RowName: l.RowName, Unit: l.Unit,
		Float: l.Float, Cut: l.Cut, Recovered: Finite(l.Recovered), Fixed: l.Fixed,
		FixedLow: Finite(l.FixedLow), FixedHigh: Finite(l.FixedHigh),
		Rise: Finite(l.Rise), RiseLow: Finite(l.RiseLow), RiseHigh: Finite(l.RiseHigh),
		Sequences: l.Sequences, Steps: l.Steps, Margin: Finite(l.Margin()),
		Kind: budget.Measured, Verdict: l.Verdict, WouldDo: l.WouldDo,
		Blocks: l.Blocks, BlockSteps: l.BlockSteps,
	}
	if l.Judged {
		row.Tolerance, row.ToleranceOn, row.From = Finite(l.Tolerance), l.On(), from
	}
	return row
}

// AccuracyTable has every row of the accuracy, judged or not.
func (s *Signoff) AccuracyTable() Table {
	t := Table{Title: s.accuracyTitle(), Head: slices.Concat([]string{"output", "where", "metric"},
		s.lossHead(), []string{"kind", "verdict"}), Numbers: 3, Words: 2}
	for _, l := range s.Loss {
		t.Rows = append(t.Rows,
			slices.Concat([]string{l.Output, l.WhereName(), l.metricAndUnit()},
				s.lossCells(&l), []string{string(l.Kind), ShortVerdict(l.Verdict)}))
	}
	return t
}

// AccuracyTables has the rows that are judged, in a table per output and metric: the figures of one
// table have one unit. The kind of all of them is in the title. Rows whose tolerance is off stand
// among the others.
func (s *Signoff) AccuracyTables() []Table {
	var tables []Table
	index := map[[2]string]int{}
	type subject struct {
		output string
		metric dataset.Metric
	}
	judged := map[subject]bool{}
	for _, l := range s.Loss {
		if l.Verdict != "" {
			judged[subject{l.Output, l.Metric}] = true
		}
	}
	for _, l := range s.Loss {
		// Explained shares are judged over all recordings alone.
		if l.Verdict == "" &&
			(!judged[subject{l.Output, l.Metric}] || l.Metric == dataset.Explained) {
			continue
		}
		named := [2]string{l.Output, l.metricAndUnit()}
		at, known := index[named]
		if !known {
			at = len(tables)
			index[named] = at
			head := slices.Concat([]string{named[0] + ": " + named[1]}, s.lossHead(),
				[]string{"verdict"})
			tables = append(tables, Table{Title: fmt.Sprintf("%s (%s)", s.accuracyTitle(), l.Kind),
				Head: head, Numbers: 1, Words: 1})
		}
		tables[at].Rows = append(tables[at].Rows,
			slices.Concat([]string{l.WhereName()}, s.lossCells(&l),
				[]string{cmp.Or(ShortVerdict(l.Verdict), "off")}))
	}
	return tables
}

// accuracyTitle is the title of tables of the accuracy.
func (s *Signoff) accuracyTitle() string {
	return "Accuracy on the " + string(s.MeasuredOn) + " recordings"
}

// lossHead names the figures of a row of the accuracy; the error of the recovered network stands
// behind float and cut, if there is one.
func (s *Signoff) lossHead() []string {
	head := []string{"float", "cut"}
	if s.Recovery != nil {
		head = append(head, "recovered")
	}
	change := "rise"
	if s.isClassifier() {
		change = "drop"
	}
	return append(head, "fixed", change, "up to", "limit", "used")
}

// lossCells prints the figures of a row in the order of lossHead.
func (s *Signoff) lossCells(l *LossRow) []string {
	show := l.show()
	cells := []string{show(l.Float), show(l.Cut)}
	if s.Recovery != nil {
		cells = append(cells, Optional(l.Recovered, show))
	}
	return append(cells, show(l.Fixed), l.change(), l.upTo(), l.limit(), UsedPercent(l.Used()))
}

// show returns how a value of the metric is printed.
func (l *LossRow) show() func(float64) string {
	if l.Metric == dataset.Explained {
		return Percent
	}
	return Significant
}

// change prints the rise of an error, or the drop of a share of steps.
func (l *LossRow) change() string { return Optional(l.Rise, l.shownChange()) }

// shownChange returns how a rise is printed: of an error in percent, of a share of steps in
// percentage points.
func (l *LossRow) shownChange() func(float64) string {
	if l.Metric.IsShare() {
		return Points
	}
	return Percent
}

// metricAndUnit names the metric in words, with the unit of its values.
func (l *LossRow) metricAndUnit() string {
	return strings.TrimSpace(Spaced(l.Metric) + " " + l.Unit)
}

// upTo prints the end of the 95 % interval that the tolerance is compared with.
func (l *LossRow) upTo() string {
	switch {
	case l.Metric == dataset.MaxError:
		return "" // a maximum is judged as it is
	case l.Metric == dataset.Explained:
		return OptionalPercent(l.FixedLow) // the end that is further from the tolerance
	case l.ToleranceOn == budget.OnFixed && l.Metric == dataset.Bias && l.FixedLow != nil &&
		l.FixedHigh != nil && -*l.FixedLow > *l.FixedHigh:
		return Significant(*l.FixedLow) // the end that is further from 0
	case l.ToleranceOn == budget.OnFixed:
		return Optional(l.FixedHigh, Significant)
	}
	return Optional(l.RiseHigh, l.shownChange())
}

// limit prints the tolerance; nothing where there is none.
func (l *LossRow) limit() string {
	switch l.ToleranceOn {
	case budget.OnRise:
		return Optional(l.Tolerance, l.shownChange())
	case budget.OnFixed:
		return Optional(l.Tolerance, l.show())
	}
	return ""
}

// isClassifier reports whether the outputs are classes.
func (s *Signoff) isClassifier() bool {
	return slices.ContainsFunc(s.Loss, func(l LossRow) bool {
		return l.Metric == dataset.Accuracy
	})
}
