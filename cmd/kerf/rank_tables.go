package main

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"kerf/budget"
	"kerf/dataset"
	"kerf/exporter/report"
	"kerf/prune"
)

// share prints a share with one digit behind the point.
func share(v float64) string { return fmt.Sprintf("%.1f %%", 100*v) }

// rollUpTable makes a row for each group and output, and a column for each scenario.
func rollUpTable(title, what string, groups *prune.Scores) report.Table {
	scenarios := groups.Scenarios()
	t := report.Table{Title: title, Head: append([]string{what, "for"}, scenarios...), Numbers: 2}
	cells := map[[2]string]prune.Column{} // by scenario and output
	var outputs []string
	for _, c := range groups.Finest() {
		cells[[2]string{c.Scenario, c.Output}] = c
		if !slices.Contains(outputs, c.Output) {
			outputs = append(outputs, c.Output)
		}
	}
	for i, name := range groups.Items {
		for _, output := range outputs {
			row := []string{name, output}
			for _, scenario := range scenarios {
				cell := ""
				if c, there := cells[[2]string{scenario, output}]; there && c.Total() > 0 {
					cell = share(c.Values[i] / c.Total())
				}
				row = append(row, cell)
			}
			t.Rows = append(t.Rows, row)
		}
	}
	return t
}

// matrixTable makes a row for each kind and a column for each channel: kinds are more and have
// longer names.
func matrixTable(in *budget.Inputs, features *prune.Scores) report.Table {
	channels, kinds := owners(in)
	cells := make([]string, len(channels))
	for i := range cells {
		cells[i] = channels[i] + "\x00" + kinds[i] // a cell may hold several features
	}
	shares := map[string]float64{}
	for _, r := range features.Groups(cells).Ranking() {
		shares[r.Name] = r.Share
	}
	t := report.Table{Title: "Kind by channel: largest share in any scenario, for any output",
		Head: []string{""}, Numbers: 1}
	across := features.Groups(channels).Items
	t.Head = append(t.Head, across...)
	for _, kind := range features.Groups(kinds).Items {
		row := []string{kind}
		for _, channel := range across {
			cell := ""
			if v, there := shares[channel+"\x00"+kind]; there {
				cell = share(v)
			}
			row = append(row, cell)
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// outputTable shows for every output and scenario the sum that the shares are parts of.
func outputTable(in *budget.Inputs, features *prune.Scores) report.Table {
	t := report.Table{Title: "Sum of the scores of all features", Head: []string{"output"},
		Numbers: 1}
	t.Head = append(t.Head, features.Scenarios()...)
	rowOf := map[string]int{}
	for _, c := range features.Finest() {
		row, known := rowOf[c.Output]
		if !known {
			row = len(t.Rows)
			rowOf[c.Output] = row
			name := c.Output
			for _, o := range in.Float.Outputs {
				if o.Name == c.Output && o.Unit != "" {
					name += ", " + o.Unit
				}
			}
			t.Rows = append(t.Rows, append([]string{name}, make([]string, len(t.Head)-1)...))
		}
		for column, scenario := range t.Head[1:] {
			if scenario == c.Scenario {
				t.Rows[row][1+column] = report.Significant(c.Total())
			}
		}
	}
	return t
}

// agreementTable shows the correlations as a triangle: that of a with b is that of b with a.
func agreementTable(a prune.Agreement) report.Table {
	t := report.Table{Title: "Agreement of the feature rankings (Spearman's rank correlation)",
		Head: append([]string{""}, a.Scenarios[:len(a.Scenarios)-1]...), Numbers: 1}
	for i := 1; i < len(a.Scenarios); i++ {
		row := make([]string, len(t.Head))
		row[0] = a.Scenarios[i]
		for j := range i {
			row[1+j] = correlation(a.Correlation[i][j])
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// correlation prints a correlation; it is empty for NaN.
func correlation(v float64) string {
	if math.IsNaN(v) {
		return ""
	}
	return fmt.Sprintf("%.2f", v)
}

// shownMoves is how many features the table of moves shows. Our choice: what is seen at a glance;
// JSON and CSV have all.
const shownMoves = 5

// movesTable shows the features whose rank differs most between scenarios.
func movesTable(a prune.Agreement) report.Table {
	t := report.Table{Title: "Features whose rank moves most between scenarios",
		Head: []string{"name", "highest rank", "in", "lowest rank", "in"}, Numbers: 5}
	for _, m := range a.Moves[:min(shownMoves, len(a.Moves))] {
		if m.Lowest > m.Highest {
			t.Rows = append(t.Rows,
				[]string{m.Name, rank(m.Highest), m.HighestIn, rank(m.Lowest), m.LowestIn})
		}
	}
	return t
}

// rank prints a rank, which is a half where two features share it.
func rank(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// sentences returns what the scores mean for those who build the sensors and compute the features.
func sentences(r *ranked) []string {
	var all []string
	say := func(format string, args ...any) { all = append(all, fmt.Sprintf(format, args...)) }
	everywhere := "in every scenario"
	if len(r.features.Scenarios()) < 2 {
		everywhere = "over all recordings (the scores are not split by scenario)"
	}
	little := func(team, what, so string, groups *prune.Scores) {
		found := groups.Little()
		for _, g := range found {
			say("for the %s: %s %s contributes at most %s %s; %s", team, what, g.Name,
				share(g.Share), everywhere, so)
		}
		if len(found) == 0 {
			say("for the %s: every %s contributes more than %s somewhere", team, what,
				share(prune.LittleShare))
		}
	}
	little("hardware team", "channel", "plan tries without it", r.channels)
	little("front end", "kind", "plan tries without them", r.kinds)
	a := r.features.Agree()
	least, first, second := math.Inf(1), 0, 0
	for i, row := range a.Correlation {
		for j, c := range row[:i] {
			if c < least {
				least, first, second = c, j, i
			}
		}
	}
	if !math.IsInf(least, 1) {
		say("the rankings of %s and %s agree least (rank correlation %.2f)", a.Scenarios[first],
			a.Scenarios[second], least)
	}
	if len(a.Scenarios) > 1 && len(a.Moves) > 0 && a.Moves[0].Lowest > a.Moves[0].Highest {
		m := a.Moves[0]
		say("%s moves furthest: rank %s in %s, rank %s in %s", m.Name, rank(m.Highest), m.HighestIn,
			rank(m.Lowest), m.LowestIn)
	}
	for _, c := range r.computed {
		for _, group := range c.values.Open() {
			say("the order of %s %s is open: neighbours differ by less than two standard errors "+
				"after the work that is allowed", c.players, dataset.ListNames(group))
		}
	}
	if len(r.computed) > 0 && r.computed[0].values.Others == 0 {
		say("the selection recordings are one sequence: what is absent follows its other half, " +
			"and there is no standard error")
	}
	return all
}

// sentenceTable makes a row for each sentence.
func sentenceTable(title string, sentences []string) report.Table {
	t := report.Table{Title: title, Head: []string{"no.", "finding"}, Numbers: 2}
	for i, s := range sentences {
		t.Rows = append(t.Rows, []string{strconv.Itoa(i + 1), s})
	}
	return t
}
