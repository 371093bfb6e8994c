package dataset

import (
	"io"
	"strings"
)

// Columns lists the columns of a recording, as [ReadRecording] reads it, in the order of the file.
// Errors are those of ReadRecording.
func Columns(r io.ReaderAt, size int64, file string) ([]string, error) {
	t, err := openRows(r, size, file)
	if err != nil {
		return nil, err
	}
	return t.Columns(), nil
}

// DistinctTexts lists the different texts in one column of a recording, in the order of their first
// row, and stops after limit of them. Errors are those of [ReadRecording].
func DistinctTexts(r io.ReaderAt, size int64, file, column string, limit int) ([]string, error) {
	t, err := openRows(r, size, file)
	if err != nil {
		return nil, err
	}
	index, err := t.NeedAll("the column is to be read", column)
	if err != nil {
		return nil, err
	}
	var texts []string
	seen := map[string]bool{}
	for len(texts) < limit {
		ok, err := t.Next()
		if err != nil || !ok {
			return texts, err
		}
		if text := t.Text(index[0]); !seen[text] {
			seen[text] = true
			// a copy, so that the row is not kept in memory
			texts = append(texts, strings.Clone(text))
		}
	}
	return texts, nil
}
