package model

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"
)

func TestHostileSafetensors(t *testing.T) {
	const entry = `"dtype":"F32","shape":[2],"data_offsets":[0,8]`
	eight := make([]byte, 8)
	for _, c := range []struct {
		name     string
		file     []byte
		sentinel error
		message  string
	}{
		{"empty", nil, ErrFormat, "has 0 bytes, too few"},
		{"seven bytes", make([]byte, 7), ErrFormat, "has 7 bytes, too few"},
		{"no header", make([]byte, 8), ErrFormat, "header: does not start with {"},
		{"header over the format's limit",
			append(binary.LittleEndian.AppendUint64(nil, 100_000_001), '{'), ErrFormat,
			"the format allows 100000000"},
		{"header of 2^64-1", append(bytes.Repeat([]byte{0xff}, 8), '{'), ErrFormat,
			"the format allows"},
		{"header longer than the file", append(binary.LittleEndian.AppendUint64(nil, 9), '{', '}'),
			ErrFormat,
			"states a header of 9 bytes, but only 2 follow"},
		{"list", safetensorsFile(`[]`, nil), ErrFormat, "does not start with {"},
		{"not UTF-8", safetensorsFile("{\"\xff\":1}", nil), ErrFormat, "not valid UTF-8"},
		{"cut JSON", safetensorsFile(`{"a":{`+entry, eight), ErrFormat, "not valid JSON"},
		{"two objects", safetensorsFile(`{}{}`, nil), ErrFormat, "2 bytes after its JSON"},
		{"line end after the JSON", safetensorsFile("{}\n", nil), ErrFormat,
			"1 bytes after its JSON"},
		{"name twice", safetensorsFile(`{"a":{`+entry+`},"\u0061":{`+entry+`}}`, eight), ErrFormat,
			`name "a" stands twice`},
		{"key twice", safetensorsFile(`{"a":{`+entry+`,"dtype":"F64"}}`, eight), ErrFormat,
			`tensor "a": name "dtype" stands twice`},
		{"unknown key", safetensorsFile(`{"a":{`+entry+`,"strides":[1]}}`, eight), ErrFormat,
			`unknown key "strides"`},
		{"key in capitals", safetensorsFile(`{"a":{"Dtype":"F32"}}`, nil), ErrFormat,
			`unknown key "Dtype"`},
		{"no offsets", safetensorsFile(`{"a":{"dtype":"F32","shape":[2]}}`, eight), ErrFormat,
			"lacks dtype, shape or data_offsets"},
		{"entry is a number", safetensorsFile(`{"a":7}`, nil), ErrFormat,
			`tensor "a": found 7 where an object must stand`},
		{"dtype is a number", safetensorsFile(`{"a":{"dtype":7}}`, nil), ErrFormat,
			"dtype is 7, expected text"},
		{"shape is text", safetensorsFile(`{"a":{"shape":"2"}}`, nil), ErrFormat,
			"shape is 2, expected a list"},
		{"fraction in shape", safetensorsFile(`{"a":{"shape":[2.0]}}`, nil), ErrFormat,
			"shape holds 2.0, expected a whole number"},
		{"nested shape", safetensorsFile(`{"a":{"shape":[[2]]}}`, nil), ErrFormat,
			"shape holds [, expected a whole number"},
		{"dimension over 64 bits", safetensorsFile(`{"a":{"shape":[18446744073709551616]}}`, nil),
			ErrFormat, "expected a whole number"},
		{"one offset", safetensorsFile(`{"a":{"data_offsets":[0]}}`, nil), ErrFormat,
			"data_offsets has 1 numbers, expected 2"},
		{"metadata is no text", safetensorsFile(`{"__metadata__":{"a":1}}`, nil), ErrFormat,
			`value of "a" is not text`},
		{"metadata twice", safetensorsFile(`{"__metadata__":{},"__metadata__":{}}`, nil), ErrFormat,
			`"__metadata__" stands twice`},
		{"negative dimension",
			safetensorsFile(`{"a":{"dtype":"F32","shape":[-2],"data_offsets":[0,8]}}`, eight),
			ErrFormat, "shape [-2] is negative"},
		{"product overflows to 0",
			safetensorsFile(
				`{"a":{"dtype":"F32","shape":[65536,65536,65536,65536],"data_offsets":[0,0]}}`,
				nil), ErrFormat,
			"larger than the file"},
		{"2^40 values",
			safetensorsFile(`{"a":{"dtype":"F32","shape":[1099511627776],"data_offsets":[0,8]}}`,
				eight), ErrFormat, "larger than the file"},
		{"shape and range differ",
			safetensorsFile(`{"a":{"dtype":"F64","shape":[2],"data_offsets":[0,8]}}`, eight),
			ErrFormat,
			"takes 16 bytes, but 8 are stated"},
		{"range past the end", safetensorsFile(`{"a":{`+entry+`}}`, eight[:4]), ErrFormat,
			"outside the data of 4 bytes"},
		{"negative range",
			safetensorsFile(`{"a":{"dtype":"F32","shape":[2],"data_offsets":[-8,0]}}`, eight),
			ErrFormat, "outside the data"},
		{"backward range", safetensorsFile(`{"a":{"dtype":"F32","shape":[2],"data_offsets":[8,0]}}`,
			eight), ErrFormat, "outside the data"},
		{"overlap", safetensorsFile(
			`{"a":{`+entry+`},"b":{"dtype":"F32","shape":[2],"data_offsets":[4,12]}}`,
			make([]byte, 12)), ErrFormat,
			`tensor "b": starts at byte 4, inside the tensor before it`},
		{"same range twice", safetensorsFile(`{"a":{`+entry+`},"b":{`+entry+`}}`, eight), ErrFormat,
			"inside the tensor before it"},
		{"gap", safetensorsFile(
			`{"a":{`+entry+`},"b":{"dtype":"F32","shape":[1],"data_offsets":[12,16]}}`,
			make([]byte, 16)), ErrFormat,
			"leaving a gap after byte 8"},
		{"rest", safetensorsFile(`{"a":{`+entry+`}}`, make([]byte, 9)), ErrFormat,
			"1 bytes follow the last tensor"},
		{"integers", safetensorsFile(`{"a":{"dtype":"I8","shape":[8],"data_offsets":[0,8]}}`,
			eight), ErrUnsupported, `tensor "a": has type "I8"`},
		{"unknown type", safetensorsFile(`{"a":{"dtype":"C64","shape":[1],"data_offsets":[0,8]}}`,
			eight), ErrUnsupported, `has type "C64"`},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := ReadSafetensors(bytes.NewReader(c.file), int64(len(c.file)), "m.safetensors")
			checkRefusal(t, err, c.sentinel, c.message, "")
		})
	}
}

func TestEmptyTensorBetweenOthers(t *testing.T) {
	// Empty tensors share their start with the next one: neither overlap nor gap, whatever their
	// order in the header.
	file := safetensorsFile(
		`{"a":{"dtype":"F32","shape":[1],"data_offsets":[0,4]},"c":{"dtype":"F32","shape":[1],"data_offsets":[4,8]},`+
			`"b":{"dtype":"F32","shape":[0],"data_offsets":[4,4]}}`, make([]byte, 8))
	if tensors, err := ReadSafetensors(bytes.NewReader(file), int64(len(file)), "m"); err != nil ||
		len(tensors) != 3 {
		t.Errorf("got %d tensors, error %v", len(tensors), err)
	}
}

func TestTooMuchData(t *testing.T) {
	// zeros makes a file of 256 MiB and 4 bytes without a disk.
	header := `{"a":{"dtype":"F32","shape":[67108865],"data_offsets":[0,268435460]}}`
	file := zeros{safetensorsFile(header, nil)}
	_, err := ReadSafetensors(file, int64(len(file.start))+268435460, "m")
	checkRefusal(t, err, ErrUnsupported, "holds 268435460 bytes of tensors, at most 268435456 "+
		"are read", "")
}

// zeros is a file that begins with some bytes and goes on with zeros without end.
type zeros struct{ start []byte }

func (z zeros) ReadAt(p []byte, offset int64) (int, error) {
	clear(p)
	if offset < int64(len(z.start)) {
		copy(p, z.start[offset:])
	}
	return len(p), nil
}

func TestFileShorterThanStated(t *testing.T) {
	file := readBytes(t, vectors, "gru_1layer.safetensors")
	_, err := ReadSafetensors(bytes.NewReader(file[:len(file)-10]), int64(len(file)), "m")
	checkRefusal(t, err, ErrFormat, `tensor "rnn.weight_ih_l0": ends at byte`, "copied completely")
}

func TestReadErrorIsPassedOn(t *testing.T) {
	for name, read := range map[string]func(io.ReaderAt, int64, string) (map[string]*Tensor,
		error){"safetensors": ReadSafetensors, "npz": ReadNPZ} {
		if _, err := read(failing{}, 100, "m"); !errors.Is(err, errDisk) ||
			errors.Is(err, ErrFormat) {
			t.Errorf("%s: got %v, want the disk's error", name, err)
		}
	}
}

var errDisk = errors.New("disk failed")

type failing struct{}

func (failing) ReadAt([]byte, int64) (int, error) { return 0, errDisk }

func TestHostileNPY(t *testing.T) {
	four := string(make([]byte, 4))
	npy := func(header, data string) string { return string(npyFile(1, header, []byte(data))) }
	const rest = "'fortran_order': False, 'shape': (1,), }"
	for _, c := range []struct {
		name     string
		file     string
		sentinel error
		message  string
	}{
		{"empty", "", ErrFormat, "does not start like an .npy file"},
		{"other magic", "\x93NUMPX\x01\x00" + four, ErrFormat, "does not start like an .npy file"},
		{"version 9", "\x93NUMPY\x09\x00" + four, ErrUnsupported, "has .npy version 9.0"},
		{"no length", "\x93NUMPY\x02\x00\x01", ErrFormat, "ends inside its header"},
		{"header of 4 GiB", "\x93NUMPY\x02\x00\xff\xff\xff\xff{", ErrUnsupported,
			"header of 4294967295 bytes"},
		{"cut header", "\x93NUMPY\x01\x00\x20\x00{", ErrFormat, "ends inside its header"},
		{"no dict", npy("hello", four), ErrFormat, `header has "hello" where { is expected`},
		{"no keys", npy("{}", four), ErrFormat, "lacks descr, fortran_order or shape"},
		{"no shape", npy("{'descr': '<f4', 'fortran_order': False}", four), ErrFormat,
			"lacks descr, fortran_order or shape"},
		{"key twice", npy("{'descr': '<f4', 'descr': '<f4', "+rest, four), ErrFormat,
			`header key "descr" stands twice`},
		{"unknown key", npy("{'descr': '<f4', 'x': 1, "+rest, four), ErrFormat, `unknown key "x"`},
		{"open text", npy("{'descr", four), ErrFormat, "where quoted text is expected"},
		{"escape", npy(`{'de\x73cr': '<f4', `+rest, four), ErrFormat,
			"where quoted text is expected"},
		{"no colon", npy("{'descr' '<f4', "+rest, four), ErrFormat, "where : is expected"},
		{"no comma", npy("{'descr': '<f4' "+rest, four), ErrFormat, "where , or } is expected"},
		{"order is 0", npy("{'descr': '<f4', 'fortran_order': 0, 'shape': (1,)}", four), ErrFormat,
			"where True or False is expected"},
		{"shape is a list", npy("{'descr': '<f4', 'fortran_order': False, 'shape': [1]}", four),
			ErrFormat, "where a shape like (3, 4) is expected"},
		{"shape in plain brackets", npy("{'descr': '<f4', 'fortran_order': False, 'shape': (1)}",
			four), ErrFormat, "where , or ) is expected"},
		{"negative shape", npy("{'descr': '<f4', 'fortran_order': False, 'shape': (-1,)}", four),
			ErrFormat, "where a dimension is expected"},
		{"dimension over 64 bits", npy("{'descr': '<f4', 'fortran_order': False, 'shape': "+
			"(18446744073709551616,)}", four), ErrFormat,
			"where a dimension is expected"},
		{"code after the dict", npy("{'descr': '<f4', "+rest+" or exit()", four), ErrFormat,
			"where nothing more is expected"},
		{"2^40 values", npy("{'descr': '<f4', 'fortran_order': False, 'shape': (1048576, 1048576)}",
			four), ErrFormat, "does not fit the 4 bytes"},
		{"product overflows to 0", npy("{'descr': '<f4', 'fortran_order': False, 'shape': "+
			"(65536, 65536, 65536, 65536)}", ""), ErrFormat,
			"does not fit the 0 bytes"},
		// The product is 2^62 + 1.
		{"byte count overflows to 4", npy("{'descr': '<f4', 'fortran_order': False, 'shape': "+
			"(5, 5581, 8681, 49477, 384773)}", four), ErrFormat,
			"does not fit the 4 bytes"},
		{"too few data", npy("{'descr': '<f8', "+rest, four), ErrFormat,
			"does not fit the 4 bytes"},
		{"too many data", npy("{'descr': '<f4', "+rest, four+four), ErrFormat,
			"does not fit the 8 bytes"},
		{"objects", npy("{'descr': '|O', "+rest, four), ErrUnsupported,
			"pickled Python objects, and pickle files can run code when loaded"},
		{"records", npy("{'descr': [('a', '<f4')], "+rest, four), ErrUnsupported, "holds records"},
		{"integers", npy("{'descr': '<i4', "+rest, four), ErrUnsupported, `has type "<i4"`},
		{"complex", npy("{'descr': '<c8', "+rest, four+four), ErrUnsupported, `has type "<c8"`},
		{"no byte order", npy("{'descr': '|f4', "+rest, four), ErrUnsupported, `has type "|f4"`},
		{"no type", npy("{'descr': '', "+rest, four), ErrFormat, `type "" is not a NumPy type`},
	} {
		t.Run(c.name, func(t *testing.T) {
			file := zipFile(t, "a.npy", c.file)
			_, err := ReadNPZ(bytes.NewReader(file), int64(len(file)), "m.npz")
			checkRefusal(t, err, c.sentinel, c.message, "")
			checkRefusal(t, err, c.sentinel, `m.npz: array "a": `, "")
		})
	}
}

func TestHostileArchives(t *testing.T) {
	good := string(npyFile(1, "{'descr': '<f4', 'fortran_order': False, 'shape': (2, 3), }",
		sixFloats("<f4")))
	wrongSum := zipFile(t, "a.npy", good)
	wrongSum[bytes.Index(wrongSum, sixFloats("<f4"))+3] ^= 1
	bomb := zipFile(t, "a.npy", good)
	// Layout of a central directory entry: .ZIP application note, 4.3.12.
	directory := bytes.Index(bomb, []byte("PK\x01\x02"))
	binary.LittleEndian.PutUint32(bomb[directory+24:], maxTensorBytes+1) // its uncompressed size
	// The second entry states a size that would pass alone.
	pair := zipFile(t, "a.npy", good, "b.npy", good)
	second := bytes.LastIndex(pair, []byte("PK\x01\x02"))
	binary.LittleEndian.PutUint32(pair[second+24:], maxTensorBytes)
	method := zipFile(t, "a.npy", good)
	// Its compression method is bzip2.
	binary.LittleEndian.PutUint16(method[bytes.Index(method, []byte("PK\x01\x02"))+10:], 12)
	for _, c := range []struct {
		name     string
		file     []byte
		sentinel error
		message  string
	}{
		{"wrong checksum", wrongSum, ErrFormat, `member "a.npy": cannot be unpacked`},
		{"member over the limit", bomb, ErrUnsupported,
			fmt.Sprintf("take more than %d bytes together", MaxUnpacked(int64(len(bomb))))},
		{"members over the limit together", pair, ErrUnsupported,
			`member "b.npy": the arrays take more than `},
		{"other packing", method, ErrUnsupported, "method other than deflate"},
		{"name twice", zipFile(t, "a.npy", good, "a.npy", good), ErrFormat,
			`member "a.npy": stands twice`},
		{"other member", zipFile(t, "readme.txt", "hello"), ErrUnsupported,
			`member "readme.txt": is not an .npy array`},
		{"cut archive", zipFile(t, "a.npy", good)[:100], ErrFormat, "directory cannot be read"},
		{"text", []byte(strings.Repeat("hello ", 20)), ErrFormat,
			"cannot be read as a zip archive"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := ReadNPZ(bytes.NewReader(c.file), int64(len(c.file)), "m.npz")
			checkRefusal(t, err, c.sentinel, c.message, "")
		})
	}
}
