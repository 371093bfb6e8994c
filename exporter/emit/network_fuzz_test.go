package emit

import (
	"encoding/json"
	"testing"

	"kerf/testdata/randomnet"
)

// FuzzNetworkFile reads NAME_network.json of a handoff that others may have changed. What is taken
// runs its steps and is emitted as C without a panic.
func FuzzNetworkFile(f *testing.F) {
	for i, layers := range randomnet.All()[:4] {
		h := randomHandoff(f, randomnet.Seeded(uint64(i)), layers)
		h.Vectors = h.Vectors[:min(len(h.Vectors), 4)]
		text, err := h.NetworkJSON()
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
		net, err := file.Network()
		if err != nil {
			return
		}
		h := &Program{Name: "net", Version: "0", VerdictLine: "none", Period: file.Period, Net: net}
		for _, l := range net.Layers {
			h.KeptUnits = append(h.KeptUnits, make([]int, l.Units))
		}
		if h.Vectors, err = file.Vectors(); err != nil || len(h.Vectors) == 0 {
			return
		}
		if _, err := h.CFiles(); err == nil {
			_ = h.Replay() // other outputs are no finding here
		}
	})
}
