package cost

import "kerf/quant/rows"

// readRows counts the function that reads the rows of a matrix, which calls a kernel in assembler
// or, in the small form, plain C.
func (c *counter) readRows(m matrix) function {
	f := newFunction()
	of := func(t task) kernel { return kernel{task: t, bits: m.bits, isHead: m.isHead} }
	groups, tiles := rows.Groups(m.rows), rows.Tiles(m.columns)
	f.add(of(rowsCall), 1, 1)
	if c.form == Small {
		f.flashReads += groups * (groupReads + m.columns*columnReads(m.bits))
		f.time.add(of(group), groups)
		f.time.add(of(column), groups*m.columns)
		if known, is := c.columnKind(m); is {
			f.time.add(of(known), groups*m.columns)
		}
		return f
	}
	if c.way.IsRaised(m.bits) {
		f.time.add(kernel{task: sumColumn}, m.columns)
	}
	f.flashReads += groups * (groupReads + tiles*c.tileReads(m.bits))
	turns, _, _ := c.way.Turns(m.bits, m.columns, m.isHead)
	if c.way.Name == rows.RV32IM.Name && !m.isHead {
		threes := groups / 3
		f.time.add(of(threeGroups), threes)
		f.time.add(of(threeTiles), threes*tiles)
		groups %= 3
	}
	f.time.add(of(group), groups)
	f.time.add(of(tile), groups*tiles)
	if turns > 0 && c.way.Straight > 0 {
		f.time.add(of(tileLoop), groups)
		f.time.add(of(tileTurn), groups*turns)
	}
	if c.isAVR() && !m.isHead {
		f.time[of(rowBit)] += float64(float64(m.rows) * m.shifted)
	}
	return f
}

// groupReads are the constants that reading a group takes beside its tiles: biases and shifts.
const groupReads = 2 * rows.Group

// tileReads returns the loads of weights that reading a tile takes.
func (c *counter) tileReads(bits int) int {
	if bits == 4 || c.way.Name == rows.ARMv7EM.Name {
		return (rows.TileBytes(bits) + 3) / 4 // words
	}
	return rows.Group * rows.Tile
}

// columnKind returns what plain C has in place of the usual columns of a matrix, if anything: the
// compiler puts the number of groups into a function that is called with one number only.
func (c *counter) columnKind(m matrix) (kind task, is bool) {
	groups := rows.Groups(m.rows)
	eachMatrix(c.shape, func(other matrix) {
		if other.bits == m.bits && other.columns == m.columns && other.isHead == m.isHead &&
			rows.Groups(other.rows) != groups {
			kind, is = columnOfAny, true
		}
	})
	if !is && groups == 1 && !m.isHead {
		return columnOf1, true
	}
	return kind, is
}

// columnReads returns the loads of weights that plain C takes for a column of a group.
func columnReads(bits int) int {
	if bits == 4 {
		return rows.Group / 2 // bytes, of two rows each
	}
	return rows.Group
}

// kernelCode counts the code of the kernels in assembler that a network needs, or of the functions
// in plain C, each once.
func (c *counter) kernelCode(code runs) {
	type reader struct {
		bits, columns int
		isHead        bool
	}
	known := map[reader]bool{}
	eachMatrix(c.shape, func(m matrix) {
		r := reader{m.bits, m.columns, m.isHead}
		if c.form == Fast && c.way.Straight == 0 {
			r.columns = 0 // one function for all
		}
		if known[r] {
			return
		}
		known[r] = true
		of := func(t task) kernel { return kernel{task: t, bits: m.bits, isHead: m.isHead} }
		code.add(of(group), 1)
		if kind, is := c.columnKind(m); c.form == Small && is {
			code.add(of(kind), 1)
		}
		if c.way.Straight > 0 {
			turns, each, rest := c.way.Turns(m.bits, m.columns, m.isHead)
			code.add(of(tile), each+rest)
			if turns > 0 {
				code.add(of(tileLoop), 1)
			}
		}
	})
}
