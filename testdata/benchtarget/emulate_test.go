//go:build emulate

package main

import (
	"path/filepath"
	"testing"
)

// Such float C was seen to take about 28,000 cycles per step with the FPU of a Cortex-M4 and
// 264,000 in software on a Cortex-M3 (own measurement with other weights and another library
// build): within a fifth, or something is wrong with the counting.
func TestEmulatedFloatCIsInTheKnownRegion(t *testing.T) {
	dir := t.TempDir()
	for _, n := range networks {
		if err := writeInteger(n, filepath.Join(dir, n.name)); err != nil {
			t.Fatal(err)
		}
	}
	if err := writeFloat(networks[0].trained(), dir); err != nil {
		t.Fatal(err)
	}
	for core, seen := range map[string]float64{"cortex-m4f": 28000, "cortex-m3": 264000} {
		r, err := onCore(t.Context(), core, dir)
		if err != nil {
			t.Fatal(err)
		}
		if got := r.float.MeanCycles(); got < seen*0.8 || got > seen*1.2 {
			t.Errorf("%s: float C takes %.0f cycles per step, known: about %.0f", core, got, seen)
		}
		for i, level := range levels {
			if r.integer[0][i].MaxCycles() >= r.float.MinCycles() {
				t.Errorf("%s -%s: the emitted C takes %v cycles, float C %v", core, level,
					r.integer[0][i].MaxCycles(), r.float.MinCycles())
			}
		}
	}
}
