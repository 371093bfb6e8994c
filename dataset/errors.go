package dataset

import "errors"

// ErrInput is the kind of every error about the content of a table or recording. In such a
// [fault.Error] Line is the line of the file, or the number of the step where the file has no
// lines, and Name names the column.
var ErrInput = errors.New("bad recording or table")

// InColumn returns the Name of a [fault.Error] about a column. It is empty for a column without a
// name: the line as a whole is meant then.
func InColumn(name string) string {
	if name == "" {
		return ""
	}
	return "column " + name
}
