package exporter

import (
	"bytes"
	"encoding/csv"
	"strings"
	"testing"

	"kerf/quant"
)

// What the search found reaches the Markdown and the CSV, whose rows keep its columns; without a search there is no word of it.
func TestExtremesReachEveryRendering(t *testing.T) {
	h := randomHandoff(t, seeded(5), oneGRU, identity)
	s := &Signoff{Name: "leakair"}
	for _, m := range h.Net.Matrices() {
		layer, tensor, _ := strings.Cut(m.Name, ".")
		s.Formats = append(s.Formats, FormatRow{layer, tensor, m.WordBits, m.Fraction, maxBound(m), quant.AccumulatorLimit})
	}
	if text := string(s.Markdown()); strings.Contains(text, "at its worst") || strings.Contains(text, "no bound") {
		t.Error("nothing was searched, and the report speaks of it")
	}
	e := &quant.Extremes{}
	for range h.Net.Outputs {
		e.Outputs = append(e.Outputs, quant.OutputExtreme{Mean: 0.0125, Seen: 0.25, Found: 1.5, Any: 77.25})
	}
	for i := range h.Net.Matrices() {
		e.Accumulators = append(e.Accumulators, quant.AccumulatorExtreme{Seen: 1000 + int64(i), Found: 2000 + int64(i), Share: 0.625})
	}
	s.addExtremes(h.Net, e)
	text := string(s.Markdown())
	for _, want := range []string{"| o0 | L/min | 0.0125 | 0.2500 | 1.500 | 77.250 |", "| 1000 | 2000 | 62.5 % |", "What a search finds is no bound."} {
		if !strings.Contains(text, want) {
			t.Errorf("the report lacks %q", want)
		}
	}
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
		found[row[column("section")]+" "+row[column("output")]+row[column("part")]+" "+row[column("metric")]] = row[column("value")]
	}
	first := s.Formats[0].Layer + "." + s.Formats[0].Tensor
	for key, want := range map[string]string{"difference o0 mean": "0.0125", "difference o0 found_any": "77.25", "accumulator " + first + " seen": "1000", "accumulator " + first + " found": "2000"} {
		if found[key] != want {
			t.Errorf("%s is %q, want %s", key, found[key], want)
		}
	}
}
