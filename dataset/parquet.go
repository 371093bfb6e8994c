package dataset

import (
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/deprecated"
	"github.com/parquet-go/parquet-go/format"

	"kerf/fault"
)

const parquetHint = "write a flat table of numbers and names; is the file complete?"

// openParquet finds the columns of a .parquet file; their data are checked and read when they are
// opened.
func openParquet(r io.ReaderAt, size int64, file string) (c *columnar, err error) {
	defer recoverParquet(file, &err)
	if err := checkParquetFooter(r, size); err != nil {
		return nil, parquetError(file, err)
	}
	f, err := parquet.OpenFile(r, size, parquet.SkipPageIndex(true), parquet.SkipBloomFilters(true),
		parquet.ReadBufferSize(1<<16))
	if err != nil {
		return nil, parquetError(file, err)
	}
	c = &columnar{file: file, open: map[string]func() (column, error){}}
	left := newAllowance(file, size)
	for _, leaf := range f.Root().Columns() {
		name := leaf.Name()
		if c.open[name] != nil {
			return nil, &fault.Error{Kind: ErrInput, File: file, Name: InColumn(name),
				Msg: "the column stands twice in the file", Hint: "remove or rename one of them"}
		}
		c.all = append(c.all, name)
		c.open[name] = func() (_ column, err error) {
			defer recoverParquet(file, &err)
			if !leaf.Leaf() || leaf.Repeated() {
				return nil, &fault.Error{Kind: ErrInput, File: file, Name: InColumn(name),
					Msg: "holds lists or records", Hint: parquetHint}
			}
			number := numberOf(leaf.Type())
			if number == nil && leaf.Type().Kind() != parquet.ByteArray {
				return nil, &fault.Error{Kind: ErrInput, File: file, Name: InColumn(name),
					Msg:  "has the type " + leaf.Type().String() + ", which is not read",
					Hint: "store the column as float, double or whole numbers, names as strings"}
			}
			if err := checkParquetPages(r, size, f, int(leaf.Index()), left); err != nil {
				return nil, parquetError(file, err)
			}
			return &parquetColumn{file: file, groups: f.RowGroups(), leaf: leaf.Index(),
				number: number}, nil
		}
	}
	return c, nil
}

func parquetError(file string, err error) error {
	if known := new(fault.Error); errors.As(err, &known) {
		return known
	}
	return &fault.Error{Kind: ErrInput, File: file,
		Msg: fmt.Sprintf("cannot be read as Parquet: %v", err), Hint: parquetHint, Cause: err}
}

// recoverParquet turns a panic of the library, which damaged files can cause, into an error.
func recoverParquet(file string, err *error) {
	if p := recover(); p != nil {
		*err = parquetError(file, fmt.Errorf("%v", p))
	}
}

// numberOf returns how the values of a type become numbers. It is nil for types that do not: text,
// and numbers that would need a scale or more bits than float64 has.
func numberOf(t parquet.Type) func(v parquet.Value) float64 {
	unsigned := false
	if logical := t.LogicalType(); logical != nil {
		switch kind := logical.Value.(type) {
		case *format.DecimalType:
			return nil
		case *format.IntType:
			unsigned = !kind.IsSigned
		}
	}
	if converted := t.ConvertedType(); converted != nil && *converted == deprecated.Decimal {
		return nil
	}
	switch t.Kind() {
	case parquet.Boolean:
		return func(v parquet.Value) float64 {
			if v.Boolean() {
				return 1
			}
			return 0
		}
	case parquet.Int32:
		if unsigned {
			return func(v parquet.Value) float64 { return float64(v.Uint32()) }
		}
		return func(v parquet.Value) float64 { return float64(v.Int32()) }
	case parquet.Int64:
		if unsigned {
			return func(v parquet.Value) float64 { return float64(v.Uint64()) }
		}
		return func(v parquet.Value) float64 { return float64(v.Int64()) }
	case parquet.Float:
		return func(v parquet.Value) float64 { return float64(v.Float()) }
	case parquet.Double:
		return func(v parquet.Value) float64 { return v.Double() }
	}
	return nil
}

// parquetColumn reads a column page by page through all row groups.
type parquetColumn struct {
	file   string
	groups []parquet.RowGroup // not yet begun
	leaf   int
	number func(v parquet.Value) float64 // nil for text

	pages  parquet.Pages
	page   parquet.Page
	values parquet.ValueReader
	buffer [256]parquet.Value
	filled []parquet.Value // not yet taken
	value  parquet.Value
	text   string // of the last value that was asked for
}

// Next implements column.
func (p *parquetColumn) Next() error {
	for len(p.filled) == 0 {
		if err := p.fill(); err != nil {
			return err
		}
	}
	p.value, p.filled = p.filled[0], p.filled[1:]
	return nil
}

// fill reads some values, or opens the next page or row group. It returns io.EOF behind the last.
func (p *parquetColumn) fill() (err error) {
	defer recoverParquet(p.file, &err)
	switch {
	case p.values != nil:
		n, err := p.values.ReadValues(p.buffer[:])
		p.filled = p.buffer[:n]
		if errors.Is(err, io.EOF) {
			p.values, err = nil, nil
		}
		if err != nil {
			return parquetError(p.file, err)
		}
	case p.pages != nil:
		if p.page != nil {
			parquet.Release(p.page)
		}
		if p.page, err = p.pages.ReadPage(); errors.Is(err, io.EOF) {
			err, p.page = p.pages.Close(), nil
			p.pages = nil
		}
		if err != nil {
			return parquetError(p.file, err)
		}
		if p.page != nil {
			p.values = p.page.Values()
		}
	case len(p.groups) > 0:
		p.pages = p.groups[0].ColumnChunks()[p.leaf].Pages()
		p.groups = p.groups[1:]
	default:
		return io.EOF
	}
	return nil
}

// Number implements column.
func (p *parquetColumn) Number() (float64, bool) {
	if p.number == nil || p.value.IsNull() {
		return 0, false
	}
	return p.number(p.value), true
}

// Text implements column.
func (p *parquetColumn) Text() string {
	if p.value.IsNull() {
		return ""
	}
	if v, ok := p.Number(); ok {
		return strconv.FormatFloat(v, 'f', -1, 64)
	}
	if raw := p.value.ByteArray(); string(raw) != p.text { // neighbours are mostly equal
		p.text = strings.Clone(string(raw))
	}
	return p.text
}
