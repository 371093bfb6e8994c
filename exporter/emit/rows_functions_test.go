package emit

import (
	"fmt"
	"strings"
	"testing"
)

// The sum of the inputs, which takes off what weights are raised by, is computed once where raised
// weights are read, and not elsewhere; of two rows of int4 the columns that fill no group of four
// are read row by row, and there are no such calls without them.
func TestOnlyWhatIsNeededIsEmitted(t *testing.T) {
	for _, bits := range []int{4, 8, 16} {
		for cols := 1; cols <= 30; cols++ {
			for rows := 1; rows <= 3; rows++ {
				k := block{prefix: "l0_x", matrix: rescaled(bits, rows, cols),
					rows: []int{0, 1, 2}[:rows]}
				left := cols % 4
				if bits != 4 || rows < 2 {
					left = 0
				}
				// calls for rows that are left, in a loop if there are several
				two, three := rows%2, 0
				if left > 0 {
					two += 2
				}
				if rows < 3 {
					three = 1
				}
				twoRaised := bits == 4 && rows >= 2 && cols >= 4
				threeRaised := rows == 3 && (bits == 8 || bits == 4 && cols >= 2)
				for way, text := range k.inEachWay() {
					raised, alone := twoRaised, two
					if way == 2 {
						raised, alone = threeRaised, three
					}
					name := fmt.Sprintf("int%d, %d rows of %d columns, way %d", bits, rows, cols,
						way)
					declared, taken := strings.Count(text, "raised = "),
						strings.Count(text, " - raised")
					if raised && (declared != 1 || taken == 0) || !raised && declared+taken != 0 {
						t.Errorf("%s: the sum of the inputs is computed %d times and taken off "+
							"%d times, weights are raised: %v", name, declared, taken, raised)
					}
					if got := strings.Count(text, "net_row_w"); got != alone {
						t.Errorf("%s: %d calls that read one row, want %d", name, got, alone)
					}
				}
			}
		}
	}
}
