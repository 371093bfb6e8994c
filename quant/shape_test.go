package quant

import "testing"

// By hand: a whole byte comes first where there is one, so shifts of 7, 8, 13 and 30 leave 7, 0, 5
// and 22 bits.
func TestMeanBitsBeyondAByte(t *testing.T) {
	m := &Matrix{Rows: 4, Shift: []uint8{7, 8, 13, 30}}
	if got := m.meanBits(); got != 8.5 {
		t.Errorf("%g bits, want 34/4 = 8.5", got)
	}
}
