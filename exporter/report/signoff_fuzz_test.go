package report

import (
	"encoding/json"
	"testing"
)

// FuzzSignoff reads a signoff.json that others may have changed, and renders it in every way.
func FuzzSignoff(f *testing.F) {
	text, err := smallSignoff().JSON()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(text)
	f.Add([]byte(
		`{"schema":1,"name":"a","frontier":{"near":[0,7],"candidates":[{"id":0,"cost":[{"target":"x"}]}]}}`))
	// once a panic
	f.Add([]byte(`{"schema":1,"name":"a","formats":[{"layer":"l","fraction_bits":[]}]}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		s := &Signoff{}
		if json.Unmarshal(text, s) != nil {
			return
		}
		s.Markdown()
		for _, render := range []func() ([]byte, error){s.JSON, s.CSV} {
			if _, err := render(); err != nil {
				t.Fatal(err)
			}
		}
		if _, err := s.JUnit(); err != nil {
			t.Fatal(err)
		}
		s.MergeSummary(Compare(smallSignoff(), s), "old")
	})
}
