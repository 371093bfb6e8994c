package emit

import (
	"fmt"
	"strings"

	"kerf/quant/rows"
)

// piece is a call of the C that reads some columns of a group of rows, see [rows.Way.Pieces].
type piece struct {
	columns int
	words   int    // elements of the weight array
	call    string // format with the index of the first weight and of the first input
}

// twoRowPieces and threeRowPieces are the calls by word width, those of most columns first.
var (
	twoRowPieces = map[int][]piece{
		4: {
			{4, 4, "net_four_w4(&row0, &row1, &w[%d], &x[%d]);"},
		},
		8: {
			{4, 8, "net_four_w8(&sums, &w[%d], &x[%d]);"},
			{2, 4, "net_two_w8(&sums, &w[%d], &x[%d]);"},
			{1, 2, "net_one_w8(&sums, &w[%d], x[%d]);"},
		},
		16: {
			{2, 4, "net_two_w16(&row0, &row1, &w[%d], &x[%d]);"},
			{1, 2, "net_one_w16(&row0, &row1, &w[%d], x[%d]);"},
		},
	}
	threeRowPieces = map[int][]piece{
		4: {
			{2, 3, "net_two_w4(&sums, &w[%d], &x[%d]);"},
			{1, 3, "net_one_w4(&sums, &w[%d], x[%d]);"},
		},
		8:  {{1, 3, "net_one_w8(&sums, &w[%d], x[%d]);"}},
		16: {{1, 3, "net_one_w16(&sums, &w[%d], x[%d]);"}},
	}
)

// bytePieces returns the calls where int8 weights and inputs are multiplied byte by byte: one call
// reads all columns but the odd one.
func bytePieces(columns int) []piece {
	even := columns / 2 * 2
	most := piece{even, 2 * even,
		fmt.Sprintf("net_columns_w8(&sums, &w[%%d], &x[%%d], %dU);", even)}
	odd := twoRowPieces[8][2]
	if even == 0 {
		return []piece{odd}
	}
	return []piece{most, odd}
}

// cText collects lines of C.
type cText struct {
	strings.Builder
	indent string
}

// line writes a line with the present indentation.
func (c *cText) line(format string, args ...any) {
	if format == "" {
		c.WriteByte('\n')
		return
	}
	fmt.Fprintf(c, c.indent+format+"\n", args...)
}

// open writes a line that opens a block of C.
func (c *cText) open(format string, args ...any) {
	c.line(format, args...)
	c.indent += "    "
}

// close writes the line that closes a block of C.
func (c *cText) close(text string) {
	c.indent = c.indent[4:]
	c.line("%s", text)
}

// inEachWay returns the C function that reads a block, in the order of ways.
func (k block) inEachWay() [3]string {
	pieces := twoRowPieces[k.matrix.WordBits]
	byteWise := pieces
	if k.matrix.WordBits == 8 {
		byteWise = bytePieces(k.matrix.Cols)
	}
	return [3]string{
		k.function(func(c *cText) { k.two(c, rows.Dual, pieces) }),
		k.function(func(c *cText) { k.two(c, rows.Bytes, byteWise) }),
		k.function(k.three),
	}
}

// function returns the C function that reads a block; body writes its statements.
func (k block) function(body func(*cText)) string {
	c := &cText{}
	name := "net_" + k.prefix
	c.line("/* Rows of W v + b in the format of a pre-activation. */")
	c.line("static NET_APART void %s_rows(int16_t *result, const int16_t *v)", name)
	c.open("{")
	c.line("const %s *w = %s_w;", wordType(k.matrix), name)
	c.line("const int32_t *b = %s_b;", name)
	c.line("const uint8_t *shift = %s_shift;", name)
	inner := &cText{indent: c.indent}
	body(inner)
	text := inner.String()
	if strings.Contains(text, "left") {
		c.line("uint_fast16_t left;")
	}
	c.WriteString(text)
	c.close("}")
	c.line("")
	return c.String()
}

// turns writes a loop over groups of rows that turns so many times. body writes the reading of a
// turn, which has so many rows, and words elements of the weight array to be skipped behind it.
func (c *cText) turns(times, words, rows int, body func()) {
	if times == 0 {
		return
	}
	c.line("left = %dU;", times)
	c.open("do {")
	body()
	if words > 0 {
		c.line("w += %d;", words)
	}
	c.line("b += %d;", rows)
	c.line("shift += %d;", rows)
	c.line("result += %d;", rows)
	c.line("left--;")
	c.close("} while (left != 0U);")
}

// two writes the statements that read two rows at a time.
func (k block) two(c *cText, w rows.Way, pieces []piece) {
	m := k.matrix
	grouped := k.inGroups(w)
	raised := w.Summed(m.WordBits, m.Cols)
	if grouped > 0 && raised > 0 {
		c.line("const int32_t raised = %d * net_sum(v, %dU);", raise(m), raised)
	}
	c.line("")
	pairs, words := grouped/w.Rows, 2*stride(m)
	looped := m.Cols-w.Tail(m.WordBits, m.Cols) > w.Straight
	perTurn := w.PerTurn(grouped, looped)
	advance := perTurn * words
	if looped {
		advance = 0
	}
	c.turns(pairs/perTurn, advance, 2*perTurn, func() {
		for i := range perTurn {
			k.pair(c, w, i, raised, pieces)
		}
	})
	if pairs%perTurn == 1 {
		k.pair(c, w, 0, raised, pieces)
		if grouped < len(k.rows) {
			c.line("w += %d;", words)
			c.line("b += 2;")
			c.line("shift += 2;")
			c.line("result += 2;")
		}
	}
	k.alone(c, len(k.rows)-grouped)
}

// pair writes the statements that read the i-th pair of rows of a turn.
func (k block) pair(c *cText, w rows.Way, i, raised int, pieces []piece) {
	m := k.matrix
	first, second := 2*i, 2*i+1
	less := ""
	if raised > 0 {
		less = " - raised"
	}
	tail := w.Tail(m.WordBits, m.Cols)
	from, looped := i*2*stride(m), m.Cols-tail > w.Straight
	c.open("{")
	row0, row1 := "row0", "row1"
	begin := func() {}
	if m.WordBits == 8 {
		c.line("net_two_rows sums;")
		begin = func() { c.line("net_start_w8(&sums, NET_ROM_I32(&b[%d])%s);", first, less) }
		row0, row1 = "sums.row0", fmt.Sprintf("net_row1_w8(&sums, NET_ROM_I32(&b[%d]))", second)
	} else {
		c.line("int32_t row0 = NET_ROM_I32(&b[%d])%s;", first, less)
		c.line("int32_t row1 = NET_ROM_I32(&b[%d])%s;", second, less)
	}
	k.columns(c, from, m.Cols-tail, w.Straight, pieces, begin)
	if tail > 0 {
		at := from + m.Cols/4*4
		if looped {
			at = 0
		}
		for r := range 2 {
			c.line("row%d = net_row_w4(row%d, &w[%d], &v[%d], %dU);", r, r, at+r*((tail+1)/2),
				m.Cols-tail, tail)
		}
		if looped {
			c.line("w += %d;", (tail+1)/2*2)
		}
	}
	c.line("result[%d] = (int16_t)net_result(%s, NET_ROM_U8(&shift[%d]));", first, row0, first)
	c.line("result[%d] = (int16_t)net_result(%s, NET_ROM_U8(&shift[%d]));", second, row1, second)
	c.close("}")
}

// three writes the statements that read three rows at a time.
func (k block) three(c *cText) {
	m := k.matrix
	grouped := k.inGroups(rows.Three)
	raised := rows.Three.Summed(m.WordBits, m.Cols)
	less := ""
	if grouped > 0 && raised > 0 {
		c.line("const int32_t raised = %d * net_sum(v, %dU);", raise(m), raised)
		less = " - raised"
	}
	c.line("")
	c.turns(grouped/rows.Three.Rows, 0, 3, func() {
		c.line("net_three sums;")
		k.columns(c, 0, m.Cols, rows.Three.Straight, threeRowPieces[m.WordBits], func() {
			for r := range 3 {
				c.line("sums.row%d = NET_ROM_I32(&b[%d])%s;", r, r, less)
			}
		})
		if m.Cols <= rows.Three.Straight {
			c.line("w += %d;", 3*stride(m))
		}
		for r := range 3 {
			c.line("result[%d] = (int16_t)net_result(sums.row%d, NET_ROM_U8(&shift[%d]));", r, r, r)
		}
	})
	k.alone(c, len(k.rows)-grouped)
}

// alone writes the loop that reads the last rows one by one.
func (k block) alone(c *cText, rows int) {
	m := k.matrix
	c.turns(rows, stride(m), 1, func() {
		c.line("result[0] = (int16_t)net_result(net_row_w%d(NET_ROM_I32(&b[0]), w, v, %dU), "+
			"NET_ROM_U8(&shift[0]));", m.WordBits, m.Cols)
	})
}

// columns writes the calls that read the columns of a group of rows. Up to most columns are read
// without a loop; else turns of equal length call the piece of most columns, and the rest follows
// behind them. With a loop the pointer w moves on, without one it stays. from is the index of the
// first weight; begin writes the statements that follow the declarations.
func (k block) columns(c *cText, from, columns, most int, pieces []piece, begin func()) {
	w, x := from, 0
	call := func(p piece) {
		c.line(p.call, w, x)
		w += p.words
		x += p.columns
	}
	rest := func(columns int) {
		for i := 0; columns > 0; {
			if pieces[i].columns > columns {
				i++
				continue
			}
			call(pieces[i])
			columns -= pieces[i].columns
		}
	}
	if columns <= most {
		if columns > 0 {
			c.line("const int16_t *const x = v;")
		}
		c.line("")
		begin()
		rest(columns)
		return
	}
	first := pieces[0]
	fits := columns / first.columns
	turns := (columns + most - 1) / most
	each := fits / turns
	c.line("const int16_t *x = v;")
	c.line("const int16_t *const end = &v[%d];", turns*each*first.columns)
	c.line("")
	begin()
	c.open("do {")
	for range each {
		call(first)
	}
	c.line("w += %d;", w)
	c.line("x += %d;", x)
	c.close("} while (x != end);")
	w, x = 0, 0
	if left := columns - turns*each*first.columns; left > 0 {
		rest(left)
		c.line("w += %d;", w)
	}
}
