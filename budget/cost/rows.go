package cost

import "kerf/quant/rows"

// readRows counts the function that reads the rows of a matrix, which calls a kernel in assembler.
func (c *counter) readRows(m matrix) function {
	f := newFunction()
	of := func(t task) kernel { return kernel{task: t, bits: m.bits, isHead: m.isHead} }
	groups, tiles := rows.Groups(m.rows), rows.Tiles(m.columns)
	f.add(of(rowsCall), 1, 1)
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

// kernelCode counts the code of the kernels in assembler that a network needs, each once.
func (c *counter) kernelCode(code runs) {
	type reader struct {
		bits, columns int
		isHead        bool
	}
	known := map[reader]bool{}
	eachMatrix(c.shape, func(m matrix) {
		r := reader{m.bits, m.columns, m.isHead}
		if c.way.Straight == 0 {
			r.columns = 0 // one function for all
		}
		if known[r] {
			return
		}
		known[r] = true
		of := func(t task) kernel { return kernel{task: t, bits: m.bits, isHead: m.isHead} }
		code.add(of(group), 1)
		if c.way.Straight > 0 {
			turns, each, rest := c.way.Turns(m.bits, m.columns, m.isHead)
			code.add(of(tile), each+rest)
			if turns > 0 {
				code.add(of(tileLoop), 1)
			}
		}
	})
}
