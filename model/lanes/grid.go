package lanes

import "math"

// Grid is a fixed-point format of 16 bits, to whose values a [Tape] rounds. The zero Grid rounds
// nothing.
type Grid struct {
	// magic is 1.5·2^23 last places of the format, see roundMagic in activation.go.
	magic float32
	// low and high are the ends of the format.
	low, high float32
}

// Int16 returns the grid of int16 values with a number of fraction bits, -100 to 100.
func Int16(fraction int) Grid {
	place := float32(math.Ldexp(1, -fraction))
	return Grid{magic: roundMagic * place, low: math.MinInt16 * place, high: math.MaxInt16 * place}
}

// round replaces values by the nearest ones of the grid.
func (g Grid) round(v []float32) {
	if g.magic != 0 && len(v) > 0 {
		roundAll(v, g.magic, g.low, g.high)
	}
}
