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
		program := randomProgram(f, randomnet.Seeded(uint64(i)), layers)
		program.Vectors = program.Vectors[:min(len(program.Vectors), 4)]
		text, err := program.NetworkJSON()
		if err != nil {
			f.Fatal(err)
		}
		f.Add(text)
	}
	program := selftestProgram(f, 1)
	program.Vectors = program.Vectors[:4]
	program.FrontVectors.Recorded = program.FrontVectors.Recorded[:1]
	program.FrontVectors.Windows = program.FrontVectors.Windows[:1]
	text, err := program.NetworkJSON()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(text)
	f.Fuzz(func(t *testing.T, text []byte) {
		file := &NetworkFile{}
		if json.Unmarshal(text, file) != nil { // also texts that kerf would write otherwise
			return
		}
		net, err := file.Network()
		if err != nil {
			return
		}
		program := &Program{Name: "net", Version: "0", VerdictLine: "none", Period: file.Period,
			Net: net}
		for _, l := range net.Layers {
			program.KeptUnits = append(program.KeptUnits, make([]int, l.Units))
		}
		if program.Vectors, err = file.Vectors(); err != nil || len(program.Vectors) == 0 {
			return
		}
		if program.Front, program.FrontVectors, err = file.FrontEnd(net); err != nil {
			return
		}
		if _, err := program.CFiles(); err == nil {
			_ = program.Replay() // other outputs are no finding here
		}
	})
}
