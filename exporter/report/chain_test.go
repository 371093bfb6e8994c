package report

import (
	"bytes"
	"encoding/csv"
	"strings"
	"testing"

	"kerf/budget"
	"kerf/dataset"
)

// chainSignoff is a sign-off of leak air with invented figures of a job with samples: every step
// adds 0.01 to an error of 0.3, and the error with 10 bits is the last within its tolerance.
func chainSignoff(bits ...[]int) *Signoff {
	name := budget.RowName{Output: "air", Scope: budget.Scope{Scenario: "warm_up"},
		Metric: dataset.RMSE}
	r := &budget.Result{Chain: &budget.Chain{Sequences: 3, Rows: []budget.ChainRow{{RowName: name,
		Unit: "%", Float: 0.3, Computed: 0.31, Converter: 0.32, FrontEnd: 0.33, Cut: 0.34,
		Fixed: 0.35}}}, Converters: &budget.Converters{Channels: []string{"supply", "return"}}}
	for i, b := range bits {
		used := float64(8+i) / 10
		loss := budget.Loss{RowName: name, Judged: true, Relative: true, Tolerance: 0.05,
			MayReach: used * 0.05}
		r.Converters.Tried = append(r.Converters.Tried, budget.ConverterResult{Bits: b,
			Tightest: loss, Used: used, Within: used <= 1})
	}
	s := &Signoff{Name: "leakair", MeasuredOn: budget.SignoffSet}
	s.addChain(r)
	return s
}

// What the steps of the chain add, and what converters of fewer bits would do, reach Markdown, the
// narrow tables and CSV, whose rows keep its columns; without samples there is no word of them.
func TestChainReachesEveryRendering(t *testing.T) {
	for _, text := range []string{"Step by step", "Converters", "converter codes"} {
		if strings.Contains(string((&Signoff{Name: "leakair"}).Markdown()), text) {
			t.Errorf("without samples the report says %q", text)
		}
	}
	s := chainSignoff([]int{12, 12}, []int{11, 11}, []int{10, 10}, []int{9, 9})
	text := string(s.Markdown())
	for _, want := range []string{
		"## Step by step from samples to outputs, on 3 sign-off sequences with samples (measured)",
		"| output | where | metric | float | computed | converter | front end | cut | fixed |",
		"| air | warm\\_up | rmse % | 0.3000 | 0.3100 | 0.3200 | 0.3300 | 0.3400 | 0.3500 |",
		"## Converters of fewer bits on selection recordings: 10 bits would do, 9 would not",
		"| 12 | air/warm\\_up/rmse | 4.0 % | 5.0 % | 80 % |",
		"| 9 | air/warm\\_up/rmse | 5.5 % | 5.0 % | 110 % |",
		"front end, features in integers",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("signoff.md lacks %q:\n%s", want, text)
		}
	}
	if tables := s.ChainTables(); len(tables) != 2 || tables[0].Head[0] != "air: rmse %" ||
		tables[0].Rows[0][0] != "warm_up" || len(tables[0].Rows[0]) != 7 {
		t.Errorf("%+v", tables)
	}
	out, err := s.CSV()
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(out)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	steps := 0
	for _, row := range rows {
		if row[0] == "chain" {
			steps++
		}
	}
	if steps != 6 {
		t.Errorf("signoff.csv has %d steps of the chain, want 6", steps)
	}
}

// The clause says the fewest bits that would do, channel by channel where they differ.
func TestHowFewBitsWouldDo(t *testing.T) {
	for _, c := range []struct {
		bits [][]int
		want string
	}{
		{[][]int{{12, 12}, {11, 11}, {10, 10}}, "10 bits would do"},
		{[][]int{{12, 10}, {11, 9}, {10, 8}, {9, 7}},
			"supply 10, return 8 bits would do, supply 9, return 7 would not"},
	} {
		if got := chainSignoff(c.bits...).WouldDo(); got != c.want {
			t.Errorf("%v: %q, want %q", c.bits, got, c.want)
		}
	}
	s := chainSignoff([]int{9, 9})
	if err := s.checkConverters(); err != nil {
		t.Error(err)
	}
	s.Chain.Converters[0].Within = false
	if err := s.checkConverters(); err == nil {
		t.Error("a changed verdict on a converter is not found")
	}
	if got := s.WouldDo(); got != "9 bits would not do, and of more the samples tell nothing" {
		t.Errorf("%q", got)
	}
}
