package rows_test

import (
	"fmt"

	"kerf/quant/rows"
)

// The 39 rows of the gates of 13 units, int8, 17 columns: on a Cortex-M4 one row is left that is
// read alone, on a Cortex-M0+ none.
func ExampleWay_Together() {
	for _, isa := range []string{"armv7em", "armv6m"} {
		way := rows.Of(isa)
		together := way.Together(39, 8, 17, 0)
		fmt.Printf("%s: %d rows in groups of %d, calls that read %v columns\n", isa, together,
			way.Rows, way.Pieces(8))
	}
	// Output:
	// armv7em: 38 rows in groups of 2, calls that read [4 2 1] columns
	// armv6m: 39 rows in groups of 3, calls that read [1] columns
}
