package dataset

import (
	"archive/zip"
	"compress/gzip"
	"fmt"
	"io"
	"strings"

	"kerf/fault"
	"kerf/model"
)

// ReadRecording reads one recording of the given size in bytes. The end of its name says the
// format: .csv.gz, .npz and .parquet, and CSV for all other names. Every format has the columns
// that [ReadCSV] describes. In an .npz file every column is an array of one dimension, in a
// .parquet file a column that is neither nested nor repeated. The file is read step by step: memory
// holds the sequences, a buffer for the longest of them, and small buffers per column. Packed files
// may unpack to [model.MaxUnpacked] bytes.
//
// Errors about the content are of kind [ErrInput], in .npz files also of the kinds of package
// model; in files without lines the line of an error is the number of the step.
func ReadRecording(r io.ReaderAt, size int64, file string, features []string,
	reference Reference) (*Recordings, error) {
	t, err := openRows(r, size, file)
	if err != nil {
		return nil, err
	}
	return readRows(t, file, features, reference)
}

// openRows opens a recording by the end of its name.
func openRows(r io.ReaderAt, size int64, file string) (rows, error) {
	content := io.NewSectionReader(r, 0, size)
	switch lower := strings.ToLower(file); {
	case strings.HasSuffix(lower, ".gz"):
		unpacked, err := gzip.NewReader(content)
		if err != nil {
			return nil, unpackError(file, err)
		}
		return openCSV(&counted{&unpacking{unpacked, file}, newAllowance(file, size)}, file)
	case strings.HasSuffix(lower, ".npz"):
		return openNPZ(content, size, file)
	case strings.HasSuffix(lower, ".parquet"):
		return openParquet(content, size, file)
	}
	return openCSV(content, file)
}

// openNPZ finds the arrays of an .npz archive.
func openNPZ(r io.ReaderAt, size int64, file string) (rows, error) {
	archive, err := zip.NewReader(r, size)
	if err != nil {
		return nil, &fault.Error{Kind: ErrInput, File: file,
			Msg:   fmt.Sprintf("cannot be read as a zip archive: %v", err),
			Hint:  "write it with numpy.savez(file, **columns), and copy it completely",
			Cause: err}
	}
	c := &columnar{file: file, open: map[string]func() (column, error){}}
	left := newAllowance(file, size)
	for _, member := range archive.File {
		name := strings.TrimSuffix(member.Name, ".npy")
		if c.open[name] != nil {
			return nil, &fault.Error{Kind: ErrInput, File: file, Name: InColumn(name),
				Msg:  "the array stands twice in the archive",
				Hint: "write it with numpy.savez(file, **columns)"}
		}
		c.all = append(c.all, name)
		c.open[name] = func() (column, error) {
			content, err := member.Open()
			if err != nil {
				return nil, &fault.Error{Kind: ErrInput, File: file, Name: InColumn(name),
					Msg:   fmt.Sprintf("cannot be unpacked: %v", err),
					Hint:  "write the file with numpy.savez or numpy.savez_compressed",
					Cause: err}
			}
			return model.OpenNPYColumn(&counted{content, left}, file, name)
		}
	}
	return c, nil
}
