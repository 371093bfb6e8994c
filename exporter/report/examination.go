package report

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"kerf/budget"
	"kerf/dataset"
)

// ExplainedRow says how much of an output the networks explain: 1 less the ratio of their squared
// error to that of a constant, the mean over the selection recordings; of a classifier wrong steps
// against those of the most frequent class. Rows of scenarios and regions decide nothing.
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
// verdict that it fits.
type CauseRow struct {
	Kind   string              `json:"kind"`
	Place  string              `json:"place"` // file and lines, columns, or outputs
	Says   string              `json:"says"`  // what seems to be wrong there, a clause after the place
	Text   string              `json:"text"`  // both and the errors in a sentence
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

// SettlingInfo says after how many steps the integer network has forgotten the state it began with.
type SettlingInfo struct {
	// after which outputs differ by less than a tenth of the tolerance, up to the end
	Steps   int  `json:"steps"`
	Reached bool `json:"reached"` // false: longer than the recordings
	States  int  `json:"states"`  // recorded end states that were tried beside the zero state
}

// addExamination fills what is known of the network as given.
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

func causeRow(c *budget.Cause) CauseRow {
	return CauseRow{c.Kind, c.Place, c.Says, c.String(), c.On(), c.Output, c.Unit,
		Finite(c.Given), Finite(c.With), Finite(c.Ratio), Finite(c.Low), Finite(c.High)}
}

// shownExplained is how many outputs the summary names: of more those that are explained least.
const shownExplained = 4

// explainedLine says what the network explains over all sign-off recordings; empty where that is
// not known.
func (s *Signoff) explainedLine() string {
	var rows []ExplainedRow
	for _, x := range s.Explained {
		if x.On == budget.SignoffSet && x.IsEverywhere() && x.Given != nil {
			rows = append(rows, x)
		}
	}
	if len(rows) == 0 {
		return ""
	}
	of := "The network as given explains, of the variance of the sign-off recordings:"
	if s.isClassifier() {
		of = "The network as given takes away, of the errors of the most frequent class:"
	}
	least := ""
	if n := len(rows); n > shownExplained {
		slices.SortStableFunc(rows, func(a, b ExplainedRow) int {
			return cmp.Compare(*a.Given, *b.Given)
		})
		rows = rows[:shownExplained]
		least = fmt.Sprintf(" the least of %d outputs are", n)
	}
	var parts []string
	for _, x := range rows {
		text := x.Output + " " + withInterval(Percent, x.Given, x.GivenLow, x.GivenHigh)
		if *x.Given < 0 {
			text = x.Output + " nothing, a constant errs less"
		}
		if x.Fixed != nil && *x.Given >= 0 {
			text += ", fixed " + Percent(*x.Fixed)
		}
		parts = append(parts, text)
	}
	return of + least + " " + strings.Join(parts, "; ") + "."
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

// notableRatio is the ratio of errors from which the nearest reading is named (our choice): it may
// be a mistake that costs little.
const notableRatio = 0.95

// withInterval prints a value with its interval, if there is one.
func withInterval(show func(float64) string, v, low, high *float64) string {
	switch {
	case v == nil:
		return ""
	case low == nil || high == nil:
		return show(*v)
	}
	return fmt.Sprintf("%s [%s, %s]", show(*v), strings.TrimSuffix(show(*low), " %"),
		strings.TrimSuffix(show(*high), " %"))
}

func (s *Signoff) isClassifier() bool {
	return slices.ContainsFunc(s.Loss, func(l LossRow) bool {
		return l.Metric == dataset.Accuracy
	})
}

// ExplainedTable has the shares that the networks explain, by output, scenario and region.
func (s *Signoff) ExplainedTable() Table {
	t := Table{Title: "What the network explains", Head: []string{"output", "recordings", "where",
		"as given", "from", "to", "fixed", "sequences"}, Numbers: 3}
	for _, x := range s.Explained {
		where := x.WhereInWords()
		t.Rows = append(t.Rows, []string{x.Output, string(x.On), where, OptionalPercent(x.Given),
			OptionalPercent(x.GivenLow), OptionalPercent(x.GivenHigh), OptionalPercent(x.Fixed),
			fmt.Sprint(x.Sequences)})
	}
	return t
}

// startLines say what settle leaves out, and how soon the integer network settles.
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

// failing is one thing that keeps the verdict from being that the network fits.
type failing struct {
	text string
	see  string  // where more is said
	rank int     // verdictRank; -1 for a cause
	over float64 // how far it is beyond, as a share of what is allowed
}

// failings lists what speaks against a signature, the worst first.
func (s *Signoff) failings() []failing {
	var all []failing
	if s.Checked == "" {
		for _, c := range s.Causes {
			text := c.Text
			if c.Given != nil && c.With != nil {
				text = c.Place + " " + c.Says + fmt.Sprintf(", error of %s %s, read so %s",
					c.Output, Significant(*c.Given),
					strings.TrimSpace(Significant(*c.With)+" "+c.Unit))
			}
			all = append(all, failing{text, "the first note", -1, 0})
		}
	}
	for _, c := range s.Cost {
		if c.Verdict != budget.Fail || c.Limit == nil {
			continue
		}
		over := c.Value / *c.Limit
		word := "of"
		if c.AtLeast {
			over, word = *c.Limit/c.Value, "of at least"
		}
		all = append(all,
			failing{fmt.Sprintf("%s on %s %s %s %s", Spaced(c.Resource), c.Target,
				Quantity(c.Value, c.Unit), word, Quantity(*c.Limit, c.Unit)),
				"kerf cost --all-targets", 0, over})
	}
	for _, l := range s.Loss {
		if l.Verdict != budget.Fail && l.Verdict != budget.NotEnough {
			continue
		}
		row := l.judged()
		shown, high := row.JudgedValue()
		if l.Verdict == budget.NotEnough {
			shown = high
		}
		over := shown / math.Max(row.Allowed(), math.SmallestNonzeroFloat64)
		if math.IsNaN(over) {
			over = math.Inf(1)
		}
		all = append(all,
			failing{l.failingText(), "kerf explain, row " + RowText(l.Output, l.WhereName()),
				verdictRank(l.Verdict), over})
	}
	slices.SortStableFunc(all, func(a, b failing) int {
		if a.rank != b.rank {
			return a.rank - b.rank
		}
		return cmp.Compare(b.over, a.over)
	})
	return all
}

// failingText says what a row shows and what it may show.
func (l *LossRow) failingText() string {
	what := fmt.Sprintf("%s of %s, %s", Spaced(l.Metric), l.Output, l.WhereInWords())
	switch {
	case l.Verdict == budget.NotEnough && l.Sequences == 0:
		return what + " has no recordings"
	case l.Verdict == budget.NotEnough &&
		(l.upTo() == "" || l.Sequences < l.Metric.Fewest()):
		return fmt.Sprintf("%s rests on %s", what, Plural(l.Sequences, "sequence"))
	case l.Verdict == budget.NotEnough && l.Metric == dataset.Explained:
		return fmt.Sprintf("%s may fall to %s of at least %s", what, l.upTo(), l.limit())
	case l.Verdict == budget.NotEnough:
		return fmt.Sprintf("%s may reach %s of %s", what, l.upTo(), l.limit())
	case l.Metric == dataset.Explained:
		return fmt.Sprintf("%s %s of at least %s", what, Percent(l.Fixed), l.limit())
	case l.ToleranceOn == budget.OnRise && l.Metric.IsShare():
		return fmt.Sprintf("%s falls by %s of %s", what, l.change(), l.limit())
	case l.ToleranceOn == budget.OnRise:
		return fmt.Sprintf("%s rises by %s of %s", what, l.change(), l.limit())
	}
	return fmt.Sprintf("%s %s of %s %s", what, Significant(l.Fixed), l.limit(), l.Unit)
}

// WhyNot says in one clause what keeps the verdict from being that the network fits, by how much,
// and where more is said; empty where nothing does.
func (s *Signoff) WhyNot() string {
	all := s.failings()
	switch {
	case s.Verdict == budget.Fits:
		return ""
	case !s.isJudged():
		return "nothing was judged: the job gives no limit and no tolerance"
	case len(all) == 0:
		return "sign-off sequences are also selection recordings; see the notes"
	}
	text := all[0].text
	if len(all) > 1 {
		text += fmt.Sprintf(", %d more", len(all)-1)
	}
	return text + "; see " + all[0].see
}

// isJudged tells whether the job gives any limit or tolerance.
func (s *Signoff) isJudged() bool {
	return slices.ContainsFunc(s.Loss, func(l LossRow) bool { return l.Verdict != "" }) ||
		slices.ContainsFunc(s.Cost, func(c CostRow) bool { return c.Verdict != "" })
}

// headLine is the verdict as every C file of the handoff states it.
func (s *Signoff) HeadLine() string {
	line := s.VerdictLine()
	if s.Verdict != budget.Fits {
		line = "NOT SIGNED. " + line
	}
	if checked := s.checkedLine(); checked != "" {
		line += " " + checked
	}
	return line
}

// checkedLine says against what the job lets the verdict stand, and why; empty where it does not
// have to.
func (s *Signoff) checkedLine() string {
	if s.Checked == "" || len(s.Causes) == 0 {
		return ""
	}
	return fmt.Sprintf("The job lets the verdict stand although %s; its reason: %s.",
		strings.Join(s.Findings(), "; "), s.Checked)
}

// settleSteps is what the C header states of the settling; nil where it states nothing.
func (s *Signoff) SettleSteps() *int {
	if s.Settling == nil || !s.Settling.Reached {
		return nil
	}
	return &s.Settling.Steps
}

// findings are the causes, a clause each.
func (s *Signoff) Findings() []string {
	var all []string
	for _, c := range s.Causes {
		all = append(all, c.Text)
	}
	return all
}

// spaced is a metric or resource in words.
func Spaced[T ~string](name T) string { return strings.ReplaceAll(string(name), "_", " ") }
