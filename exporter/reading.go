package exporter

import (
	"fmt"
	"strconv"
	"strings"
)

// choose tells which operations on rows the block needs.
func (k block) choose(c map[string]int) {
	m := k.matrix
	bits := strconv.Itoa(m.WordBits)
	c["NET_ANY_RESULT"] |= flag(m.Rescaled())
	if k.inGroups(dualLayout) > 0 {
		c["NET_ANY_ROWS"], c["NET_ROWS_W"+bits], c["NET_ANY_PAIR"] = 1, 1, 1
		c["NET_ANY_RAISED"] |= flag(m.WordBits < 16)
	}
	alone := k.inGroups(dualLayout) < len(k.rows) || k.inGroups(plainLayout) < len(k.rows)
	if alone {
		c["NET_ROW_W"+bits] = 1
		c["NET_ANY_PAIR"] |= flag(m.WordBits == 16)
	}
	if m.WordBits == 4 && (alone || m.Cols%4 > 0) {
		c["NET_ROW_W4"], c["NET_WEIGHT_W4"] = 1, 1
	}
}

// piece is a call that reads some columns.
type piece struct {
	columns, words int
	call           string // with places for index of w and of x
}

// The calls of each word width, those of most columns first.
var (
	dualPieces = map[int][]piece{
		4: {
			{4, 4, "net_four_w4(&row0, &row1, &w[%d], &x[%d]);"},
		},
		8: {
			{4, 8, "net_four_w8(&row0, &rows01, &w[%d], &x[%d]);"},
			{2, 4, "net_two_w8(&row0, &rows01, &w[%d], &x[%d]);"},
			{1, 2, "net_one_w8(&row0, &rows01, &w[%d], x[%d]);"},
		},
		16: {
			{2, 4, "net_two_w16(&row0, &row1, &w[%d], &x[%d]);"},
			{1, 2, "net_one_w16(&row0, &row1, &w[%d], x[%d]);"},
		},
	}
	plainPieces = map[int][]piece{
		4: {
			{2, 3, "net_two_w4(&sums, &w[%d], &x[%d]);"},
			{1, 3, "net_one_w4(&sums, &w[%d], x[%d]);"},
		},
		8:  {{1, 3, "net_one_w8(&sums, &w[%d], x[%d]);"}},
		16: {{1, 3, "net_one_w16(&sums, &w[%d], x[%d]);"}},
	}
)

// Columns that are read without a loop, or in one turn of it, at most. More need
// code without being faster on the first path, and registers on the second.
const (
	dualColumns  = 24
	plainColumns = 6
)

// cText collects lines of C.
type cText struct {
	strings.Builder
	indent string
}

func (c *cText) line(format string, args ...any) {
	fmt.Fprintf(c, c.indent+format+"\n", args...)
}

func (c *cText) open(format string, args ...any) {
	c.line(format, args...)
	c.indent += "    "
}

func (c *cText) close(text string) {
	c.indent = c.indent[4:]
	c.line("%s", text)
}

// function is the code that reads a block.
func (k block) function() string {
	c := &cText{}
	name := "net_" + k.prefix
	c.line("/* Rows of W v + b in the format of a pre-activation. */")
	c.line("static NET_APART void %s_rows(int16_t *result, const int16_t *v)", name)
	c.open("{")
	c.line("const %s *w = %s_w;", wordType(k.matrix), name)
	c.line("const int32_t *b = %s_b;", name)
	c.line("const uint8_t *shift = %s_shift;", name)
	c.line("uint_fast16_t left;")
	c.WriteString("#ifdef NET_DUAL\n")
	k.dual(c)
	c.WriteString("#else\n")
	k.plain(c)
	c.WriteString("#endif\n")
	c.close("}")
	c.line("")
	return c.String()
}

// turns is a loop over groups of rows; body writes one turn.
func (c *cText) turns(times, words, rows int, last bool, body func()) {
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

// dual reads two rows at a time.
func (k block) dual(c *cText) {
	m := k.matrix
	grouped := k.inGroups(dualLayout)
	// Columns with raised weights.
	raised := map[int]int{4: m.Cols / 4 * 4, 8: m.Cols / 2 * 2}[m.WordBits]
	if grouped > 0 && raised > 0 {
		c.line("const int32_t raised = %d * net_sum(v, %dU);", raise(m), raised)
	}
	c.line("")
	pairs := grouped / int(dualLayout)
	perTurn, words := 1, 2*stride(m)
	if m.Cols > dualColumns {
		c.turns(pairs, 0, 2, true, func() { k.pair(c, 0, raised) })
	} else {
		if pairs > 1 {
			perTurn = 2 // halves what the loop takes
		}
		c.turns(pairs/perTurn, perTurn*words, 2*perTurn, true, func() {
			for i := range perTurn {
				k.pair(c, i, raised)
			}
		})
		if pairs%perTurn == 1 {
			k.pair(c, 0, raised)
			if grouped < len(k.rows) {
				c.line("w += %d;", words)
				c.line("b += 2;")
				c.line("shift += 2;")
				c.line("result += 2;")
			}
		}
	}
	k.alone(c, len(k.rows)-grouped)
}

// pair reads the i-th pair of rows of a turn.
func (k block) pair(c *cText, i, raised int) {
	m := k.matrix
	first, second := 2*i, 2*i+1
	less := ""
	if raised > 0 {
		less = " - raised"
	}
	c.open("{")
	c.line("int32_t row0 = b[%d]%s;", first, less)
	upper := "row1"
	if m.WordBits == 8 {
		c.line("int64_t rows01 = row0;")
		upper = fmt.Sprintf("net_row1_w8(row0, rows01, b[%d])", second)
	} else {
		c.line("int32_t row1 = b[%d]%s;", second, less)
	}
	tail := 0
	if m.WordBits == 4 {
		tail = m.Cols % 4
	}
	k.columns(c, i*2*stride(m), m.Cols-tail, dualColumns, dualPieces[m.WordBits])
	if tail > 0 {
		at := i*2*stride(m) + m.Cols/4*4
		if m.Cols > dualColumns {
			at = 0
		}
		for r := range 2 {
			c.line("row%d = net_row_w4(row%d, &w[%d], &v[%d], %dU);", r, r, at+r*((tail+1)/2), m.Cols-tail, tail)
		}
		if m.Cols > dualColumns {
			c.line("w += %d;", (tail+1)/2*2)
		}
	}
	c.line("result[%d] = (int16_t)net_result(row0, shift[%d]);", first, first)
	c.line("result[%d] = (int16_t)net_result(%s, shift[%d]);", second, upper, second)
	c.close("}")
}

// plain reads three rows at a time.
func (k block) plain(c *cText) {
	m := k.matrix
	grouped := k.inGroups(plainLayout)
	raised := map[int]int{4: m.Cols / 2 * 2, 8: m.Cols}[m.WordBits]
	less := ""
	if grouped > 0 && raised > 0 {
		c.line("const int32_t raised = %d * net_sum(v, %dU);", raise(m), raised)
		less = " - raised"
	}
	c.line("")
	c.turns(grouped/int(plainLayout), 0, 3, true, func() {
		c.line("net_three sums;")
		c.line("")
		for r := range 3 {
			c.line("sums.row%d = NET_ROM_I32(&b[%d])%s;", r, r, less)
		}
		k.columns(c, 0, m.Cols, plainColumns, plainPieces[m.WordBits])
		if m.Cols <= plainColumns {
			c.line("w += %d;", 3*stride(m))
		}
		for r := range 3 {
			c.line("result[%d] = (int16_t)net_result(sums.row%d, NET_ROM_U8(&shift[%d]));", r, r, r)
		}
	})
	k.alone(c, len(k.rows)-grouped)
}

// alone reads the last rows one by one.
func (k block) alone(c *cText, rows int) {
	m := k.matrix
	c.turns(rows, stride(m), 1, true, func() {
		c.line("result[0] = (int16_t)net_result(net_row_w%d(NET_ROM_I32(&b[0]), w, v, %dU), NET_ROM_U8(&shift[0]));", m.WordBits, m.Cols)
	})
}

// columns reads the columns of a group of rows: without a loop if they are few,
// else the piece of most columns in turns of equal length and the rest behind
// them. With a loop w moves on, without one it stays; from: index of the first weight.
func (k block) columns(c *cText, from, columns, most int, pieces []piece) {
	w, x := from, 0
	emit := func(p piece) {
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
			emit(pieces[i])
			columns -= pieces[i].columns
		}
	}
	if columns <= most {
		if columns > 0 {
			c.line("const int16_t *const x = v;")
			c.line("")
		}
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
	c.open("do {")
	for range each {
		emit(first)
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
