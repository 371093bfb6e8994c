package rows

import (
	"math"
	"slices"
	"testing"
)

var ways = map[string]Way{"Dual": Dual, "Bytes": Bytes, "Three": Three}

func TestWayOfEveryInstructionSet(t *testing.T) {
	for isa, want := range map[string]Way{"armv7em": Dual, "armv8m": Dual, "avr": Bytes,
		"armv6m": Three, "armv7m": Three, "rv32imc": Three} {
		if Of(isa) != want {
			t.Errorf("%s: %+v, want %+v", isa, Of(isa), want)
		}
	}
}

// The sum of a row over int8 weights within ±127, each multiplied by an unsigned byte of up to 255,
// stays within 24 bits with sign for ByteColumns columns, and the columns fit a byte.
func TestByteColumnsFitASumOf24Bits(t *testing.T) {
	if most := 127 * 255 * ByteColumns; most >= 1<<23 {
		t.Errorf("a sum reaches %d, 24 bits hold %d", most, 1<<23-1)
	}
	if ByteColumns > math.MaxUint8 {
		t.Errorf("%d columns are no byte", ByteColumns)
	}
	for _, w := range []Way{Dual, Bytes} {
		if w.Together(2, 8, ByteColumns, 0) != 2 || w.Together(2, 8, ByteColumns+1, 0) != 0 {
			t.Errorf("%+v: the most columns of two rows are not %d", w, ByteColumns)
		}
	}
}

// Raising makes all weights of a width unsigned numbers of that width. Int8 weights are within
// ±127, int4 within ±7.
func TestRaisedWeightsHaveNoSign(t *testing.T) {
	for bits, largest := range map[int]int32{4: 7, 8: 127} {
		low, high := Raise(bits)-largest, Raise(bits)+largest
		if low < 0 || high >= 1<<bits {
			t.Errorf("int%d: raised weights are from %d to %d", bits, low, high)
		}
	}
}

// The largest sums of a row that is read with raised weights, over every order of the additions:
// the bias less raise times the sum of the inputs, and then inputs times raised weights, fit 32
// bits for the most columns that are read together. One more column, or one more in the bias, is
// refused exactly where |bias| + 3 raise columns 2^15 is beyond the 32 bits.
func TestSumsOfRaisedWeightsFit(t *testing.T) {
	const largestInput = 1 << 15
	for name, w := range ways {
		for _, bits := range []int{4, 8} {
			if !w.IsRaised(bits) {
				continue
			}
			raise := int64(1) << (bits - 1)
			most := (int64(math.MaxInt32)) / (3 * raise * largestInput)
			spare := math.MaxInt32 - 3*raise*largestInput*most
			if w.Together(w.Rows, bits, int(most), spare) != w.Rows {
				t.Errorf("%s, int%d: %d columns are not read together", name, bits, most)
			}
			if w.Together(w.Rows, bits, int(most), spare+1) != 0 ||
				w.Together(w.Rows, bits, int(most)+1, 0) != 0 {
				t.Errorf("%s, int%d: a sum beyond 32 bits is read together", name, bits)
			}
			// From first principles: all inputs are -2^15, so that the first term is largest;
			// all raised weights are the largest there are.
			first := spare + raise*largestInput*most
			then := largestInput * most * (2*raise - 1)
			if first > math.MaxInt32 || then+spare > math.MaxInt32 {
				t.Errorf("%s, int%d: sums reach %d and %d", name, bits, first, then+spare)
			}
		}
	}
	// the bounds by hand: 2^31 / (3 · 8 · 2^15) = 2730.7 and 2^31 / (3 · 128 · 2^15) = 170.7
	for _, c := range []struct{ bits, columns int }{{4, 2730}, {8, 170}} {
		if Three.Together(3, c.bits, c.columns, 0) != 3 ||
			Three.Together(3, c.bits, c.columns+1, 0) != 0 {
			t.Errorf("int%d: the most columns of three rows are not %d", c.bits, c.columns)
		}
	}
	if Dual.Together(2, 4, 2730, 0) != 2 || Dual.Together(2, 4, 2731, 0) != 0 {
		t.Error("int4: the most columns of two rows are not 2730")
	}
	if Three.Together(3, 16, 100000, math.MaxInt32) != 3 {
		t.Error("int16 weights are not raised, and are not read together")
	}
}

// Whole groups are read together, and fewer rows than a group are left.
func TestTogetherLeavesLessThanAGroup(t *testing.T) {
	for name, w := range ways {
		for n := range 20 {
			together := w.Together(n, 16, 10, 0)
			if together%w.Rows != 0 || n-together >= w.Rows || together > n {
				t.Errorf("%s: %d of %d rows are read together", name, together, n)
			}
		}
	}
}

// The pieces and the tail read every column once, and the widest piece that fits is as wide as
// the weights of a word allow.
func TestPiecesReadEveryColumn(t *testing.T) {
	for name, w := range ways {
		for _, bits := range []int{4, 8, 16} {
			pieces := w.Pieces(bits)
			if !slices.IsSortedFunc(pieces, func(a, b int) int { return b - a }) {
				t.Errorf("%s, int%d: pieces %v", name, bits, pieces)
			}
			for columns := range 30 {
				rest := columns - w.Tail(bits, columns)
				for _, p := range pieces {
					rest %= p
				}
				if rest != 0 {
					t.Errorf("%s, int%d: %d of %d columns are not read", name, bits, rest, columns)
				}
			}
		}
	}
}

// An input is added up where its weights are raised: with int8 all of three rows; with int4 those
// that lie in whole pieces, since the tail and an odd column lie as they are.
func TestSummedByHand(t *testing.T) {
	for _, c := range []struct {
		way                 Way
		bits, columns, want int
	}{
		{Dual, 4, 11, 8}, {Bytes, 4, 3, 0}, {Three, 4, 11, 10}, {Three, 4, 1, 0},
		{Three, 8, 11, 11}, {Dual, 8, 11, 0}, {Bytes, 8, 11, 0}, {Three, 16, 11, 0},
		{Dual, 16, 11, 0},
	} {
		if got := c.way.Summed(c.bits, c.columns); got != c.want {
			t.Errorf("%+v, int%d, %d columns: %d inputs, want %d", c.way, c.bits, c.columns, got,
				c.want)
		}
	}
}

// By hand. Two pairs in a turn: 10 rows are 5 pairs, so 2 turns of 2 pairs and one pair behind
// them, 3 bodies; 8 rows are 2 turns, 2 bodies; a single pair has no turn of two. With a loop over
// columns, and in the other ways, a turn has one group and so one body. Without rows there is none.
func TestTurnsAndBodiesByHand(t *testing.T) {
	for _, c := range []struct {
		way             Way
		rows            int
		isLooped        bool
		perTurn, bodies int
	}{
		{Dual, 10, false, 2, 3}, {Dual, 8, false, 2, 2}, {Dual, 4, false, 2, 2},
		{Dual, 2, false, 1, 1}, {Dual, 0, false, 1, 0}, {Dual, 10, true, 1, 1},
		{Bytes, 10, false, 1, 1}, {Bytes, 2, false, 1, 1}, {Bytes, 0, true, 1, 0},
		{Three, 9, false, 1, 1}, {Three, 9, true, 1, 1}, {Three, 0, false, 1, 0},
	} {
		if got := c.way.PerTurn(c.rows, c.isLooped); got != c.perTurn {
			t.Errorf("%+v, %d rows, loop %v: %d groups in a turn, want %d", c.way, c.rows,
				c.isLooped, got, c.perTurn)
		}
		if got := c.way.Bodies(c.rows, c.isLooped); got != c.bodies {
			t.Errorf("%+v, %d rows, loop %v: %d bodies, want %d", c.way, c.rows, c.isLooped, got,
				c.bodies)
		}
	}
}

// Weights of a piece lie in 32-bit words where two 16-bit numbers are multiplied at a time: the
// bits of the weights divided by those of a word. Elsewhere each row is a load, of a byte with two
// int4 weights or of one weight.
func TestReadsByHand(t *testing.T) {
	for _, c := range []struct {
		way                 Way
		bits, columns, want int
	}{
		{Dual, 4, 4, 2 * 4 * 4 / 32}, {Dual, 8, 4, 2 * 4 * 8 / 32}, {Dual, 8, 2, 2 * 2 * 8 / 32},
		{Dual, 16, 2, 2 * 2 * 16 / 32}, {Dual, 16, 1, 2}, {Bytes, 8, 1, 2},
		{Three, 4, 2, 3}, {Three, 8, 1, 3}, {Three, 16, 1, 3},
	} {
		if got := c.way.Reads(c.bits, c.columns); got != c.want {
			t.Errorf("%+v, int%d, %d columns: %d loads, want %d", c.way, c.bits, c.columns, got,
				c.want)
		}
	}
}
