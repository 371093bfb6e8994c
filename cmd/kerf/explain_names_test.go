package main

import (
	"reflect"
	"slices"
	"strings"
	"testing"

	"kerf/budget"
	"kerf/dataset"
	"kerf/exporter/report"
	"kerf/fault"
)

// namedSignoff has rows of every sort of name. Two scenarios differ by case alone, and two rows
// have one name when their names are joined without a mark.
func namedSignoff() *report.Signoff {
	s := &report.Signoff{Name: "leakair"}
	add := func(output, scenario, region string) {
		for _, metric := range []dataset.Metric{dataset.RMSE, dataset.MaxError} {
			l := report.LossRow{RowName: budget.RowName{Output: output,
				Scope: budget.Scope{Scenario: scenario, Region: region}, Metric: metric}}
			if metric == dataset.RMSE {
				limit := 0.05
				l.Tolerance, l.Verdict = &limit, budget.Pass
			}
			s.Loss = append(s.Loss, l)
		}
	}
	for _, output := range []string{"leakage", "air"} {
		add(output, "all", "")
		add(output, "warm_up", "")
		add(output, "all", "air masks leakage")
	}
	add("air", "Surge", "")
	add("air", "surge", "")
	add("a/b", "c", "")
	add("a", "b/c", "")
	add("ram", "it's", "")
	for _, target := range []string{"cortex-m4f", "cortex-m0plus"} {
		for _, c := range []struct {
			resource budget.Resource
			part     string
		}{{budget.Flash, "front_end"}, {budget.Flash, budget.Total}, {budget.RAM, budget.Total},
			{budget.StepTime, budget.Total}} {
			s.Cost = append(s.Cost, report.CostRow{Target: target, Resource: c.resource,
				Part: c.part})
		}
	}
	return s
}

// What is copied from a table or a text finds its row; some names of a row list the rows that have
// them; nothing is chosen where two names fit.
func TestNamedRows(t *testing.T) {
	s := namedSignoff()
	for _, c := range []struct {
		asked     string
		explained []string // rows
		listed    []string
		message   string // of the error
		hint      string
	}{
		// the one name of a row, and of a place
		{asked: "leakage/warm_up/max_error", explained: []string{"leakage/warm_up/max_error"}},
		{asked: "leakage/air masks leakage",
			explained: []string{"leakage/air masks leakage/rmse"}},
		{asked: "cortex-m4f/step_time", explained: []string{"cortex-m4f/step_time"}},
		{asked: "cortex-m4f/flash", explained: []string{"cortex-m4f/flash"}},
		{asked: "cortex-m4f/flash/front_end", explained: []string{"cortex-m4f/flash/front_end"}},
		{asked: `a\/b/c`, explained: []string{`a\/b/c/rmse`}},
		// cells of tables beneath their heads, and of older ones
		{asked: "cortex-m4f/step time", explained: []string{"cortex-m4f/step_time"}},
		{asked: "leakage/region air masks leakage",
			explained: []string{"leakage/air masks leakage/rmse"}},
		{asked: "leakage/scenario warm_up/rmse", explained: []string{"leakage/warm_up/rmse"}},
		{asked: "leakage/warm up/max error", explained: []string{"leakage/warm_up/max_error"}},
		{asked: "cortex-m4f/flash: front end", explained: []string{"cortex-m4f/flash/front_end"}},
		{asked: "leakage/air masks\n     leakage/rmse",
			explained: []string{"leakage/air masks leakage/rmse"}},
		{asked: "leakage/\n  warm_\n  up/rmse", explained: []string{"leakage/warm_up/rmse"}},
		{asked: "LEAKAGE/Warm_Up", explained: []string{"leakage/warm_up/rmse"}},
		// the spelling as it is goes before all others
		{asked: "air/Surge", explained: []string{"air/Surge/rmse"}},
		{asked: "air/surge", explained: []string{"air/surge/rmse"}},
		// some of the names, of one row
		{asked: "cortex-m4f/front_end", explained: []string{"cortex-m4f/flash/front_end"}},
		{asked: "cortex-m4f: front end", explained: []string{"cortex-m4f/flash/front_end"}},
		// some of the names, of several
		{asked: "leakage", listed: []string{"leakage/all/rmse", "leakage/all/max_error",
			"leakage/warm_up/rmse", "leakage/warm_up/max_error", "leakage/air masks leakage/rmse",
			"leakage/air masks leakage/max_error"}},
		{asked: "cortex-m0plus", listed: []string{"cortex-m0plus/flash/front_end",
			"cortex-m0plus/flash", "cortex-m0plus/ram", "cortex-m0plus/step_time"}},
		{asked: "step time", listed: []string{"cortex-m4f/step_time", "cortex-m0plus/step_time"}},
		{asked: "region air masks leakage", listed: []string{"leakage/air masks leakage/rmse",
			"leakage/air masks leakage/max_error", "air/air masks leakage/rmse",
			"air/air masks leakage/max_error"}},
		{asked: "leakage: max error", listed: []string{"leakage/all/max_error",
			"leakage/warm_up/max_error", "leakage/air masks leakage/max_error"}},
		{asked: "SURGE", listed: []string{"air/Surge/rmse", "air/Surge/max_error",
			"air/surge/rmse", "air/surge/max_error"}},
		{asked: "Surge", listed: []string{"air/Surge/rmse", "air/Surge/max_error"}},
		{asked: "ram", listed: []string{"ram/it's/rmse", "ram/it's/max_error", "cortex-m4f/ram",
			"cortex-m0plus/ram"}}, // an output and a resource: both
		// two names fit
		{asked: "air/SURGE", message: `"air/SURGE" names more than one row`,
			hint: "did you mean air/Surge or air/surge? kerf explain d lists the rows"},
		{asked: "a/b/c", message: `"a/b/c" names more than one row`,
			hint: `did you mean 'a\/b/c' or 'a/b\/c'? kerf explain d lists the rows`},
		// near misses, in each of the names
		{asked: "leakge", message: `has no row "leakge"`,
			hint: "did you mean leakage? kerf explain d lists the rows"},
		{asked: "Leakge/warmup", message: "has no row",
			hint: "did you mean leakage/warm_up? kerf explain d lists the rows"},
		{asked: "air/air mask leakage/rmse", message: "has no row",
			hint: "did you mean 'air/air masks leakage/rmse'? kerf explain d lists the rows"},
		{asked: "ram/its", message: "has no row",
			hint: `did you mean 'ram/it'\''s'? kerf explain d lists the rows`},
		{asked: "cortex-m4f/flush", message: "has no row",
			hint: "did you mean cortex-m4f/flash? kerf explain d lists the rows"},
		{asked: "air/surged", message: "has no row",
			hint: "did you mean air/Surge or air/surge? kerf explain d lists the rows"},
		{asked: "leakage/nowhere", message: "has no row", hint: "kerf explain d lists the rows"},
		{asked: "", message: "has no row", hint: "kerf explain d lists the rows"},
		{asked: `\`, message: "has no row", hint: "kerf explain d lists the rows"},
		{asked: "leakage/warm_up/rmse/x", message: "has no row",
			hint: "kerf explain d lists the rows"},
	} {
		found, err := namedRows(s, c.asked, "kerf explain d")
		var explainedRows, listed []string
		switch found := found.(type) {
		case *explained:
			for _, r := range found.Rows {
				explainedRows = append(explainedRows, r.Row)
			}
		case *rowList:
			for _, r := range found.Rows {
				listed = append(listed, r.Row)
			}
		}
		if !slices.Equal(explainedRows, c.explained) || !slices.Equal(listed, c.listed) {
			t.Errorf("%q: explains %q, lists %q, error %v; want %q, %q", c.asked, explainedRows,
				listed, err, c.explained, c.listed)
		}
		if (err != nil) != (c.message != "") ||
			err != nil && (!strings.Contains(err.Error(), c.message) || fault.Hint(err) != c.hint) {
			t.Errorf("%q: error %v, hint %q; want %q, %q", c.asked, err, fault.Hint(err),
				c.message, c.hint)
		}
	}
}

// Every name of the list is split into the names that it was joined of.
func TestSplitRow(t *testing.T) {
	for _, names := range [][]string{{"a"}, {"a", "b"}, {"a/b", `c\`, "d"}, {`\/`, "", `\\`}} {
		if got := splitRow(budget.RowText(names...)); !reflect.DeepEqual(got, names) {
			t.Errorf("%q: split into %q", names, got)
		}
	}
}
