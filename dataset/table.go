package dataset

import (
	"bufio"
	"encoding/csv"
	"errors"
	"io"
	"math"
	"strconv"
	"strings"
)

// table reads a CSV file with a header line, row by row, and knows the place of
// everything it hands out.
type table struct {
	file    string
	csv     *csv.Reader
	columns map[string]int
	header  []string
	row     []string
	line    int
}

// openTable reads the header. A byte-order mark before it is skipped.
func openTable(r io.Reader, file string) (*table, error) {
	buffered := bufio.NewReaderSize(r, 1<<16)
	if mark, err := buffered.Peek(3); err == nil && string(mark) == "\xef\xbb\xbf" {
		if _, err := buffered.Discard(3); err != nil {
			return nil, err
		}
	}
	t := &table{file: file, csv: csv.NewReader(buffered), columns: map[string]int{}}
	t.csv.ReuseRecord = true
	header, err := t.csv.Read()
	if errors.Is(err, io.EOF) {
		return nil, &InputError{File: file, Msg: "the file is empty", Hint: "the first line names the columns"}
	}
	if err != nil {
		return nil, t.syntax(err)
	}
	for i, name := range header {
		name = strings.TrimSpace(name)
		if _, twice := t.columns[name]; twice {
			return nil, &InputError{File: file, Line: 1, Column: name, Msg: "the column stands twice in the header", Hint: "remove or rename one of them"}
		}
		t.columns[name] = i
		t.header = append(t.header, name)
	}
	return t, nil
}

func (t *table) syntax(err error) error {
	var parse *csv.ParseError
	if !errors.As(err, &parse) {
		return err
	}
	if errors.Is(parse.Err, csv.ErrFieldCount) {
		return &InputError{File: t.file, Line: parse.Line, Msg: "the line has another number of cells than the header (" + strconv.Itoa(len(t.header)) + ")", Hint: "separate cells by one comma and write numbers with a decimal point"}
	}
	return &InputError{File: t.file, Line: parse.Line, Msg: parse.Err.Error(), Hint: "kerf reads comma-separated files with a header line"}
}

// need returns the index of a column that must be there.
func (t *table) need(name, why string) (int, error) {
	i, ok := t.columns[name]
	if !ok {
		return 0, &InputError{File: t.file, Line: 1, Column: name, Msg: "the column is missing", Hint: why}
	}
	return i, nil
}

// next moves to the next row and says whether there was one.
func (t *table) next() (bool, error) {
	row, err := t.csv.Read()
	if errors.Is(err, io.EOF) {
		return false, nil
	}
	if err != nil {
		return false, t.syntax(err)
	}
	t.row = row
	t.line, _ = t.csv.FieldPos(0)
	return true, nil
}

func (t *table) text(column int) string { return strings.TrimSpace(t.row[column]) }

// number reads a finite number.
func (t *table) number(column int) (float64, error) {
	cell := t.text(column)
	if cell == "" {
		return 0, t.fail(column, "the cell is empty", "every step needs a value; remove the step and start a new sequence after it, or fill the gap before kerf reads it")
	}
	v, err := strconv.ParseFloat(cell, 64)
	if err != nil {
		return 0, t.fail(column, strconv.Quote(cell)+" is not a number", "write numbers with a decimal point, without unit and without thousands separator")
	}
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, t.fail(column, cell+" is not a finite number", "remove the step and start a new sequence after it, or fill the gap before kerf reads it")
	}
	return v, nil
}

func (t *table) fail(column int, msg, hint string) error {
	return &InputError{File: t.file, Line: t.line, Column: t.header[column], Msg: msg, Hint: hint}
}
