package model

import (
	"archive/zip"
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"time"
)

// WriteNPZ writes tensors, in the order of their names, as an uncompressed .npz file: a zip archive
// with one .npy file of format version 1.0 per tensor (source: NumPy documentation of
// numpy.lib.format). The type is float32 if it holds every value of the tensor exactly, else
// float64. The same tensors give the same bytes. WriteNPZ returns an error if a shape does not fit
// its data, or if w returns one.
func WriteNPZ(w io.Writer, tensors map[string]*Tensor) error {
	archive := zip.NewWriter(w)
	for _, name := range slices.Sorted(maps.Keys(tensors)) {
		t := tensors[name]
		if count, ok := elements(t.Shape); !ok || count != len(t.Data) {
			return fmt.Errorf("tensor %q: shape %s does not fit %d values", name,
				formatShape(t.Shape), len(t.Data))
		}
		// The zip format has no date before 1980.
		member, err := archive.CreateHeader(&zip.FileHeader{Name: name + ".npy", Method: zip.Store,
			Modified: time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC)})
		if err != nil {
			return err
		}
		if _, err := member.Write(npyMember(t)); err != nil {
			return err
		}
	}
	return archive.Close()
}

// npyMember returns one tensor as an .npy file.
func npyMember(t *Tensor) []byte {
	var data bytes.Buffer
	descr := map[string]string{"F32": "<f4", "F64": "<f8"}[appendValues(&data, t.Data)]
	var shape strings.Builder
	for _, d := range t.Shape {
		fmt.Fprintf(&shape, "%d,", d)
	}
	header := fmt.Sprintf("{'descr': '%s', 'fortran_order': False, 'shape': (%s), }", descr,
		shape.String())
	const before, multiple = 10, 64 // the header with the bytes before it is a multiple of 64
	header += strings.Repeat(" ", multiple-1-(before+len(header))%multiple) + "\n"
	file := binary.LittleEndian.AppendUint16([]byte("\x93NUMPY\x01\x00"), uint16(len(header)))
	return append(append(file, header...), data.Bytes()...)
}
