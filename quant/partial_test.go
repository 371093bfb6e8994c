package quant

import (
	"testing"
)

// With one unit narrow, its rows are on the coarser grid and all other rows are as before. A state
// that is narrow for one unit is narrow for that unit alone.
func TestPartialNarrowsOneUnit(t *testing.T) {
	p := RandomFloat(41, 7, 5, 2)
	rec := RandomRecordings(42, p, 2, 80)
	c := Calibrate(p, rec)
	wide := mustRoundPartial(t, p, c, nil)
	part := mustRoundPartial(t, p, c,
		&Partial{Word: RecurrentWeights, Bits: 4, Narrow: []bool{false, false, true, false, false}})
	for r := range wide.Layers[0].Recurrent.Rows {
		same := true
		for k := range wide.Layers[0].Recurrent.Cols {
			at := r*wide.Layers[0].Recurrent.Cols + k
			same = same && wide.Layers[0].Recurrent.W[at] == part.Layers[0].Recurrent.W[at]
			if w := part.Layers[0].Recurrent.W[at]; r%5 == 2 && (w > 7 || w < -7) {
				t.Errorf("row %d holds %d, four bits reach 7", r, w)
			}
		}
		if same == (r%5 == 2) {
			t.Errorf("row %d: the same words %v", r, same)
		}
	}
	state := mustRoundPartial(t, p, c,
		&Partial{Word: StateWord, Bits: 16, Narrow: []bool{false, true, false, false, false}})
	s := state.NewState()
	x, y := make([]int32, 7), make([]int32, 2)
	low := make([]int32, 5)
	for step := range 40 {
		state.Encode(rec.Sequences[0].X[step*7:(step+1)*7], x)
		state.Step(s, x, y)
		for j, h := range s.layers[0].h {
			low[j] |= h & 0x7fff
		}
	}
	for j, bits := range low {
		if (bits == 0) != (j == 1) {
			t.Errorf("unit %d: the bits below a 16-bit state are %#x", j, bits)
		}
	}
}
