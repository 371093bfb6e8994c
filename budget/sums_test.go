package budget

import (
	"fmt"
	"slices"
	"testing"

	"kerf/dataset"
)

// There are sums of every metric that any row of an output and region judges, and of the first
// metric in any case; every row that is judged follows from them.
func TestSumsOfTheJudgedRows(t *testing.T) {
	const rise = `temp_max_next = { rmse_rise = "5 %" }
temp_min_next = { rmse_rise = "5 %" }
`
	in := mustCity(t, "epochs = 1", [3]string{"job.toml", rise, `
[tolerance.temp_max_next]
max_error = 30
explained = "50 %"
scenario.seattle_warm.mae = 5

[[region]]
name = "frost"
where.temp_min_next = { max = 0.0 }
`})
	pl := NewPlanner(in)
	score := dataset.Measure(in.Float, in.Signoff, in.Regions)
	s := scores{float: score, cut: score, fixed: score}
	rows := pl.lossRows(in.Signoff, s, false)
	all := pl.sums(rows, s)
	var got []string
	for _, sums := range all {
		got = append(got, fmt.Sprintf("%s %s %s", sums.Output, sums.Region, sums.Metric))
		if sums.Fixed.Sequences != len(in.Signoff.Sequences) || sums.Fixed.Check(sums.Metric) !=
			nil {
			t.Errorf("%+v", sums)
		}
		for _, l := range rows {
			if l.Output == sums.Output && l.Region == sums.Region && l.Metric == sums.Metric &&
				l.Scenario == "all" && l.Fixed != sums.Fixed.Value(sums.Metric) {
				t.Errorf("%s: %g, not what its sums give", l.Text(), l.Fixed)
			}
		}
	}
	want := []string{
		"temp_max_next  rmse", "temp_max_next  mae", "temp_max_next  max_error",
		"temp_max_next  explained",
		"temp_max_next frost rmse", "temp_max_next frost max_error",
		"temp_min_next  rmse", "temp_min_next frost rmse",
	}
	if !slices.Equal(got, want) {
		t.Errorf("sums of %q, want %q", got, want)
	}
}
