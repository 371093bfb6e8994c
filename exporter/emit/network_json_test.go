package emit

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"

	"kerf/testdata/randomnet"
)

// The network file holds all that the C is made of: what is read back emits the
// same C, proves the same bounds and gives the same integers.
func TestNetworkFileGivesTheSameC(t *testing.T) {
	for i, layers := range randomnet.All() {
		program := randomProgram(t, randomnet.Seeded(uint64(i)), layers)
		program.Period, program.ModelVersion = 0.1, "2.1"
		for k := range program.Net.Features {
			program.Ranges = append(program.Ranges, Range{-float64(k) / 3, 1e-3})
		}
		text, err := program.NetworkJSON()
		if err != nil {
			t.Fatal(err)
		}
		f, err := ReadNetworkFile(text)
		if err != nil {
			t.Fatalf("network %d: %v", i, err)
		}
		again := *program
		again.Period, again.ModelVersion = f.Period, f.ModelVersion
		if again.Ranges, err = f.Ranges(); err != nil {
			t.Fatal(err)
		}
		if again.Net, err = f.Network(); err != nil {
			t.Fatalf("network %d, %s: %v", i, program.Description, err)
		}
		if again.Vectors, err = f.Vectors(); err != nil {
			t.Fatal(err)
		}
		want, err := program.CFiles()
		if err != nil {
			t.Fatal(err)
		}
		got, err := again.CFiles()
		if err != nil {
			t.Fatal(err)
		}
		for name := range want {
			if !bytes.Equal(got[name], want[name]) {
				t.Errorf("network %d, %s: %s differs", i, program.Description, name)
			}
		}
		for k, m := range program.Net.Matrices() {
			// The bound of quant counts an offset behind the sum before it is rounded.
			now := again.Net.Matrices()[k].MaxBound()
			if now > m.MaxBound() || now < m.MaxBound()-1 {
				t.Errorf("network %d: %s has the bound %d, read back %d", i, m.Name, m.MaxBound(),
					now)
			}
		}
		if err := again.Replay(); err != nil {
			t.Errorf("network %d: %v", i, err)
		}
	}
}

// A network file that could not have been written by kerf is refused, whatever
// its hash: nothing in it may make the engine overflow or panic.
func TestImpossibleNetworksAreRefused(t *testing.T) {
	for name, c := range map[string]struct {
		damage func(f *NetworkFile)
		want   string
	}{
		"weight beyond its word": {func(f *NetworkFile) {
			f.Layers[0].Input.Weights[0][0] = 40000
		}, "has more than"},
		"overflow": {func(f *NetworkFile) {
			f.Layers[0].Recurrent.Bias[1] = 1<<31 - 1
		}, "its accumulator can reach"},
		"shift": {func(f *NetworkFile) {
			f.Layers[0].Input.Shift[0]++
		}, "a shift of"},
		"fraction": {func(f *NetworkFile) {
			f.Layers[0].Input.Fraction[0] += 40
		}, "a shift of"},
		"row missing": {func(f *NetworkFile) {
			f.Layers[0].Input.Weights = f.Layers[0].Input.Weights[1:]
		}, "its size is not"},
		"row short": {func(f *NetworkFile) {
			f.Layers[0].Input.Weights[2] = nil
		}, "its size is not"},
		"word": {func(f *NetworkFile) {
			f.Dense[0].Weights.WordBits = 5
		}, "weights of 5 bits"},
		"cell": {func(f *NetworkFile) {
			f.Layers[0].Cell = "gate"
		}, "unknown cell"},
		"activation": {func(f *NetworkFile) {
			f.Dense[0].Activation = "soft"
		}, "unknown activation"},
		"state": {func(f *NetworkFile) {
			f.Layers[0].StateBits = 24
		}, "a state of 24 bits"},
		"gate format": {func(f *NetworkFile) {
			f.Layers[0].GateFraction = 20
		}, "of the gates"},
		"no layers": {func(f *NetworkFile) { f.Layers = nil }, "lacks"},
		"output format": {func(f *NetworkFile) {
			f.Outputs[0].FractionBits++
		}, "its row gives"},
		"step of another size": {func(f *NetworkFile) {
			f.Steps[3].X = nil
		}, "does not fit the network"},
		"range of some features alone": {func(f *NetworkFile) {
			f.Features[0].Recorded = &Range{Low: 1, High: 2}
		}, "some features have a recorded range"},
		"input beyond int16": {func(f *NetworkFile) { f.Steps[3].X[0] = 40000 }, "is no int16"},
	} {
		t.Run(name, func(t *testing.T) {
			program := randomProgram(t, randomnet.Seeded(7), randomnet.OneGRU)
			text, err := program.NetworkJSON()
			if err != nil {
				t.Fatal(err)
			}
			f := &NetworkFile{}
			if err := json.Unmarshal(text, f); err != nil {
				t.Fatal(err)
			}
			c.damage(f)
			if _, err = f.Network(); err == nil {
				_, err = f.Vectors()
			}
			if err == nil {
				_, err = f.Ranges()
			}
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %v, want an error with %q", err, c.want)
			}
		})
	}
}
