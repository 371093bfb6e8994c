package dataset

import (
	"strings"
	"testing"

	"kerf/fault"
)

// What a recording names nearly right gets the right name as a hint.
func TestNearMissesInRecordings(t *testing.T) {
	const row = "a,calm,0,1,"
	for _, c := range []struct {
		what, header, row, hint string
	}{
		{"column", "Sequence,scenario,t,x,state\n", row + "idle\n", `did you mean "Sequence"?`},
		{"feature", "sequence,scenario,t,X,state\n", row + "idle\n", `did you mean "X"?`},
		{"column of the class", "sequence,scenario,t,x,states\n", row + "idle\n",
			`did you mean "states"?`},
		{"class", "sequence,scenario,t,x,state\n", row + "Idle\n", `did you mean "idle"?`},
		{"class, a slip", "sequence,scenario,t,x,state\n", row + "splting\n",
			`did you mean "splitting"?`},
	} {
		_, err := ReadCSV(strings.NewReader(c.header+c.row), "r.csv", []string{"x"},
			Reference{Outputs: []string{"idle", "splitting"}, Column: "state"})
		if hint := fault.Hint(err); !strings.HasPrefix(hint, c.hint+" ") {
			t.Errorf("%s: error %v, hint %q, want %q", c.what, err, hint, c.hint)
		}
	}
}
