package exporter

import (
	"encoding/json"
	"testing"

	"kerf/model"
)

// FuzzNetworkFile reads NAME_network.json of a handoff that others may have changed. What is taken
// runs its steps and is emitted as C without a panic.
func FuzzNetworkFile(f *testing.F) {
	for i, layers := range networks()[:4] {
		h := randomHandoff(f, seeded(uint64(i)), layers[0].([]model.Kind),
			layers[1].([]model.Activation))
		h.Vectors = h.Vectors[:min(len(h.Vectors), 4)]
		text, err := h.networkFile()
		if err != nil {
			f.Fatal(err)
		}
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		file := &NetworkFile{}
		if json.Unmarshal(text, file) != nil { // also texts that kerf would write otherwise
			return
		}
		net, err := file.network()
		if err != nil {
			return
		}
		h := &Handoff{Name: "net", Version: "0", VerdictLine: "none", Period: file.Period, Net: net}
		for _, l := range net.Layers {
			h.KeptUnits = append(h.KeptUnits, make([]int, l.Units))
		}
		if h.Vectors, err = file.vectors(); err != nil || len(h.Vectors) == 0 {
			return
		}
		if _, err := h.CFiles(); err == nil {
			replayed(h, "file")
		}
	})
}

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
		if _, err := s.reports(); err != nil {
			t.Fatal(err)
		}
		if _, err := s.JUnit(); err != nil {
			t.Fatal(err)
		}
		s.MergeSummary(Compare(smallSignoff(), s), "old")
	})
}
