package report

import (
	"bytes"
	"encoding/csv"
	"strings"
	"testing"

	"kerf/quant"
	"kerf/testdata/randomnet"
)

// extremeSignoff is a sign-off of a network of leak air with invented figures of a search.
func extremeSignoff(t *testing.T, dropped Dropped) *Signoff {
	t.Helper()
	net, _, _ := randomnet.Quantized(t, randomnet.Seeded(5), randomnet.OneGRU)
	s := &Signoff{Name: "leakair", Dropped: dropped}
	for _, m := range net.Matrices() {
		layer, tensor, _ := strings.Cut(m.Name, ".")
		s.Formats = append(s.Formats,
			FormatRow{layer, tensor, m.WordBits, m.Fraction, m.MaxBound(), quant.AccumulatorLimit})
	}
	if text := string(s.Markdown()); strings.Contains(text, "at its worst") ||
		strings.Contains(text, "no bound") {
		t.Error("nothing was searched, and the report speaks of it")
	}
	e := &quant.Extremes{}
	for range net.Outputs {
		e.Rounding = append(e.Rounding, quant.OutputExtreme{
			Mean: 0.0125, Seen: 0.25, Found: 1.5, Any: 77.25, Dropped: 1.5})
		e.Given = append(e.Given, quant.OutputExtreme{
			Mean: 0.125, Seen: 2.5, Found: 3.5, Any: 88.5, Dropped: 9.75})
	}
	for i := range net.Matrices() {
		e.Accumulators = append(e.Accumulators,
			quant.AccumulatorExtreme{Seen: 1000 + int64(i), Found: 2000 + int64(i), Share: 0.625})
	}
	s.addExtremes(net, e)
	return s
}

// What the search found reaches the Markdown, the page and the CSV, whose rows keep its columns;
// without a search there is no word of it. Where features were dropped, the table has a column for
// them, and where anything was, rows for rounding alone.
func TestExtremesReachEveryRendering(t *testing.T) {
	for _, c := range []struct {
		name       string
		dropped    Dropped
		recovery   *RecoveryInfo
		has, lacks []string
	}{
		{"features cut", Dropped{Features: []string{"f"}, Units: [][]int{{}}}, nil,
			[]string{
				"| difference | average | largest | found | any input | cut ones too |",
				"| o0, L/min | 0.1250 | 2.500 | 3.500 | 88.500 | 9.750 |",
				"| o0, rounding alone | 0.0125 | 0.2500 | 1.500 | 77.250 |  |",
				"the cut ones as recorded", "network of column cut",
			},
			[]string{"Nothing was cut"}},
		{"units cut", Dropped{Units: [][]int{{3}}}, nil,
			[]string{
				"| difference | average | largest | found | any input |\n",
				"| o0, L/min | 0.1250 | 2.500 | 3.500 | 88.500 |\n",
				"| o0, rounding alone | 0.0125 | 0.2500 | 1.500 | 77.250 |\n",
				"network of column cut",
			},
			[]string{"cut ones", "Nothing was cut"}},
		{"trained", Dropped{Units: [][]int{{}}}, &RecoveryInfo{},
			[]string{"| o0, rounding alone | 0.0125 |", "network of column recovered"},
			[]string{"cut ones", "Nothing was cut"}},
		{"whole", Dropped{Units: [][]int{{}}}, nil,
			[]string{
				"| o0, L/min | 0.1250 | 2.500 | 3.500 | 88.500 |\n",
				"Nothing was cut or trained: rounding alone makes the difference.",
			},
			[]string{", rounding alone", "cut ones"}},
	} {
		s := extremeSignoff(t, c.dropped)
		s.Recovery = c.recovery
		text := string(s.Markdown())
		for _, want := range append(c.has, "## Difference from the network as given, at its worst",
			"| 1000 | 2000 | 62.5 % |", "what it finds is no bound.") {
			if !strings.Contains(text, want) {
				t.Errorf("%s: the report lacks %q", c.name, want)
			}
		}
		for _, unwanted := range c.lacks {
			if strings.Contains(text, unwanted) {
				t.Errorf("%s: the report has %q", c.name, unwanted)
			}
		}
	}
	s := extremeSignoff(t, Dropped{Features: []string{"f"}, Units: [][]int{{}}})
	table, err := s.CSV()
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(table)).ReadAll() // refuses rows of unequal length
	if err != nil {
		t.Fatal(err)
	}
	column := func(name string) int {
		for i, head := range rows[0] {
			if head == name {
				return i
			}
		}
		t.Fatalf("no column %s", name)
		return 0
	}
	found := map[string]string{}
	for _, row := range rows[1:] {
		found[row[column("section")]+" "+row[column("output")]+row[column("part")]+" "+row[column(
			"metric")]] = row[column("value")]
	}
	first := s.Formats[0].Layer + "." + s.Formats[0].Tensor
	for key, want := range map[string]string{
		"difference o0 mean": "0.0125", "difference o0 found_any": "77.25",
		"difference o0 given_mean": "0.125", "difference o0 given_seen": "2.5",
		"difference o0 given_found_recorded": "3.5", "difference o0 given_found_any": "88.5",
		"difference o0 given_found_dropped": "9.75",
		"accumulator " + first + " seen":    "1000", "accumulator " + first + " found": "2000",
	} {
		if found[key] != want {
			t.Errorf("%s is %q, want %s", key, found[key], want)
		}
	}
}
