package dataset

import (
	"bufio"
	"encoding/csv"
	"errors"
	"io"
	"math"
	"strconv"
	"strings"

	"kerf/fault"
)

// Table reads a CSV file with a header line, row by row. It trims white space off cells. Errors
// about the content are of kind [ErrInput], with line and column; errors of the reader itself are
// returned unchanged.
type Table struct {
	Line    int    // of the present row, 1-based
	GapHint string // hint of errors about a missing or non-finite number

	file    string
	csv     *csv.Reader
	record  *recordLimit
	columns map[string]int
	header  []string
	row     []string
}

// OpenTable reads the header; file is used in errors only. A byte-order mark of UTF-8 is skipped.
func OpenTable(r io.Reader, file string) (*Table, error) {
	record := &recordLimit{Reader: r}
	record.begin()
	buffered := bufio.NewReaderSize(record, 1<<16)
	// byte-order mark of UTF-16
	if mark, err := buffered.Peek(2); err == nil &&
		(string(mark) == "\xff\xfe" || string(mark) == "\xfe\xff") {
		return nil, &fault.Error{Kind: ErrInput, File: file, Line: 1,
			Msg: "the file is UTF-16, not UTF-8", Hint: "save it as CSV in UTF-8"}
	}
	if mark, err := buffered.Peek(3); err == nil && string(mark) == "\xef\xbb\xbf" {
		if _, err := buffered.Discard(3); err != nil {
			return nil, err
		}
	}
	t := &Table{GapHint: "write a finite number", file: file, csv: csv.NewReader(buffered),
		record: record, columns: map[string]int{}}
	t.csv.ReuseRecord = true
	header, err := t.csv.Read()
	if errors.Is(err, io.EOF) {
		return nil, &fault.Error{Kind: ErrInput, File: file, Msg: "the file is empty",
			Hint: "the first line names the columns"}
	}
	if err != nil {
		return nil, t.syntax(err)
	}
	t.Line = 1
	if separator := strings.IndexAny(header[0], ";\t"); len(header) == 1 && separator >= 0 {
		return nil, &fault.Error{Kind: ErrInput, File: file, Line: 1,
			Msg: "the columns are separated by " + quoted(header[0][separator:separator+1]) +
				", not by commas",
			Hint: "save it with commas between the columns and a decimal point in numbers"}
	}
	for i, name := range header {
		name = strings.TrimSpace(name)
		if _, twice := t.columns[name]; twice {
			return nil, &fault.Error{Kind: ErrInput, File: file, Line: 1, Name: InColumn(name),
				Msg: "the column stands twice in the header", Hint: "remove or rename one of them"}
		}
		t.columns[name] = i
		t.header = append(t.header, name)
	}
	return t, nil
}

// syntax turns an error of the CSV reader into one of kind [ErrInput] with its line; other errors
// are returned unchanged.
func (t *Table) syntax(err error) error {
	if errors.Is(err, errLongRecord) {
		return &fault.Error{Kind: ErrInput, File: t.file, Line: t.Line + 1,
			Msg:   "the line has more than " + strconv.Itoa(longestRecord) + " bytes",
			Hint:  "is a line end or a closing quote missing? kerf reads one line per step",
			Cause: err}
	}
	var parse *csv.ParseError
	if !errors.As(err, &parse) {
		return err
	}
	if errors.Is(parse.Err, csv.ErrFieldCount) {
		return &fault.Error{Kind: ErrInput, File: t.file, Line: parse.Line,
			Msg: "the line has another number of cells than the header (" +
				strconv.Itoa(len(t.header)) + ")",
			Hint:  "separate cells by one comma and write numbers with a decimal point",
			Cause: err}
	}
	return &fault.Error{Kind: ErrInput, File: t.file, Line: parse.Line, Msg: parse.Err.Error(),
		Hint: "kerf reads comma-separated files with a header line", Cause: err}
}

// Need returns the index of a column. It returns an error with the hint why if the column is
// missing.
func (t *Table) Need(name, why string) (int, error) {
	i, ok := t.columns[name]
	if !ok {
		return 0, &fault.Error{Kind: ErrInput, File: t.file, Line: 1, Name: InColumn(name),
			Msg: "the column is missing", Hint: fault.DidYouMeanOr(name, t.header, why)}
	}
	return i, nil
}

// NeedAll does what [Table.Need] does, for several columns.
func (t *Table) NeedAll(why string, names ...string) ([]int, error) {
	index := make([]int, len(names))
	for i, name := range names {
		var err error
		if index[i], err = t.Need(name, why); err != nil {
			return nil, err
		}
	}
	return index, nil
}

// Has returns the index of a column that may be missing, and reports whether it is there.
func (t *Table) Has(name string) (int, bool) {
	i, ok := t.columns[name]
	return i, ok
}

// Columns lists the names in the header.
func (t *Table) Columns() []string { return t.header }

// HasColumn reports whether there is a column of this name.
func (t *Table) HasColumn(name string) bool {
	_, ok := t.Has(name)
	return ok
}

// Next moves to the next row and reports whether there is one.
func (t *Table) Next() (bool, error) {
	t.record.begin()
	row, err := t.csv.Read()
	if errors.Is(err, io.EOF) {
		return false, nil
	}
	if err != nil {
		return false, t.syntax(err)
	}
	t.row = row
	t.Line, _ = t.csv.FieldPos(0)
	return true, nil
}

// Row returns the line of the present row, 1-based.
func (t *Table) Row() int { return t.Line }

// Text returns a cell of the present row.
func (t *Table) Text(column int) string { return strings.TrimSpace(t.row[column]) }

// Number returns a cell of the present row as a number. It returns an error if the cell is not
// finite or beyond 1e30.
func (t *Table) Number(column int) (float64, error) {
	cell := t.Text(column)
	if cell == "" {
		return 0, t.Fail(column, "the cell is empty", t.GapHint)
	}
	v, err := strconv.ParseFloat(cell, 64)
	// ParseFloat also reads groups of digits and hexadecimal numbers
	if err != nil || strings.ContainsAny(cell, "_xX") {
		return 0, t.fail(column, quoted(cell)+" is not a number",
			"write numbers with a decimal point, without unit and without thousands separator").
			From(err)
	}
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, t.Fail(column, cell+" is not a finite number", t.GapHint)
	}
	if math.Abs(v) > largestNumber {
		return 0, t.Fail(column, quoted(cell)+" is beyond what float32 holds", rangeHint)
	}
	return v, nil
}

// largestNumber keeps values, their means and scales, and the quotients of these within float32, in
// which the emitted encode computes (the largest float32 is 3.4e38), and the sums of their squares
// within float64.
const largestNumber = 1e30

// rangeHint is the advice for a number beyond [largestNumber].
const rangeHint = "is it a code for a missing value? else choose a unit in which the values are " +
	"nearer to 1"

// Fail returns an error of kind [ErrInput] about a cell of the present row.
func (t *Table) Fail(column int, msg, hint string) error { return t.fail(column, msg, hint) }

func (t *Table) fail(column int, msg, hint string) *fault.Error {
	return &fault.Error{Kind: ErrInput, File: t.file, Line: t.Line,
		Name: InColumn(t.header[column]), Msg: msg, Hint: hint}
}
