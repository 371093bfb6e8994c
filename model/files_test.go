package model

import (
	"archive/zip"
	"bytes"
	"encoding/binary"
	"testing"
)

// safetensorsFile puts the length in front of a header.
func safetensorsFile(header string, data []byte) []byte {
	file := binary.LittleEndian.AppendUint64(nil, uint64(len(header)))
	return append(append(file, header...), data...)
}

// npyFile puts magic, version and length in front of a header.
func npyFile(version byte, header string, data []byte) []byte {
	file := append([]byte("\x93NUMPY"), version, 0)
	if version == 1 {
		file = binary.LittleEndian.AppendUint16(file, uint16(len(header)+1))
	} else {
		file = binary.LittleEndian.AppendUint32(file, uint32(len(header)+1))
	}
	return append(append(append(file, header...), '\n'), data...)
}

// zipFile stores members, given as name and content in turn.
func zipFile(t testing.TB, members ...string) []byte {
	t.Helper()
	var out bytes.Buffer
	archive := zip.NewWriter(&out)
	for i := 0; i < len(members); i += 2 {
		w, err := archive.CreateHeader(&zip.FileHeader{Name: members[i], Method: zip.Store})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write([]byte(members[i+1])); err != nil {
			t.Fatal(err)
		}
	}
	if err := archive.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}
