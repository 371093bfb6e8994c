package dataset

import (
	"archive/zip"
	"bytes"
	"compress/gzip"
	"errors"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/parquet-go/parquet-go"

	"kerf/fault"
	"kerf/model"
)

// recordings is a folder with one recording in several formats; see the README there.
const recordings = "../testdata/recordings"

func readFileOf(t *testing.T, file string, features []string,
	reference Reference) (*Recordings, error) {
	t.Helper()
	raw, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	return ReadRecording(bytes.NewReader(raw), int64(len(raw)), filepath.Base(file), features,
		reference)
}

func TestEveryFormatGivesTheSameRecording(t *testing.T) {
	// Source: numpy, Python's gzip and the Rust parquet crate wrote the files from the CSV file
	// (testdata/recordings/README.md). The features stand in no order of the files, and the
	// column t is one of them.
	features := []string{"season_cos", "temp_max", "precip", "t"}
	reference := Reference{Outputs: []string{"temp_min_next", "temp_max_next"}}
	want, err := readFileOf(t, "../testdata/cityweather/selection.csv", features, reference)
	if err != nil {
		t.Fatal(err)
	}
	if len(want.Sequences) < 6 || want.Steps() != 714 {
		t.Fatalf("%d sequences, %d steps", len(want.Sequences), want.Steps())
	}
	for _, file := range []string{"selection.csv.gz", "selection.npz",
		"selection_snappy_v1.parquet", "selection_zstd_v2.parquet"} {
		got, err := readFileOf(t, filepath.Join(recordings, file), features, reference)
		if err != nil {
			t.Errorf("%s: %v", file, err)
			continue
		}
		if len(got.Sequences) != len(want.Sequences) {
			t.Errorf("%s: %d sequences, want %d", file, len(got.Sequences), len(want.Sequences))
			continue
		}
		row := 1
		for i, w := range want.Sequences {
			g := got.Sequences[i]
			if g.Name != w.Name || g.Scenario != w.Scenario || g.Steps != w.Steps ||
				!slices.Equal(g.X, w.X) || !slices.Equal(g.Y, w.Y) {
				t.Errorf("%s: sequence %s differs", file, w.Name)
			}
			if first := row; g.Line != first && file != "selection.csv.gz" {
				t.Errorf("%s: sequence %s begins at %d, want %d", file, w.Name, g.Line, first)
			}
			row += g.Steps
		}
	}
}

// npyOf returns an .npy file of version 1 around raw values.
func npyOf(descr, shape string, values []byte) string {
	header := "{'descr': '" + descr + "', 'fortran_order': False, 'shape': " + shape + ", }\n"
	return "\x93NUMPY\x01\x00" + string([]byte{byte(len(header)), byte(len(header) >> 8)}) +
		header + string(values)
}

func npzOf(t *testing.T, members ...string) string { return zipOf(t, zip.Store, members...) }

func deflatedNPZ(t *testing.T, members ...string) string {
	return zipOf(t, zip.Deflate, members...)
}

func zipOf(t *testing.T, method uint16, members ...string) string {
	t.Helper()
	var out bytes.Buffer
	z := zip.NewWriter(&out)
	for i := 0; i < len(members); i += 2 {
		w, err := z.CreateHeader(&zip.FileHeader{Name: members[i] + ".npy", Method: method})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write([]byte(members[i+1])); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

type step struct {
	Sequence string   `parquet:"sequence"`
	Scenario string   `parquet:"scenario"`
	T        int64    `parquet:"t"`
	A        *float64 `parquet:"a,optional"`
	Y        float32  `parquet:"y"`
}

func parquetOf[row any](t *testing.T, rows ...row) string {
	t.Helper()
	var out bytes.Buffer
	if err := parquet.Write(&out, rows); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

func TestFilesOfRecordingsThatAreRefused(t *testing.T) {
	two, text := []byte{1, 2}, npyOf("|S1", "(2,)", []byte("aa"))
	counted := npyOf("|u1", "(2,)", two)
	one, nan := 1.0, 0.0
	nan /= nan
	var packed bytes.Buffer
	w := gzip.NewWriter(&packed)
	if _, err := w.Write([]byte("sequence,scenario,t,a,y\n0,calm,0,1,2\n")); err != nil ||
		w.Close() != nil {
		t.Fatal(err)
	}
	good := parquetOf(t, step{"0", "calm", 0, &one, 2}, step{"0", "calm", 1, &one, 2})
	for _, c := range []struct{ name, file, content, message, hint string }{
		{"not packed", "r.csv.gz", "sequence,scenario", "r.csv.gz: cannot be unpacked: gzip: " +
			"invalid header", "gzip"},
		{"cut", "r.csv.gz", packed.String()[:packed.Len()-9],
			"r.csv.gz: cannot be unpacked: unexpected EOF", "copied completely"},
		{"no archive", "r.npz", "PK", "r.npz: cannot be read as a zip archive", "numpy.savez"},
		{"no column", "r.npz",
			npzOf(t, "sequence", text, "scenario", text, "t", counted, "y", counted),
			"r.npz: column a: the column is missing; there are scenario, sequence, t, y",
			"features.csv declares"},
		{"uneven", "r.npz",
			npzOf(t, "sequence", text, "scenario", text, "t", counted, "a",
				npyOf("|u1", "(1,)", two[:1]), "y", counted), "r.npz: only some of its columns " +
				"have a step 2", "same length"},
		{"two axes", "r.npz",
			npzOf(t, "sequence", text, "scenario", text, "t", npyOf("|u1", "(2, 1)", two), "a",
				counted, "y", counted), `r.npz: array "t": has shape [2 × 1]`, "one dimension"},
		{"objects", "r.npz", npzOf(t, "sequence", npyOf("|O", "(2,)", nil), "scenario", text, "t",
			counted, "a", counted, "y", counted), `array "sequence": holds pickled Python objects`,
			"plain arrays"},
		{"text for a number", "r.npz", npzOf(t, "sequence", text, "scenario", text, "t", counted,
			"a", text, "y", counted), `r.npz:1: column a: "a" is text, not a number`, "numbers"},
		{"cut array", "r.npz",
			npzOf(t, "sequence", text, "scenario", text, "t", npyOf("|u1", "(3,)", two), "a",
				counted, "y", counted), `array "t": ends too early`, "copied completely"},
		{"time stands", "r.npz",
			npzOf(t, "sequence", text, "scenario", text, "t", npyOf("|u1", "(2,)", []byte{7, 7}),
				"a", counted, "y", counted), "r.npz:2: column t: time does not grow: 7 follows 7",
			"sort"},
		{"no table", "r.parquet", "PAR1PAR1", "r.parquet: cannot be read as Parquet", "flat table"},
		{"cut", "r.parquet", good[:len(good)-20], "r.parquet: cannot be read as Parquet",
			"complete"},
		{"gap", "r.parquet",
			parquetOf(t, step{"0", "calm", 0, &one, 2}, step{"0", "calm", 1, nil, 2}),
			"r.parquet:2: column a: there is no value", "fill the gap"},
		{"NaN", "r.parquet", parquetOf(t, step{"0", "calm", 0, &nan, 2}),
			"r.parquet:1: column a: NaN is not a finite number", "fill the gap"},
		{"lists", "r.parquet", parquetOf(t, struct {
			Sequence, Scenario string
			T                  []int64
		}{"0", "calm", []int64{1}}), "r.parquet: column sequence: the column is missing; there " +
			"are Scenario, Sequence, T", "sequence"},
		{"list of times", "r.parquet", parquetOf(t, struct {
			Sequence string  `parquet:"sequence"`
			Scenario string  `parquet:"scenario"`
			T        []int64 `parquet:"t"`
		}{"0", "calm", []int64{1}}), "r.parquet: column t: holds lists or records", "flat table"},
		{"decimal", "r.parquet", parquetOf(t, struct {
			Sequence string `parquet:"sequence"`
			Scenario string `parquet:"scenario"`
			T        int64  `parquet:"t,decimal(2:18)"`
		}{"0", "calm", 1}), "r.parquet: column t: has the type DECIMAL(18,2), which is not read",
			"double"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := ReadRecording(strings.NewReader(c.content), int64(len(c.content)), c.file,
				[]string{"a"}, Reference{Outputs: []string{"y"}})
			if err == nil || !strings.Contains(err.Error(), c.message) {
				t.Fatalf("got %v, want %q", err, c.message)
			}
			if !errors.Is(err, ErrInput) && !errors.Is(err, model.ErrFormat) &&
				!errors.Is(err, model.ErrUnsupported) {
				t.Errorf("untyped error %v", err)
			}
			if hint := fault.Hint(err); hint == "" || !strings.Contains(hint, c.hint) {
				t.Errorf("hint of %v lacks %q", err, c.hint)
			}
		})
	}
}

func TestParquetOfAnotherWriter(t *testing.T) {
	one := 1.0
	content := parquetOf(t, step{"0", "calm", 0, &one, 2}, step{"0", "calm", 1, &one, 2.5},
		step{"b", "calm", 0, &one, 3})
	rec, err := ReadRecording(strings.NewReader(content), int64(len(content)), "r.parquet",
		[]string{"a"}, Reference{Outputs: []string{"y"}})
	if err != nil {
		t.Fatal(err)
	}
	if len(rec.Sequences) != 2 || !slices.Equal(rec.Sequences[0].Y, []float64{2, 2.5}) ||
		rec.Sequences[1].Name != "b" {
		t.Errorf("got %+v", rec.Sequences)
	}
}

// Every encoding and both versions of pages, with the compressions that are common. Source: the
// writer of parquet-go.
func TestEncodingsOfParquet(t *testing.T) {
	type row struct {
		Sequence string   `parquet:"sequence,dict,snappy"`
		Scenario string   `parquet:"scenario,delta,gzip"`
		T        int64    `parquet:"t,delta"`
		Note     *string  `parquet:"note,optional,zstd"`
		Yes      bool     `parquet:"yes"`
		Small    int8     `parquet:"small,delta,snappy"`
		Large    uint32   `parquet:"large,dict"`
		Huge     uint64   `parquet:"huge"`
		Split    float32  `parquet:"split,split,zstd"`
		Some     *float64 `parquet:"some,optional,dict,gzip"`
		Y        float64  `parquet:"y,split"`
	}
	features := []string{"yes", "small", "large", "huge", "split", "some"}
	var rows []row
	var x, y []float64
	for i := range 300 {
		some := float64(i%7) / 3
		r := row{
			Sequence: "s", Scenario: "calm", T: int64(i) * 1000,
			Yes: i%3 == 0, Small: int8(i%200 - 100),
			Large: math.MaxUint32 - uint32(i%5), Huge: math.MaxUint64, Split: float32(i) / 7,
			Some: &some, Y: -float64(i) / 9,
		}
		yes := 0.0
		if r.Yes {
			yes = 1
		}
		rows = append(rows, r)
		x = append(x, yes, float64(r.Small), float64(r.Large), float64(r.Huge), float64(r.Split),
			some)
		y = append(y, r.Y)
	}
	for version := 1; version <= 2; version++ {
		for _, columns := range [][]row{rows, rows[:1]} {
			var file bytes.Buffer
			w := parquet.NewGenericWriter[row](&file, parquet.DataPageVersion(version),
				parquet.PageBufferSize(100), parquet.MaxRowsPerRowGroup(120))
			if _, err := w.Write(columns); err != nil || w.Close() != nil {
				t.Fatal(err)
			}
			raw := file.Bytes()
			rec, err := ReadRecording(bytes.NewReader(raw), int64(len(raw)), "r.parquet", features,
				Reference{Outputs: []string{"y"}})
			if err != nil {
				t.Fatal(err)
			}
			n, s := len(columns), rec.Sequences[0]
			if s.Steps != n || s.Name != "s" || s.Scenario != "calm" || !slices.Equal(s.Y, y[:n]) ||
				!slices.Equal(s.X, x[:n*len(features)]) {
				t.Errorf("version %d, %d rows: got %+v", version, n, s)
			}
			_, err = ReadRecording(bytes.NewReader(raw), int64(len(raw)), "r.parquet",
				[]string{"note"}, Reference{Outputs: []string{"y"}})
			const gap = "r.parquet:1: column note: there is no value"
			if err == nil || !strings.Contains(err.Error(), gap) {
				t.Errorf("version %d: got %v", version, err)
			}
		}
	}
}
