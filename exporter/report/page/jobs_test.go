package page

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"kerf/budget"
	"kerf/dataset"
	"kerf/exporter/emit"
	"kerf/exporter/report"
	"kerf/prune"
)

// asJSON returns signoff.json.
func asJSON(t *testing.T, s *report.Signoff) []byte {
	t.Helper()
	text, err := s.JSON()
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// failing returns a sign-off with two judged rows of one metric, of which the first fails.
func failing(t *testing.T, metric dataset.Metric) *report.Signoff {
	t.Helper()
	s := pageSignoff(t)
	s.Loss = failingAndPassing(metric)
	s.Verdict = budget.DoesNotFit
	return s
}

// failingAndPassing returns two rows with a tolerance, which the first breaks by far: on the drop
// of a share of right steps, on the value of every other metric. Figures are invented.
func failingAndPassing(metric dataset.Metric) []report.LossRow {
	var rows []report.LossRow
	number := func(v float64) *float64 { return &v }
	for i, scenario := range []string{prune.All, "warm_up"} {
		value, tolerance := []float64{2, 0.5}[i], 1.0
		low, high := value-0.1, value+0.1
		on := budget.OnFixed
		l := report.LossRow{RowName: budget.RowName{Output: "leakage",
			Scope: budget.Scope{Scenario: scenario}, Metric: metric}, Unit: "L/min",
			Sequences: 20, Steps: 1000, Kind: budget.Measured}
		switch {
		case metric == dataset.Explained:
			value, tolerance, l.Unit = []float64{0.5, 0.95}[i], 0.9, ""
			low, high = value-0.02, value+0.02
		case metric == dataset.Bias && i == 0:
			value, low, high = -value, -high, -low
		case metric.IsShare():
			on, tolerance, l.Unit = budget.OnRise, 0.02, ""
			drop := []float64{0.1, 0.001}[i]
			value, low, high = 0.95-drop, 0.94-drop, 0.96-drop
			l.Rise, l.RiseLow, l.RiseHigh = number(drop), number(drop-0.001), number(drop+0.001)
		}
		l.Float, l.Cut, l.Fixed = value, value, value
		if metric.IsShare() {
			l.Float = 0.95
		}
		l.FixedLow, l.FixedHigh = number(low), number(high)
		l.Tolerance, l.ToleranceOn = number(tolerance), on
		l.Verdict = []budget.Verdict{budget.Fail, budget.Pass}[i]
		judged := budget.Loss{RowName: l.RowName, Fixed: value, FixedLow: low, FixedHigh: high,
			Sequences: 20, Judged: true, Tolerance: tolerance, Relative: on == budget.OnRise}
		if judged.Relative {
			judged.Rise, judged.RiseLow, judged.RiseHigh = *l.Rise, *l.RiseLow, *l.RiseHigh
		}
		l.Margin = report.Finite(judged.Margin())
		rows = append(rows, l)
	}
	return rows
}

// longName returns a name of 40 characters.
func longName(kind string, i int) string {
	name := fmt.Sprintf("%s_%02d_of_the_power_unit_in_the_splitter_", kind, i)
	return (name + strings.Repeat("x", 40))[:40]
}

// large is a sign-off with 20 outputs in 6 places each and 5 targets, all with names of 40
// characters, with 60 features cut, findings, and twenty long notes. Every second row fails.
func large(t *testing.T) *report.Signoff {
	t.Helper()
	s := pageSignoff(t)
	one := s.Loss
	s.Loss = nil
	places := map[string]string{}
	for o := range 20 {
		for _, l := range one {
			if l.Output != one[0].Output {
				continue
			}
			l.Output = longName("output", o)
			for _, place := range []*string{&l.Scenario, &l.Region} {
				if *place == "" || *place == prune.All {
					continue
				}
				if places[*place] == "" {
					places[*place] = longName("place", len(places))
				}
				*place = places[*place]
			}
			if l.Verdict != "" && o%2 == 0 {
				over := -2.5
				l.Verdict, l.Margin = budget.Fail, &over
			}
			s.Loss = append(s.Loss, l)
		}
		share, low, high := 0.4+float64(o)/100, 0.3, 0.5
		s.Explained = append(s.Explained, report.ExplainedRow{Output: longName("output", o),
			On: budget.SignoffSet, Scope: budget.Scope{Scenario: prune.All}, Given: &share,
			GivenLow: &low, GivenHigh: &high, Fixed: &share, Sequences: 48, Steps: 21739})
	}
	cost, names := s.Cost, s.TargetNames()
	s.Cost = nil
	for i := range 5 {
		for _, c := range cost {
			if c.Target == names[0] {
				c.Target = longName("target", i)
				s.Cost = append(s.Cost, c)
			}
		}
		s.Build = append(s.Build, emit.BuildTarget{Name: longName("target", i),
			Core:     "-mcpu=cortex-m33+nodsp -mthumb -mfloat-abi=hard -mfpu=fpv5-sp-d16",
			Optimise: "-O2 -fno-tree-ter -fno-tree-loop-distribute-patterns", InRAM: true})
	}
	s.Dropped.Features = nil
	for i := range 60 {
		s.Dropped.Features = append(s.Dropped.Features, longName("feature", i))
	}
	s.Network.TrainedFeatures = s.Network.Features + 60
	s.Dropped.FrontEnds = []string{longName("spectrum", 0), longName("spectrum", 1)}
	s.Warnings = nil
	for i := range 20 {
		s.Warnings = append(s.Warnings, strings.Repeat(longName("note", i)+" says much, ", 12))
	}
	text := "column " + strings.Repeat(longName("column", 1)+" and ", 9) + "more seem exchanged"
	s.Causes = []report.CauseRow{{Text: text}, {Text: text}}
	for i := range s.Inputs {
		s.Inputs[i].File = longName("file", i) + ".csv"
	}
	s.Verdict, s.Reason = budget.DoesNotFit, text+"; see the first note"
	s.Frontier = report.FrontierInfo{}
	for i := range s.Path {
		s.Path[i].RowText = longName("output", 1) + "/" + longName("place", 2) + "/rmse"
		s.Path[i].Row = nil
		s.Path[i].Name = longName("feature", i)
		s.Path[i].Flash, s.Path[i].Cycles = make([]float64, 5), make([]float64, 5)
	}
	return s
}

// broken is the demo with a network that explains nothing and a cause that forbids a signature.
func broken(t *testing.T) *report.Signoff {
	t.Helper()
	s := pageSignoff(t)
	below := -0.7
	for _, output := range []string{"leakage", "air"} {
		s.Explained = append(s.Explained, report.ExplainedRow{Output: output,
			On: budget.SignoffSet, Scope: budget.Scope{Scenario: prune.All}, Given: &below,
			Sequences: 48, Steps: 21739})
	}
	s.Causes = []report.CauseRow{{Kind: "outputs", Place: "outputs leakage and air",
		Says: "seem exchanged", Text: "outputs leakage and air seem exchanged; read so, the " +
			"error of air on the selection recordings is 0.28, as the job says it is 4.05 % " +
			"by volume"}}
	s.Verdict, s.Reason = budget.DoesNotFit,
		"outputs leakage and air seem exchanged; see the first note"
	s.Warnings = append([]string{s.Causes[0].Text}, s.Warnings...)
	return s
}

// The first page says what speaks against a signature, and everything on it has so few lines that
// it is one page of paper (browser_test.go prints it).
func TestSheetFitsItsLines(t *testing.T) {
	for name, s := range map[string]*report.Signoff{"demo": pageSignoff(t), "broken": broken(t),
		"large": large(t)} {
		p := newSheet(s)
		lines := 0
		for _, c := range p.clauses() {
			lines += c.lines
			if n := len([]rune(c.Text)); n > c.lines*c.lineLength() {
				t.Errorf("%s: %d characters on %d lines: %s", name, n, c.lines, c.Text)
			}
			if c.Rest && c.PartTitle() == "" {
				t.Errorf("%s: nothing says where the rest stands of: %s", name, c.Text)
			}
		}
		if most := sheetLines + tightRows - len(p.Rows); lines > most {
			t.Errorf("%s: %d lines, want %d at most", name, lines, most)
		}
		if len(p.Rows) != tightRows {
			t.Errorf("%s: %d rows, want %d", name, len(p.Rows), tightRows)
		}
		page := makePage(t, asJSON(t, s))
		_, page, _ = strings.Cut(page, `<section class="sheet">`)
		page, _, _ = strings.Cut(page, "</section>")
		if !strings.Contains(page, report.Caution) {
			t.Errorf("%s: the caution is not whole", name)
		}
		if len(s.Causes) > 0 && !strings.Contains(page, `class="against"`) {
			t.Errorf("%s: the finding is not on the first page", name)
		}
	}
	if p := newSheet(large(t)); !p.Shortened || p.Rows[0].Class != "fail" {
		t.Error("no name of the large job is shortened, or a failing row is not the first")
	}
}

// A row that fails is seen failing in the picture of its metric, and the other one is not.
func TestFailingRowsStandOut(t *testing.T) {
	for _, metric := range []dataset.Metric{dataset.RMSE, dataset.MaxError, dataset.Bias,
		dataset.Explained, dataset.Accuracy, dataset.Agreement} {
		s := failing(t, metric)
		figures := accuracyFigures(s)
		if len(figures) != 1 {
			t.Errorf("%s: %d figures, want 1", metric, len(figures))
			continue
		}
		picture := string(figures[0].Picture)
		if n := strings.Count(picture, `class="band fail"`); n != 1 {
			t.Errorf("%s: %d bands of failing rows, want 1", metric, n)
		}
		if n := strings.Count(picture, `class="outcome fail">fail, `); n != 1 {
			t.Errorf("%s: %d rows are said to fail, want 1", metric, n)
		}
		if !strings.Contains(figures[0].Title, report.Spaced(metric)) {
			t.Errorf("the title %q does not name %s", figures[0].Title, metric)
		}
		checkSides(t, metric, picture, s.Loss)
	}
}

// checkSides compares, in the picture, where the deciding mark of every row stands with the limits
// of the row: beyond them where the row fails, within where it passes.
func checkSides(t *testing.T, metric dataset.Metric, picture string, rows []report.LossRow) {
	t.Helper()
	number := func(text string) float64 {
		v, err := strconv.ParseFloat(text, 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	type place struct{ x, y float64 }
	var limits, marks []place
	for _, m := range regexp.MustCompile(`<line x1="([-0-9.]+)" y1="([-0-9.]+)" x2="[-0-9.]+" `+
		// the legend's first
		`y2="([-0-9.]+)" class="limit"/>`).FindAllStringSubmatch(picture, -1)[1:] {
		limits = append(limits, place{number(m[1]), (number(m[2]) + number(m[3])) / 2})
	}
	for _, m := range regexp.MustCompile(`<path d="M([-0-9.]+) ([-0-9.]+)m-4 -4h8v8h-8z" `+
		`class="mark square"/>`).FindAllStringSubmatch(picture, -1)[1:] {
		marks = append(marks, place{number(m[1]), number(m[2])})
	}
	seen := map[bool]int{}
	for _, band := range rows {
		y := limits[0].y
		var at []float64 // limits of this row
		for len(limits) > 0 && limits[0].y == y {
			at = append(at, limits[0].x)
			limits = limits[1:]
		}
		var mark place // the last one of the row decides
		for len(marks) > 0 && math.Abs(marks[0].y-y) < 13 {
			mark = marks[0]
			marks = marks[1:]
		}
		beyond := mark.x > at[len(at)-1]
		switch metric {
		case dataset.Explained:
			beyond = mark.x < at[0]
		case dataset.Bias:
			beyond = beyond || mark.x < at[0]
		}
		if fails := band.Verdict == budget.Fail; beyond != fails {
			t.Errorf("%s: the mark stands at %g, limits at %v, the verdict is %s", metric, mark.x,
				at, band.Verdict)
		}
		seen[beyond]++
	}
	if seen[true] != 1 || seen[false] != 1 {
		t.Errorf("%s: %v rows beyond their limits, want one of two", metric, seen)
	}
}

// A cost that breaks its limit is seen in its picture and in the bar beside it.
func TestBrokenCostStandsOut(t *testing.T) {
	s := pageSignoff(t)
	for i := range s.Cost {
		if c := &s.Cost[i]; c.Target == "cortex-m0plus" && c.Resource == budget.Flash &&
			c.Part == budget.Total {
			limit, margin := c.Value/2, -1.0
			c.Limit, c.Margin, c.Verdict = &limit, &margin, budget.Fail
		}
	}
	page := makePage(t, asJSON(t, s))
	for _, want := range []string{`class="band fail"`, `class="usedbar fail"`,
		`class="value end outcome fail">fail`, `<tr class="fail">`} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %s", want)
		}
		if strings.Contains(makePage(t, pageInput(t)), want) {
			t.Errorf("the page of a job that breaks no limit holds %s", want)
		}
	}
}

// No table says the same in every row of a column, but for the one of candidates, whose figures
// change with the limits.
func TestTablesHaveNoConstantColumn(t *testing.T) {
	page := makePage(t, pageInput(t))
	tables := regexp.MustCompile(`(?s)<table class="data">(.*?)</table>`).FindAllStringSubmatch(
		page, -1)
	checked := 0
	for _, table := range tables {
		rows := strings.Split(table[1], "<tr")[2:]
		if len(rows) < 2 || strings.Contains(table[1], "data-id") {
			continue
		}
		cell := regexp.MustCompile(`(?s)<td data-head="([^"]*)"[^>]*>(.*?)</td>`)
		first := cell.FindAllStringSubmatch(rows[0], -1)
		same := make([]bool, len(first))
		for i := range same {
			same[i] = i > 0 // the first column names the row
		}
		for _, r := range rows[1:] {
			for i, c := range cell.FindAllStringSubmatch(r, -1) {
				same[i] = same[i] && c[2] == first[i][2]
			}
		}
		for i, is := range same {
			if is {
				t.Errorf("column %s says %q in every row", first[i][1], first[i][2])
			}
		}
		checked++
	}
	if checked < 5 {
		t.Errorf("%d tables checked", checked)
	}
}
