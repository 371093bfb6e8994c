package dataset

import (
	"io"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"kerf/fault"
)

// column is one column of a recording that is stored column by column.
type column interface {
	Next() error             // to the next value; io.EOF behind the last
	Number() (float64, bool) // false: text, or no value
	Text() string            // empty: no value
}

// columnar reads the steps of a recording that is stored column by column. It opens the columns
// that are asked for, and no others.
type columnar struct {
	file   string
	open   map[string]func() (column, error) // by column name
	all    []string                          // column names in the order of the file
	names  []string                          // of the opened columns
	opened []column
	row    int
}

// NeedAll implements rows.
func (c *columnar) NeedAll(why string, names ...string) ([]int, error) {
	index := make([]int, len(names))
	for i, name := range names {
		open := c.open[name]
		if open == nil {
			there := slices.Sorted(maps.Keys(c.open))
			return nil, &fault.Error{Kind: ErrInput, File: c.file, Name: InColumn(name),
				Msg:  "the column is missing; there are " + ListNames(there),
				Hint: fault.DidYouMeanOr(name, there, why)}
		}
		if index[i] = slices.Index(c.names, name); index[i] >= 0 {
			continue
		}
		opened, err := open()
		if err != nil {
			return nil, err
		}
		index[i] = len(c.names)
		c.names, c.opened = append(c.names, name), append(c.opened, opened)
	}
	return index, nil
}

// Columns implements rows.
func (c *columnar) Columns() []string { return c.all }

// HasColumn implements rows.
func (c *columnar) HasColumn(name string) bool { return c.open[name] != nil }

// Next implements rows.
func (c *columnar) Next() (bool, error) {
	ended := 0
	for _, column := range c.opened {
		err := column.Next()
		if err == io.EOF { // not one that is the cause of another error
			ended++
		} else if err != nil {
			return false, err
		}
	}
	switch ended {
	case 0:
		c.row++
		return true, nil
	case len(c.opened):
		return false, nil
	}
	return false,
		&fault.Error{Kind: ErrInput, File: c.file,
			Msg:  "only some of its columns have a step " + strconv.Itoa(c.row+1),
			Hint: "all columns of a recording have the same length"}
}

// Row implements rows.
func (c *columnar) Row() int { return c.row }

// Text implements rows.
func (c *columnar) Text(column int) string { return strings.TrimSpace(c.opened[column].Text()) }

// Number implements rows.
func (c *columnar) Number(column int) (float64, error) {
	v, ok := c.opened[column].Number()
	if !ok {
		text := c.Text(column)
		if text == "" {
			return 0, c.Fail(column, "there is no value", gapHint)
		}
		return 0, c.Fail(column, quoted(text)+" is text, not a number",
			"store the column as numbers")
	}
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, c.Fail(column, strconv.FormatFloat(v, 'g', -1, 64)+" is not a finite number",
			gapHint)
	}
	if math.Abs(v) > largestNumber {
		return 0, c.Fail(column,
			strconv.FormatFloat(v, 'g', -1, 64)+" is beyond what float32 holds", rangeHint)
	}
	return v, nil
}

// Fail implements rows.
func (c *columnar) Fail(column int, msg, hint string) error {
	return &fault.Error{Kind: ErrInput, File: c.file, Line: c.row,
		Name: InColumn(c.names[column]), Msg: msg, Hint: hint}
}
