package report

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"kerf/budget"
	"kerf/dataset"
)

// Table is one table of the report in words and rounded numbers.
type Table struct {
	Title   string     `json:"title"`
	Head    []string   `json:"head"`
	Rows    [][]string `json:"rows"`
	Numbers int        `json:"-"` // index of the first column of numbers
	Words   int        `json:"-"` // columns of words at the end
}

// RightAligned tells whether a column holds numbers.
func (t Table) RightAligned(column int) bool {
	return column >= t.Numbers && column < len(t.Head)-t.Words
}

// AccuracyTable has every row of the loss.
func (s *Signoff) AccuracyTable() Table {
	t := Table{Title: s.accuracyTitle(), Head: slices.Concat([]string{"output", "where", "metric"},
		s.lossHead(), []string{"kind", "verdict"}), Numbers: 3, Words: 2}
	for _, l := range s.Loss {
		t.Rows = append(t.Rows,
			slices.Concat([]string{l.Output, l.WhereInWords(), l.metricAndUnit()},
				s.lossCells(&l), []string{string(l.Kind), ShortVerdict(l.Verdict)}))
	}
	return t
}

// AccuracyTables has the rows that are judged, in a table per output and metric: what one table
// compares has one unit. The kind of all of them is in the title. Rows whose tolerance is off stand
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
			slices.Concat([]string{l.WhereInWords()}, s.lossCells(&l),
				[]string{cmp.Or(ShortVerdict(l.Verdict), "off")}))
	}
	return tables
}

func (s *Signoff) accuracyTitle() string {
	return "Accuracy on the " + string(s.MeasuredOn) + " recordings"
}

// lossHead names the figures of a row of the loss, lossCells prints them; that of the recovered
// network stands behind float and cut, if there is one.
func (s *Signoff) lossHead() []string {
	head := []string{"float", "cut"}
	if s.Recovery != nil {
		head = append(head, "recovered")
	}
	change := "rise"
	if s.isClassifier() {
		change = "drop"
	}
	return append(head, "fixed", change, "up to", "limit", "margin")
}

func (s *Signoff) lossCells(l *LossRow) []string {
	show := l.show()
	cells := []string{show(l.Float), show(l.Cut)}
	if s.Recovery != nil {
		cells = append(cells, Optional(l.Recovered, show))
	}
	return append(cells, show(l.Fixed), l.change(), l.upTo(), l.limit(), wholePercent(l.Margin))
}

// show prints a value of the metric.
func (l *LossRow) show() func(float64) string {
	if l.Metric == dataset.Explained {
		return Percent
	}
	return Significant
}

// change is the rise of an error, or the drop of a share of steps.
func (l *LossRow) change() string { return Optional(l.Rise, l.shownChange()) }

// shownChange prints a rise in percent; what a share of steps loses is in percentage points.
func (l *LossRow) shownChange() func(float64) string {
	if l.Metric.IsShare() {
		return Points
	}
	return Percent
}

// Points prints a difference of shares, in percentage points.
func Points(v float64) string { return strings.TrimSuffix(Percent(v), " %") + " points" }

func (l *LossRow) metricAndUnit() string {
	return strings.TrimSpace(Spaced(l.Metric) + " " + l.Unit)
}

// upTo is the upper end of the 95 % interval of what the tolerance is on.
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

func (l *LossRow) limit() string {
	switch l.ToleranceOn {
	case budget.OnRise:
		return Optional(l.Tolerance, l.shownChange())
	case budget.OnFixed:
		return Optional(l.Tolerance, l.show())
	}
	return ""
}

// TargetNames lists the targets in the order of the job.
func (s *Signoff) TargetNames() []string {
	var names []string
	for _, c := range s.Cost {
		if len(names) == 0 || names[len(names)-1] != c.Target {
			names = append(names, c.Target)
		}
	}
	return names
}

// WordTables are about the choice of words and rounding, and what fixed point does at its
// worst. Only a broken tolerance has a table of wider words.
func (s *Signoff) WordTables() []Table {
	tables := []Table{s.WidthTable(), s.ForcedTable()}
	if len(s.Wider) > 0 {
		tables = append(tables, s.WiderTable())
	}
	return append(append(tables, s.RoundingTable()), s.extremeTables()...)
}

// WidthTable has a row per attempt to narrow a word.
func (s *Signoff) WidthTable() Table {
	return widthTable("Word widths, one by one, on selection recordings", "saves", 1, s.Widths)
}

// WiderTable has a row per wider word, when a tolerance is broken.
func (s *Signoff) WiderTable() Table {
	return widthTable("What a wider word would give, each by itself, on selection recordings",
		"costs", -1, s.Wider)
}

func widthTable(title, bytes string, sign int, rows []WidthRow) Table {
	t := Table{Title: title, Head: []string{"what", "word", "outcome", bytes, "may reach", "limit",
		"tightest row"}, Numbers: 3, Words: 1}
	for _, w := range rows {
		outcome := "left"
		if w.Taken {
			outcome = "taken"
		}
		show := shownAs(w.Row, w.On)
		t.Rows = append(t.Rows,
			[]string{w.What, fmt.Sprintf("int%d", w.Bits), outcome,
				Quantity(float64(sign*w.Saved), "B"), Optional(w.MayReach, show), show(w.Tolerance),
				w.RowInWords})
	}
	return t
}

// ForcedTable has a row per unit that needs a wide word.
func (s *Signoff) ForcedTable() Table {
	t := Table{Title: "Who needs the wide words: the fewest with which all others could be " +
		"narrower, on selection recordings", Head: []string{"what", "word", "refused", "who",
		"share of error", "memory", "stalled"}, Numbers: 4}
	for _, f := range s.Forced {
		for _, u := range f.Units {
			memory, stalled := "", ""
			if u.Memory > 0 {
				memory = fmt.Sprintf("%.0f steps", u.Memory)
			}
			if u.Stalled > 0 {
				stalled = fmt.Sprintf("%d of %d", u.Stalled, u.Steps)
			}
			t.Rows = append(t.Rows,
				[]string{f.What, fmt.Sprintf("int%d", f.Bits), fmt.Sprintf("int%d", f.Refused),
					strings.TrimSuffix(f.Of, "s") + " " + u.Name, wholePercent(&u.Share), memory,
					stalled})
		}
	}
	return t
}

// RoundingTable compares the ways of rounding for the chosen words.
func (s *Signoff) RoundingTable() Table {
	t := Table{Title: "Rounding of the weights, on selection recordings that it was not " +
		"calibrated on", Head: []string{"rounding", "outcome", "distance", "may reach", "limit",
		"tightest row"}, Numbers: 2, Words: 1}
	for _, r := range s.Rounding {
		outcome := "left"
		if r.Taken {
			outcome = "taken"
		}
		show := shownAs(r.Row, r.On)
		t.Rows = append(t.Rows, []string{r.Rounding, outcome, OptionalPercent(r.Distance),
			Optional(r.MayReach, show), show(r.Tolerance), r.RowInWords})
	}
	return t
}

// shownAs prints what a tolerance on a row is on: a rise in percent, a drop in points, or a value.
// A row without a name is taken for an error.
func shownAs(n *budget.RowName, on budget.ToleranceOn) func(float64) string {
	switch {
	case n != nil && n.Metric == dataset.Explained:
		return Percent
	case on == budget.OnRise && n != nil && n.Metric.IsShare():
		return Points
	case on == budget.OnRise:
		return Percent
	}
	return Significant
}

// FormatTable has a row per tensor.
func (s *Signoff) FormatTable() Table {
	t := Table{Title: "Number formats and proven accumulator bounds",
		Head: []string{"layer", "tensor", "word", "fraction bits", "largest accumulator",
			"limit"},
		Numbers: 3}
	for _, f := range s.Formats {
		bits := ""
		if len(f.FractionBits) > 0 {
			low, high := slices.Min(f.FractionBits), slices.Max(f.FractionBits)
			bits = strconv.Itoa(low)
			if low != high {
				bits = fmt.Sprintf("%d to %d, by row", low, high)
			}
		}
		t.Rows = append(t.Rows, []string{f.Layer, f.Tensor, fmt.Sprintf("int%d", f.WordBits), bits,
			strconv.FormatInt(f.Bound, 10), strconv.FormatInt(f.Limit, 10)})
	}
	return t
}

// InputTable has a row per input file, with its hash whole or short.
func (s *Signoff) InputTable(whole bool) Table {
	t := Table{Title: "Input files", Head: []string{"use", "file", "SHA-256"}, Numbers: 3}
	for _, f := range s.Inputs {
		hash := f.SHA256
		if !whole {
			hash = ShortHash(hash)
		}
		t.Rows = append(t.Rows, []string{string(f.Role), f.File, hash})
	}
	return t
}

// Summary is the head of the report: what was done, in a few lines.
func (s *Signoff) Summary() []string {
	n := s.Network
	var lines []string
	if explained := s.explainedLine(); explained != "" {
		lines = append(lines, explained)
	}
	if tried := s.triedLine(); tried != "" {
		lines = append(lines, tried)
	}
	if checked := s.checkedLine(); checked != "" {
		lines = append(lines, checked)
	}
	lines = append(lines,
		fmt.Sprintf("Network: %s.", n.Kept),
		fmt.Sprintf("Kept: %d of %d features, %d of %d units.", n.Features, n.TrainedFeatures,
			n.Units, n.TrainedUnits),
		fmt.Sprintf("Formats: %s, features int16 with %d fraction bits.", n.Formats,
			n.InputFraction),
	)
	for _, r := range s.Recorded {
		name := map[budget.Role]string{budget.SelectionRole: "Selection",
			budget.SignoffRole: "Sign-off"}[r.Use]
		lines = append(lines,
			fmt.Sprintf("%s recordings: %s, %s steps, %s.", name, Plural(r.Sequences, "sequence"),
				grouped(float64(r.Steps)), Plural(r.Scenarios, "scenario")))
	}
	lines = append(lines, s.startLines()...)
	lines = append(lines, s.recoveryLines()...)
	if len(s.Dropped.Features) > 0 {
		lines = append(lines, "Features cut: "+dataset.ListNames(s.Dropped.Features)+".")
	}
	for l, units := range s.Dropped.Units {
		if len(units) == 0 {
			continue
		}
		layer := ""
		if len(s.Dropped.Units) > 1 {
			layer = fmt.Sprintf(" of layer %d", l)
		}
		lines = append(lines,
			fmt.Sprintf("Units cut%s: %s (as trained, from 0).", layer, joinInts(units)))
	}
	if len(s.Dropped.FrontEnds) > 0 {
		freed := dataset.ListNames(s.Dropped.FrontEnds)
		lines = append(lines, "Front end freed by the cut: "+freed+".")
	}
	return lines
}

// VerdictLine is the verdict in one line.
func (s *Signoff) VerdictLine() string { return "Verdict: " + s.verdictText() + "." }

func (s *Signoff) verdictText() string {
	passed, judged := 0, 0
	count := func(verdict budget.Verdict) {
		if verdict != "" {
			judged++
		}
		if verdict == budget.Pass {
			passed++
		}
	}
	for _, l := range s.Loss {
		count(l.Verdict)
	}
	for _, c := range s.Cost {
		count(c.Verdict)
	}
	met := fmt.Sprintf("%d of %d limits and tolerances met", passed, judged)
	if s.Reason != "" {
		return fmt.Sprintf("%s: %s (%s)", s.Verdict, s.Reason, met)
	}
	return fmt.Sprintf("%s (%s)", s.Verdict, met)
}

// Signatures are the roles of those who sign.
var Signatures = []string{"Prepared", "Checked", "Approved"}

func Plural(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return strconv.Itoa(n) + " " + noun + "s"
}

func joinInts(values []int) string {
	parts := make([]string, len(values))
	for i, v := range values {
		parts[i] = strconv.Itoa(v)
	}
	return strings.Join(parts, ", ")
}

// ShortVerdict is a verdict as tables show it.
func ShortVerdict(v budget.Verdict) string {
	if v == budget.NotEnough {
		return "not enough"
	}
	return string(v)
}

// Significant prints a measured figure with three or four digits.
func Significant(v float64) string {
	switch a := math.Abs(v); {
	case a == 0:
		return "0"
	case a < 0.001 || a >= 1e6:
		return strconv.FormatFloat(v, 'g', 3, 64)
	case a < 1:
		return strconv.FormatFloat(v, 'f', 4, 64)
	case a < 100:
		return strconv.FormatFloat(v, 'f', 3, 64)
	}
	return strconv.FormatFloat(v, 'f', 0, 64)
}

func OptionalPercent(v *float64) string { return Optional(v, Percent) }

// Percent prints a fraction for people; nothing when it is not a number.
func Percent(v float64) string {
	if math.IsNaN(v) {
		return ""
	}
	if math.Abs(100*v) < 0.05 {
		v = 0 // no minus before 0.0
	}
	return strconv.FormatFloat(100*v, 'f', 1, 64) + " %"
}

// Shown prints a value that is compared with the tolerance of a row.
func Shown(l budget.Loss, v float64) string { return shownAs(&l.RowName, l.On())(v) }

func wholePercent(v *float64) string {
	return Optional(v, func(v float64) string {
		if v < 0 && v > -0.005 {
			return Percent(v) // what is beyond a limit by less than half a percent shows that it is
		}
		return strconv.FormatFloat(100*v, 'f', 0, 64) + " %"
	})
}

func Optional(v *float64, show func(float64) string) string {
	if v == nil {
		return ""
	}
	return show(*v)
}

// grouped prints a whole number in groups of three digits.
func grouped(v float64) string {
	digits := strconv.FormatFloat(math.Round(v), 'f', 0, 64)
	var b strings.Builder
	for i, d := range digits {
		if i > 0 && (len(digits)-i)%3 == 0 {
			b.WriteByte(' ')
		}
		b.WriteRune(d)
	}
	return b.String()
}
