package report

import (
	"cmp"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"kerf/budget"
	"kerf/dataset"
)

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
		return "sign-off sequences were also chosen or trained on; see the notes"
	}
	text := all[0].text
	if len(all) > 1 {
		text += ", " + Plural(len(all)-1, "more row")
	}
	return text + "; see " + all[0].see
}

// mostBroken is how many broken rows the note names. Our choice: a few lines.
const mostBroken = 8

// brokenNote names the limits and tolerances that are broken, the worst first of each kind; empty
// where none is. Findings against the network as given have a note of their own in front.
func (s *Signoff) brokenNote() string {
	var all []string
	for _, f := range s.failings() {
		if f.rank == verdictRank(budget.Fail) {
			all = append(all, f.text)
		}
	}
	if len(all) == 0 {
		return ""
	}
	text := "broken: " + strings.Join(all[:min(mostBroken, len(all))], "; ")
	if more := len(all) - mostBroken; more > 0 {
		text += fmt.Sprintf("; %d more", more)
	}
	lossFails := slices.ContainsFunc(s.Loss, func(l LossRow) bool {
		return l.Verdict == budget.Fail && (l.ToleranceOn == budget.OnRise ||
			math.Abs(l.Float) <= *l.Tolerance)
	})
	if lossFails && !s.isUncut() {
		text += ". Less cut may keep a tolerance that the network as given keeps: kerf export " +
			s.jobFile() + " --keep-features all --keep-units all judges it whole"
	}
	return text
}

// failing is one thing that keeps the verdict from being that the network fits.
type failing struct {
	text string
	see  string  // where more is said
	rank int     // verdictRank; -1 for a cause
	over float64 // how far it is beyond, as a share of what is allowed
}

// failings lists what speaks against a signature: causes first, then broken rows, then those with
// too few recordings, then those without an estimate, each with the one that is furthest beyond
// first.
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
		if c.Verdict == budget.NoEstimate {
			all = append(all, failing{fmt.Sprintf("%s cannot be judged: no estimate for %s",
				budget.CostText(c.Target, c.Resource), cmp.Or(s.BuildText(c.Target), "its build")),
				s.MeasureCommand(), verdictRank(c.Verdict), 0})
		}
		if c.Verdict != budget.Fail || c.Limit == nil {
			continue
		}
		over := number(c.Used())
		all = append(all,
			failing{fmt.Sprintf("%s %s, limit %s", budget.CostText(c.Target, c.Resource),
				c.ShownValue(), c.limit()),
				s.RemedyCommand(), 0, over})
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
			failing{l.failingText(), "kerf explain", verdictRank(l.Verdict), over})
	}
	slices.SortStableFunc(all, func(a, b failing) int {
		if a.rank != b.rank {
			return a.rank - b.rank
		}
		return cmp.Compare(b.over, a.over)
	})
	return all
}

// failingText says what a row shows and what its tolerance allows.
func (l *LossRow) failingText() string {
	what := l.Text()
	switch {
	case l.Verdict == budget.NotEnough && l.Sequences == 0:
		return what + " has no recordings"
	case l.Verdict == budget.NotEnough &&
		(l.upTo() == "" || l.Sequences < l.Metric.Fewest()):
		return fmt.Sprintf("%s rests on %s", what, Plural(l.Sequences, "sequence"))
	case l.Verdict == budget.NotEnough && l.Metric == dataset.Explained:
		return fmt.Sprintf("%s may fall to %s, tolerance at least %s", what, l.upTo(), l.limit())
	case l.Verdict == budget.NotEnough && l.ToleranceOn == budget.OnRise &&
		!l.Metric.IsShare():
		return fmt.Sprintf("%s may rise by up to %s, tolerance %s", what, l.upTo(), l.limit())
	case l.Verdict == budget.NotEnough:
		return fmt.Sprintf("%s may be up to %s, tolerance %s", what, l.upTo(), l.limit())
	case l.Metric == dataset.Explained:
		return fmt.Sprintf("%s %s, tolerance at least %s", what, Percent(l.Fixed), l.limit())
	case l.ToleranceOn == budget.OnRise && l.Metric.IsShare():
		return fmt.Sprintf("%s falls by %s, tolerance %s", what, l.change(), l.limit())
	case l.ToleranceOn == budget.OnRise:
		change := l.change()
		if change == l.limit() && l.Rise != nil {
			change = strconv.FormatFloat(100**l.Rise, 'g', 2, 64) + " %"
		}
		return fmt.Sprintf("%s rises by %s, tolerance %s", what, change, l.limit())
	}
	text := fmt.Sprintf("%s %s, tolerance %s", what, Significant(l.Fixed),
		strings.TrimSpace(l.limit()+" "+l.Unit))
	if math.Abs(l.Float) > *l.Tolerance {
		text += ", as given " + Significant(l.Float)
	}
	return text
}

// RemedyCommand is the command that says what would meet a broken limit, to be run where the job
// file lies. A name that a shell could misread stands as JOB.toml.
func (s *Signoff) RemedyCommand() string { return "kerf cost " + s.jobFile() + " --all-targets" }

// MeasureCommand is the command that measures what has no estimate, to be run where the job file
// lies.
func (s *Signoff) MeasureCommand() string { return "kerf plan " + s.jobFile() + " --measure" }

// jobFile is the name of the job file for a command line.
func (s *Signoff) jobFile() string {
	if len(s.Inputs) > 0 && plainFile.MatchString(s.Inputs[0].File) {
		return s.Inputs[0].File // the job file is the first
	}
	return "JOB.toml"
}

// plainFile matches the name of a file that no shell can misread.
var plainFile = regexp.MustCompile(`^[A-Za-z0-9_][A-Za-z0-9_.-]*$`)

// isJudged reports whether the job gives any limit or tolerance.
func (s *Signoff) isJudged() bool {
	return slices.ContainsFunc(s.Loss, func(l LossRow) bool { return l.Verdict != "" }) ||
		slices.ContainsFunc(s.Cost, func(c CostRow) bool { return c.Verdict != "" })
}
