package rows_test

import (
	"fmt"

	"kerf/quant/rows"
)

// The 39 rows of the gates of 13 units, int8, 35 columns: on a Cortex-M4 two turns of nine tiles,
// on a Cortex-M0+ six of three.
func ExampleKernel_Turns() {
	for _, isa := range []string{"armv7em", "armv6m"} {
		turns, each, rest := rows.Of(isa).Turns(8, 35, false)
		fmt.Printf("%s: %d groups, each %d turns of %d tiles and %d more\n", isa, rows.Groups(39),
			turns, each, rest)
	}
	// Output:
	// armv7em: 10 groups, each 2 turns of 9 tiles and 0 more
	// armv6m: 10 groups, each 6 turns of 3 tiles and 0 more
}
