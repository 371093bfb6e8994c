package report

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"kerf/budget"
	"kerf/dataset"
)

// ExplainedRow says how much of an output the networks explain: 1 less the ratio of their squared
// error to that of a constant, the mean over the selection recordings; of a classifier wrong steps
// against those of the most frequent class. Rows of scenarios and regions decide nothing. It is a
// [budget.Explained] with null for NaN.
type ExplainedRow struct {
	Output string              `json:"output"`
	On     budget.RecordingSet `json:"on"`
	budget.Scope
	Given     *float64 `json:"given"` // by the network as given
	GivenLow  *float64 `json:"given_low"`
	GivenHigh *float64 `json:"given_high"`
	Fixed     *float64 `json:"fixed"` // by the integer network; nil on selection recordings
	// error of the constant: RMSE in the unit of the output; of a classifier its accuracy
	Constant  *float64 `json:"constant"`
	Sequences int      `json:"sequences"`
	Steps     int      `json:"steps"`
}

// CauseRow is a finding against the network as given, or against the recordings, that forbids the
// verdict that it fits: a [budget.Cause] with its sentence, and null for NaN.
type CauseRow struct {
	Kind  string `json:"kind"`
	Place string `json:"place"` // file and lines, columns, or outputs
	// what seems to be wrong there, a clause after the place
	Says   string              `json:"says"`
	Text   string              `json:"text"` // both and the errors in a sentence
	On     budget.RecordingSet `json:"on"`
	Output string              `json:"output"`
	Unit   string              `json:"unit"`
	// Error of the output as the job says: RMSE, of a classifier the share of wrong steps. nil
	// where no other reading of the job is the cause.
	Given     *float64 `json:"given"`
	With      *float64 `json:"with"`  // the same, read as the finding says
	Ratio     *float64 `json:"ratio"` // of these
	RatioLow  *float64 `json:"ratio_low"`
	RatioHigh *float64 `json:"ratio_high"`
}

// StartInfo is the start of the sequences that no judgement counts.
type StartInfo struct {
	Settle string     `json:"settle"` // as the job states it
	Share  float64    `json:"share"`  // of the steps of the sign-off recordings
	Errors []StartRow `json:"errors"` // on the steps that are left out
}

// StartRow is the error of one output at the start of the sign-off sequences.
type StartRow struct {
	Output string         `json:"output"`
	Metric dataset.Metric `json:"metric"`
	Unit   string         `json:"unit"`
	Float  float64        `json:"float"`
	Fixed  float64        `json:"fixed"`
	Steps  int            `json:"steps"`
}

// SettlingInfo says after how many steps the integer network has forgotten the state it began with;
// its fields are those of [quant.Settling].
type SettlingInfo struct {
	// after which outputs differ by less than a tenth of the tolerance, up to the end
	Steps   int  `json:"steps"`
	Reached bool `json:"reached"` // false: longer than the recordings
	States  int  `json:"states"`  // recorded end states that were tried beside the zero state
}

// addExamination fills what is known of the network as given, and of the start of sequences.
func (s *Signoff) addExamination(r *budget.Result) {
	s.Explained, s.Causes = []ExplainedRow{}, []CauseRow{}
	if e := r.Examination; e != nil {
		s.Checked, s.Tried = e.Checked, e.Tried
		if e.Nearest != nil && e.Nearest.Ratio < 1 {
			nearest := causeRow(e.Nearest)
			s.Nearest = &nearest
		}
		for _, x := range e.Explained {
			s.Explained = append(s.Explained,
				ExplainedRow{x.Output, x.On(), x.Scope,
					Finite(x.Given), Finite(x.Low), Finite(x.High), Finite(x.Fixed),
					Finite(x.Constant), x.Sequences, x.Steps})
		}
		for _, c := range e.Causes {
			s.Causes = append(s.Causes, causeRow(&c))
		}
	}
	if r.Start != nil {
		s.Start = &StartInfo{Settle: r.Start.Rule, Share: r.Start.Share, Errors: []StartRow{}}
		for _, l := range r.Start.Loss {
			s.Start.Errors = append(s.Start.Errors,
				StartRow{l.Output, l.Metric, l.Unit, l.Float, l.Fixed, l.Steps})
		}
	}
	if r.Settling != nil {
		s.Settling = &SettlingInfo{r.Settling.Steps, r.Settling.Reached, r.Settling.States}
	}
}

// causeRow is made of one finding.
func causeRow(c *budget.Cause) CauseRow {
	return CauseRow{c.Kind, c.Place, c.Says, c.String(), c.On(), c.Output, c.Unit,
		Finite(c.Given), Finite(c.With), Finite(c.Ratio), Finite(c.Low), Finite(c.High)}
}

// shownExplained is how many outputs the summary names: of more those that are explained least. Our
// choice: one line.
const shownExplained = 4

// shortExplained is how many outputs the first screen names. Our choice.
const shortExplained = 2

// explainedEverywhere returns the shares over all sign-off recordings that are known.
func (s *Signoff) explainedEverywhere() []ExplainedRow {
	var rows []ExplainedRow
	for _, x := range s.Explained {
		if x.On == budget.SignoffSet && x.IsEverywhere() && x.Given != nil {
			rows = append(rows, x)
		}
	}
	return rows
}

// leastExplained sorts shares, the least first.
func leastExplained(rows []ExplainedRow) []ExplainedRow {
	return slices.SortedStableFunc(slices.Values(rows), func(a, b ExplainedRow) int {
		return cmp.Compare(*a.Given, *b.Given)
	})
}

// ExplainedLine says how much the network explains over all sign-off recordings; empty where that
// is not known.
func (s *Signoff) ExplainedLine() string {
	rows := s.explainedEverywhere()
	if len(rows) == 0 {
		return ""
	}
	of := "The network as given explains, of the variance of the sign-off recordings:"
	if s.isClassifier() {
		of = "The network as given takes away, of the errors of the most frequent class:"
	}
	least := ""
	if n := len(rows); n > shownExplained {
		rows = leastExplained(rows)[:shownExplained]
		least = fmt.Sprintf(" the least of %d outputs are", n)
	}
	var clauses []string
	for _, x := range rows {
		text := x.Output + " " + withInterval(Percent, x.Given, x.GivenLow, x.GivenHigh)
		if *x.Given < 0 {
			text = x.Output + " nothing, a constant errs less"
		}
		if x.Fixed != nil && *x.Given >= 0 {
			text += ", fixed " + Percent(*x.Fixed)
		}
		clauses = append(clauses, text)
	}
	return of + least + " " + strings.Join(clauses, "; ") + "."
}

// ShortExplained is [Signoff.ExplainedLine] in about a line of a terminal, without the integer
// network.
func (s *Signoff) ShortExplained() string {
	rows := s.explainedEverywhere()
	if len(rows) == 0 {
		return ""
	}
	of := "Explains"
	if s.isClassifier() {
		of = "Explains, against the most frequent class"
	}
	if n := len(rows); n > shortExplained {
		rows, of = leastExplained(rows)[:shortExplained], of+fmt.Sprintf(", least of %d", n)
	}
	var clauses []string
	for _, x := range rows {
		text := x.Output + " " + withInterval(Percent, x.Given, x.GivenLow, x.GivenHigh)
		if *x.Given < 0 {
			text = x.Output + " nothing"
		}
		clauses = append(clauses, text)
	}
	return of + ": " + strings.Join(clauses, ", ") + "."
}

// triedLine says how near another reading of the job comes to being a cause; empty where one is, or
// none was tried.
func (s *Signoff) triedLine() string {
	if len(s.Causes) > 0 || s.Tried == 0 {
		return ""
	}
	text := fmt.Sprintf("Other readings of the job: %d tried, ", s.Tried)
	n := s.Nearest
	if n == nil || n.Ratio == nil {
		return text + "none makes an error smaller."
	}
	text += fmt.Sprintf("the nearest makes an error %s smaller", Percent(1-*n.Ratio))
	if *n.Ratio <= notableRatio && n.RatioHigh != nil && *n.RatioHigh < 1 {
		text += fmt.Sprintf(" (that of %s: %s %s)", n.Output, n.Place, n.Says)
	}
	return text + "."
}

// notableRatio is the ratio of errors up to which the nearest reading is named. Our choice: such a
// reading may be a mistake that costs little.
const notableRatio = 0.95

// ExplainedTable has the shares that the networks explain, by output, scenario and region.
func (s *Signoff) ExplainedTable() Table {
	t := Table{Title: "What the network explains", Head: []string{"output", "recordings", "where",
		"as given", "from", "to", "fixed", "sequences"}, Numbers: 3}
	for _, x := range s.Explained {
		where := x.WhereName()
		t.Rows = append(t.Rows, []string{x.Output, string(x.On), where, OptionalPercent(x.Given),
			OptionalPercent(x.GivenLow), OptionalPercent(x.GivenHigh), OptionalPercent(x.Fixed),
			fmt.Sprint(x.Sequences)})
	}
	return t
}

// startLines say which steps settle leaves out, and how soon the integer network settles.
func (s *Signoff) startLines() []string {
	var lines []string
	if s.Start != nil {
		var errors []string
		for _, e := range s.Start.Errors {
			with := func(v float64) string {
				return strings.TrimSpace(Significant(v) + " " + e.Unit)
			}
			errors = append(errors, fmt.Sprintf("%s of %s %s as given, %s fixed", Spaced(e.Metric),
				e.Output, with(e.Float), with(e.Fixed)))
		}
		lines = append(lines, fmt.Sprintf("Left out of every judgement: the first %s of each "+
			"sequence, %s of the steps (there: %s).", s.Start.Settle, Percent(s.Start.Share),
			strings.Join(errors, "; ")))
	}
	if x := s.Settling; x != nil {
		if x.Reached {
			lines = append(lines, fmt.Sprintf("Settling: %s after a start in the zero state or "+
				"in any of %s, outputs differ by less than a tenth of the tolerance.",
				Plural(x.Steps, "step"), Plural(x.States, "recorded state")))
		} else {
			lines = append(lines, "Settling: longer than the recordings; near the end of some "+
				"of them outputs still depend on the first state, by a tenth of the tolerance "+
				"or more.")
		}
	}
	return lines
}

// SettleSteps returns the steps of settling that the C header states; nil where it states none.
func (s *Signoff) SettleSteps() *int {
	if s.Settling == nil || !s.Settling.Reached {
		return nil
	}
	return &s.Settling.Steps
}

// Findings returns the causes, a clause each.
func (s *Signoff) Findings() []string {
	var all []string
	for _, c := range s.Causes {
		all = append(all, c.Text)
	}
	return all
}
