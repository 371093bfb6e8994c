package rows

import (
	"slices"
	"testing"
)

func TestKernelOfEveryInstructionSet(t *testing.T) {
	for isa, want := range map[string]string{"armv7em": "armv7em", "armv8m": "armv7em",
		"avr": "avr", "armv6m": "armv6m", "armv7m": "armv7m", "rv32imc": "rv32im"} {
		if Of(isa).Name != want {
			t.Errorf("%s: %s, want %s", isa, Of(isa).Name, want)
		}
	}
}

// By hand. 39 rows of 17 int8 columns are 10 groups of 9 tiles: 10 · (4 biases of 4 bytes + 9 tiles
// of 8 weights + 4 shifts) = 10 · 92.
func TestBytesByHand(t *testing.T) {
	for _, c := range []struct{ rows, columns, bits, want int }{
		{39, 17, 8, 920}, {39, 17, 16, 10 * (20 + 9*16)}, {39, 17, 4, 10 * (20 + 9*4)},
		{1, 1, 8, 28}, {4, 2, 8, 28}, {5, 2, 8, 56},
	} {
		if got := Bytes(c.rows, c.columns, c.bits); got != c.want {
			t.Errorf("%d rows of %d, int%d: %d bytes, want %d", c.rows, c.columns, c.bits, got,
				c.want)
		}
	}
}

// Every tile is read once; a rest is shorter than a turn, and no longer than what is read without a
// loop.
func TestTurnsReadEveryTile(t *testing.T) {
	for _, k := range Kernels {
		for _, bits := range []int{4, 8, 16} {
			for columns := 1; columns < 1200; columns++ {
				for _, isHead := range []bool{false, true} {
					turns, each, rest := k.Turns(bits, columns, isHead)
					if turns*each+rest != Tiles(columns) {
						t.Fatalf("%s, int%d, %d columns: %d turns of %d and %d are not %d tiles",
							k.Name, bits, columns, turns, each, rest, Tiles(columns))
					}
					if k.Straight > 0 && max(each, rest) > k.Straight || turns > 0 && rest >= each {
						t.Fatalf("%s, int%d, %d columns: %d turns of %d and %d", k.Name, bits,
							columns, turns, each, rest)
					}
				}
			}
		}
	}
}

// A load of Armv6-M reaches bytes 0 to 31 and half-words 0 to 62 behind its register (Armv6-M
// Architecture Reference Manual DDI 0419, LDRB and LDRH, immediate): the offsets of a turn.
func TestArmv6MReachesATurn(t *testing.T) {
	for bits, last := range map[int]int{8: 31, 16: 62} {
		for columns := 1; columns < 300; columns++ {
			_, each, rest := ARMv6M.Turns(bits, columns, false)
			if at := max(each, rest)*TileBytes(bits) - bits/8; at > last {
				t.Fatalf("int%d, %d columns: offset %d, at most %d", bits, columns, at, last)
			}
		}
	}
}

// Raised weights have no sign: int8 within ±127 raised by 128, int4 within ±7 raised by 8. Where
// two products are added at a time, int8 pairs keep theirs.
func TestRaisedByKernel(t *testing.T) {
	for name, want := range map[string][]int{"armv7em": {4}, "armv7m": nil, "armv6m": {8, 16},
		"rv32im": nil, "avr": {4, 8}} {
		i := slices.IndexFunc(Kernels, func(k Kernel) bool { return k.Name == name })
		var raised []int
		for _, bits := range []int{4, 8, 16} {
			if Kernels[i].IsRaised(bits) {
				raised = append(raised, bits)
			}
		}
		if !slices.Equal(raised, want) {
			t.Errorf("%s: raised are %v, want %v", name, raised, want)
		}
	}
}
