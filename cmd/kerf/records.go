package main

import (
	"encoding/csv"
	"fmt"
	"io"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"kerf/exporter/report"
)

// writeRecords prints a result as CSV, unrounded: first a block of the single values, then one
// block per list, an empty line between them. The first column, section, names the field of the
// JSON;
// the others are the fields of its records. A list inside a record has a block of its own too,
// whose rows repeat the record's first field; a single record inside a record of a list has columns
// there. A list of numbers or texts is one cell, itself a line of CSV with semicolons.
func writeRecords(w io.Writer, r any) error {
	blocks := &records{}
	blocks.add("result", nil, reflect.ValueOf(r))
	out := csv.NewWriter(w)
	for i, b := range blocks.all {
		if i > 0 {
			out.Write([]string{}) // an empty line; errors are sticky and reported below
		}
		out.Write(b.head)
		out.WriteAll(b.rows)
	}
	out.Flush()
	return out.Error()
}

// records gathers the blocks of a result in the order in which they are met.
type records struct {
	all []*block
}

// block is one table of records of one kind. The first column holds the name of its section.
type block struct {
	head []string
	rows [][]string
}

// cell is one value with the name of its column.
type cell struct{ name, value string }

// block finds the block of a section, or makes one without rows.
func (r *records) block(section string, key []cell) *block {
	for _, b := range r.all {
		if b.head[0] == "section" && b.rows[0][0] == section {
			return b
		}
	}
	b := &block{head: []string{"section"}}
	for _, k := range key {
		b.head = append(b.head, k.name)
	}
	return b
}

// add puts one record into the block of a section, and its lists into blocks of their own, whose
// rows begin with the cells of key.
func (r *records) add(section string, key []cell, v reflect.Value) {
	for v.Kind() == reflect.Pointer {
		v = v.Elem()
	}
	b := r.block(section, key)
	isFirst := len(b.rows) == 0
	var cells []cell
	var lists []reflect.StructField
	for _, f := range recordFields(v.Type()) {
		name, field := fieldName(f), v.FieldByIndex(f.Index)
		switch {
		case !isRecords(field):
			cells = append(cells, cell{name, plain(field)})
		case field.Kind() == reflect.Slice || section == "result":
			lists = append(lists, f)
		default:
			cells = append(cells, recordCells(name, field)...)
		}
	}
	inner := key
	if len(cells) > 0 {
		row := []string{section}
		for _, k := range key {
			row = append(row, k.value)
		}
		for _, c := range cells {
			row = append(row, c.value)
			if isFirst {
				b.head = append(b.head, c.name)
			}
		}
		if isFirst {
			r.all = append(r.all, b)
		}
		b.rows = append(b.rows, row)
		if section != "result" {
			inner = append(append([]cell{}, key...),
				cell{section + "." + cells[0].name, cells[0].value})
		}
	}
	for _, f := range lists {
		list := v.FieldByIndex(f.Index)
		name := fieldName(f)
		if section != "result" {
			name = section + "." + name
		}
		if list.Kind() != reflect.Slice {
			if list.Kind() != reflect.Pointer || !list.IsNil() {
				r.add(name, inner, list)
			}
			continue
		}
		for j := range list.Len() {
			r.add(name, inner, list.Index(j))
		}
	}
}

// recordCells returns the values of one record under the name of the record and their own. All are
// empty where the record is null.
func recordCells(name string, v reflect.Value) []cell {
	record := v.Type()
	if v.Kind() == reflect.Pointer {
		record, v = record.Elem(), v.Elem()
	}
	var cells []cell
	for _, f := range recordFields(record) {
		c := cell{name: name + "." + fieldName(f)}
		if v.IsValid() {
			c.value = plain(v.FieldByIndex(f.Index))
		}
		cells = append(cells, c)
	}
	return cells
}

// recordFields lists the fields of a record that JSON has. The fields of a record
// that is embedded stand in its place, as in JSON.
func recordFields(t reflect.Type) []reflect.StructField {
	return slices.DeleteFunc(reflect.VisibleFields(t), func(f reflect.StructField) bool {
		return fieldName(f) == ""
	})
}

// fieldName returns the name of a field in JSON; it is empty for a field that JSON leaves out.
func fieldName(f reflect.StructField) string {
	name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
	if !f.IsExported() || name == "-" {
		return ""
	}
	return name
}

// isRecords reports whether a field holds records: a structure, or a list of them.
func isRecords(v reflect.Value) bool {
	t := v.Type()
	for t.Kind() == reflect.Slice || t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	return t.Kind() == reflect.Struct
}

// plain prints a value that is no record: numbers at full precision, lists with semicolons between
// what is quoted as in CSV where it has to be, nothing for null.
func plain(v reflect.Value) string {
	switch v.Kind() {
	case reflect.Pointer:
		if v.IsNil() {
			return ""
		}
		return plain(v.Elem())
	case reflect.Slice:
		parts := make([]string, v.Len())
		for i := range parts {
			parts[i] = plain(v.Index(i))
		}
		return semicolons(parts)
	case reflect.Float64:
		return strconv.FormatFloat(v.Float(), 'g', -1, 64)
	case reflect.String:
		return report.SafeCell(v.String())
	}
	return fmt.Sprint(v.Interface())
}

// semicolons writes texts as one line of CSV with semicolons.
func semicolons(parts []string) string {
	var b strings.Builder
	w := csv.NewWriter(&b)
	w.Comma = ';'
	w.Write(parts) // writing to memory does not fail
	w.Flush()
	return strings.TrimSuffix(b.String(), "\n")
}
