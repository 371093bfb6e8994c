package dataset

import (
	"bytes"
	"compress/gzip"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"

	"github.com/parquet-go/parquet-go/format"

	"kerf/testdata/hardinput"
)

// bomb packs a text that begins with start and goes on with filling, times over.
func bomb(t *testing.T, start, filling string, times int) []byte {
	t.Helper()
	var packed bytes.Buffer
	w := gzip.NewWriter(&packed)
	if _, err := io.WriteString(w, start); err != nil {
		t.Fatal(err)
	}
	for range times {
		if _, err := io.WriteString(w, filling); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return packed.Bytes()
}

func TestPackedBombsAreRefused(t *testing.T) {
	const head = "sequence,scenario,t,a,y\n"
	const never = "which no recording of"
	var steps strings.Builder // a cell that nobody needs makes them long
	for i := range 60 {
		fmt.Fprintf(&steps, "s,calm,%d,1,2,%s\n", i, strings.Repeat("n", 1<<19))
	}
	const rows = 600
	times := make([]byte, 0, 2*rows)
	for i := range rows {
		times = binary.LittleEndian.AppendUint16(times, uint16(i))
	}
	const width = 1 << 16
	names := npyOf("|S65536", "(600,)",
		[]byte(strings.Repeat("s"+strings.Repeat("\x00", width-1), rows)))
	for _, c := range []struct {
		name, file string
		content    []byte
		message    string
	}{
		{"one line without end", "r.csv.gz", bomb(t, head, strings.Repeat("9", 1<<20), 3),
			"r.csv.gz:2: the line has more than 1048576 bytes"},
		{"header without end", "r.csv.gz", bomb(t, "", strings.Repeat("a", 1<<20), 3),
			"r.csv.gz:1: the line has more than 1048576 bytes"},
		{"quoted cell without end", "r.csv.gz", bomb(t, head+`"`, strings.Repeat("a\n", 1<<19), 3),
			"the line has more than 1048576 bytes"},
		{"empty lines without end", "r.csv.gz", bomb(t, head, strings.Repeat("\n", 1<<20), 3),
			"the line has more than 1048576 bytes"},
		{"column nobody needs", "r.csv.gz",
			bomb(t, "sequence,scenario,t,a,y,note\n", steps.String(), 1), never},
		{"wide names", "r.npz",
			[]byte(deflatedNPZ(t, "sequence", names, "scenario", names, "t",
				npyOf("<u2", "(600,)", times), "a", npyOf("<u2", "(600,)", times), "y",
				npyOf("<u2", "(600,)", times))), never},
	} {
		t.Run(c.name, func(t *testing.T) {
			hardinput.Limits{PerByte: 1000, Spare: 16 << 20}.Check(t, len(c.content), c.file,
				func() error {
					_, err := ReadRecording(bytes.NewReader(c.content), int64(len(c.content)),
						c.file,
						[]string{"a"}, Reference{Outputs: []string{"y"}})
					if err == nil || !strings.Contains(err.Error(), c.message) {
						t.Fatalf("got %v, want %q", err, c.message)
					}
					return err
				})
		})
	}
}

// footerFile is a Parquet file with nothing but metadata.
func footerFile(footer ...byte) []byte {
	raw := append([]byte("PAR1"), footer...)
	return append(binary.LittleEndian.AppendUint32(raw, uint32(len(footer))), "PAR1"...)
}

// A structure of Thrift's compact protocol by hand: 0x29 is field 2, a list; 0xfc is "more than 14
// structures"; 0x1f... is a length.
func TestParquetClaimsAreRefused(t *testing.T) {
	const huge = "\xff\xff\xff\xff\x07" // 2^31 - 1
	nested := []byte{0x29, 0xfc, 100}
	for range 100 {
		nested = append(nested, 0x55, 2, 0) // num_children = 1
	}
	for _, c := range []struct {
		name string
		file []byte
	}{
		{"2^31 columns", footerFile([]byte("\x29\xfc" + huge)...)},
		{"name of 2^31 bytes", footerFile([]byte("\x29\x1c\x48" + huge)...)},
		{"structures in structures", footerFile(bytes.Repeat([]byte{0x1c}, 1000)...)},
		{"lists in lists", footerFile(bytes.Repeat([]byte{0x19}, 1000)...)},
		{"empty structures",
			footerFile(append([]byte("\x49\xfc\xa0\x8d\x06"), make([]byte, 100_000)...)...)},
		{"records in records", footerFile(append(nested, 0)...)},
		{"footer longer than the file", []byte("PAR1\xff\xff\xff\x7fPAR1")},
		{"text", []byte(strings.Repeat("sequence,scenario\n", 10))},
		{"magic alone", []byte("PAR1PAR1")},
		{"nothing", nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			hardinput.Limits{PerByte: 100, Spare: 1 << 20}.Check(t, len(c.file), "r.parquet",
				func() error {
					_, err := ReadRecording(bytes.NewReader(c.file), int64(len(c.file)),
						"r.parquet",
						[]string{"a"}, Reference{Outputs: []string{"y"}})
					if !errors.Is(err, ErrInput) {
						t.Fatalf("got %v", err)
					}
					return err
				})
		})
	}
}

func TestPagesUnpackToNoMoreThanTheySay(t *testing.T) {
	packed := func(raw []byte) *io.SectionReader {
		return io.NewSectionReader(bytes.NewReader(raw), 0, int64(len(raw)))
	}
	zeros := bomb(t, "", strings.Repeat("\x00", 1<<20), 4)
	for _, c := range []struct {
		name  string
		codec format.CompressionCodec
		raw   []byte
		bytes int64
		fits  bool
	}{
		{"gzip", format.Gzip, zeros, 4 << 20, true},
		{"gzip bomb", format.Gzip, zeros, 4<<20 - 1, false},
		{"snappy", format.Snappy, []byte{3, 8, 'a', 'b', 'c'}, 3, true},
		{"snappy that claims 2^32", format.Snappy, []byte("\x80\x80\x80\x80\x10"), 1 << 20, false},
		{"zstd that is none", format.Zstd, []byte("hello"), 5, false},
		{"brotli", format.Brotli, nil, 5, false},
	} {
		if err := checkPacked(packed(c.raw), c.codec, c.bytes); (err == nil) != c.fits {
			t.Errorf("%s: got %v", c.name, err)
		}
	}
	// PageHeader: type 0, 2^30 bytes unpacked, 1 packed, one value.
	head := []byte("\x15\x00\x15\x80\x80\x80\x80\x08\x15\x02\x2c\x15\x02\x00\x00")
	h, err := readPageHead(bytes.NewReader(head), 0, int64(len(head)))
	if err != nil || h.unpacked != 1<<30 || h.packed != 1 || h.values != 1 ||
		h.bytes != int64(len(head)) {
		t.Errorf("got %+v, %v", h, err)
	}
	if err := newAllowance("r.parquet", 100).take(h.unpacked); err == nil {
		t.Error("a page of 2^30 bytes in a file of 100 is allowed")
	}
}
