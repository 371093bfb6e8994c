package report

import "testing"

// Rows of a tensor have one number of fraction bits, or a range of them; a sign-off that others
// changed may name none.
func TestFormatTableShowsFractionBits(t *testing.T) {
	for want, bits := range map[string][]int{"": nil, "7": {7, 7}, "5 to 9, by row": {7, 9, 5}} {
		s := &Signoff{Formats: []FormatRow{{Layer: "layer", Tensor: "weight_ih", WordBits: 8,
			FractionBits: bits}}}
		if got := s.FormatTable().Rows[0][3]; got != want {
			t.Errorf("fraction bits %v are shown as %q, want %q", bits, got, want)
		}
	}
}
