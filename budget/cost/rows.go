package cost

import "kerf/quant/rows"

// readRows counts the function that reads the rows of a matrix. Biases, which a shape does not
// show, count as 0 where they decide whether rows are read together.
func (c *counter) readRows(m matrix) function {
	f := newFunction()
	of := func(t task) kernel { return kernel{task: t, bits: m.bits} }
	f.add(of(rowsCall), 1, 1)
	together := c.way.Together(m.rows, m.bits, m.columns, 0)
	groups, left := together/c.way.Rows, m.rows-together
	tail := c.way.Tail(m.bits, m.columns)
	grouped := m.columns - tail // columns that are read for all rows of a group
	if summed := c.way.Summed(m.bits, m.columns); groups > 0 && summed > 0 {
		call, column := of(sumCall), of(sumColumn)
		call.isInside = c.isInside[routine{does: addInputs}]
		column.isInside = call.isInside
		f.add(call, 1, 1)
		f.time.add(column, summed)
	}
	isLooped := grouped > c.way.Straight
	bodies := c.way.Bodies(together, isLooped)
	if turns := groups / max(1, c.way.PerTurn(together, isLooped)); turns > 1 {
		f.add(of(groupTurn), turns, 1)
	}
	f.add(of(group), groups, bodies)
	if groups == 1 {
		f.add(of(singleGroup), 1, 1)
	}
	f.flashReads += 2 * m.rows // biases and shifts
	widest := c.way.Pieces(m.bits)[0]
	rest := grouped
	if isLooped {
		turns := (grouped + c.way.Straight - 1) / c.way.Straight
		each := grouped / widest / turns // calls in one turn
		call := kernel{task: columnCall, bits: m.bits, columns: widest}
		f.add(of(columnLoop), groups, bodies)
		f.time.add(of(columnTurn), groups*turns)
		f.add(call, groups*turns*each, bodies*each)
		f.flashReads += groups * turns * each * c.way.Reads(m.bits, widest)
		rest -= turns * each * widest
	}
	for _, columns := range c.way.Pieces(m.bits) {
		call := kernel{task: columnCall, bits: m.bits, columns: columns}
		switch {
		case c.way == rows.Bytes:
			call.isInside = columns > 1 && m.bits != 8 &&
				c.isInside[routine{readColumns, m.bits}]
		case m.columns <= c.way.Kept:
			call.form = kept
		case !isLooped:
			call.form = straight
		}
		calls := rest / columns
		f.flashReads += groups * calls * c.way.Reads(m.bits, columns)
		f.time.add(call, groups*calls)
		if c.way == rows.Bytes && m.bits == 8 && columns == rows.BytePair {
			f.code.add(call, min(bodies, bodies*rest/columns)) // one call reads all pairs
		} else {
			f.code.add(call, bodies*calls)
		}
		rest %= columns
	}
	if tail > 0 {
		inTail := of(tailRow)
		inTail.isInside = c.isInside[routine{readRow, 4}]
		f.add(inTail, groups*c.way.Rows, bodies)
		f.time.add(of(tailColumn), groups*c.way.Rows*tail)
		f.flashReads += groups * c.way.Rows * tail
	}
	if left > 0 {
		alone := of(row)
		alone.isInside = c.isInside[routine{readRow, m.bits}]
		f.add(of(leftRows), 1, 1)
		f.add(alone, left, 1)
		c.addColumns(f, alone, left, m.columns)
		f.flashReads += left * m.columns
		if left == 1 {
			f.add(of(leftOne), 1, 1)
		}
		if groups == 0 {
			f.add(of(leftAlone), 1, 1)
		}
		if m.bits == 8 && m.columns%4 != 0 && alone.isInside {
			f.add(of(leftRest), left, 1)
		}
	}
	if c.way == rows.Bytes {
		f.time[of(rowBit)] += float64(float64(m.rows) * m.shifted)
	}
	return f
}

// addColumns counts the turns of the loops over the columns of n rows that are read alone. They
// are the same whether the routine stands in its caller or not.
func (c *counter) addColumns(f function, alone kernel, n, columns int) {
	four, column := alone, alone
	four.task, four.isInside = rowFour, false
	column.task, column.isInside = rowColumn, false
	if alone.bits == 8 || alone.bits == 16 && c.way == rows.Dual { // four at a time
		f.time.add(four, n*(columns/4))
		columns %= 4
	}
	f.time.add(column, n*columns)
}
