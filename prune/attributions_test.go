package prune

import (
	"archive/zip"
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"

	"kerf/dataset"
	"kerf/fault"
	"kerf/model"
	"kerf/testdata/hardinput"
)

// npy writes an array as the NumPy reference (numpy.lib.format, version 1) says.
func npy(shape string, values ...float64) []byte {
	header := fmt.Sprintf("{'descr': '<f8', 'fortran_order': False, 'shape': %s, }\n", shape)
	raw := binary.LittleEndian.AppendUint16([]byte("\x93NUMPY\x01\x00"), uint16(len(header)))
	raw = append(raw, header...)
	for _, v := range values {
		raw = binary.LittleEndian.AppendUint64(raw, math.Float64bits(v))
	}
	return raw
}

func npz(t *testing.T, members ...any) []byte {
	var out bytes.Buffer
	w := zip.NewWriter(&out)
	for i := 0; i < len(members); i += 2 {
		f, err := w.Create(members[i].(string) + ".npy")
		if err == nil {
			_, err = f.Write(members[i+1].([]byte))
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// rawCase returns a network with the features a and b and the outputs leak and air, and two
// sequences of two steps and one step in two scenarios.
func rawCase() (*dataset.Float, *dataset.Recordings) {
	net := &model.Network{Recurrent: []*model.Recurrent{{Inputs: 2}},
		Dense: []*model.Dense{{Outputs: 2}}}
	p := dataset.NewFloat(net, []dataset.Feature{{Name: "a"}, {Name: "b"}},
		[]dataset.Output{{Name: "leak"}, {Name: "air"}})
	return p, &dataset.Recordings{Features: 2, Outputs: 2,
		Sequences: []*dataset.Sequence{{Name: "s1", Scenario: "cold", Steps: 2},
			{Name: "s2", Scenario: "warm", Steps: 1}}}
}

func TestReadRawAttributions(t *testing.T) {
	all := []Column{{"cold", All, []float64{2, 4}}, {"warm", All, []float64{0.5, 0}}}
	split := []Column{{"cold", "leak", []float64{2, 4}}, {"cold", "air", []float64{1, 0}},
		{"warm", "leak", []float64{0.5, 0}}, {"warm", "air", []float64{7, 8}}}
	for _, c := range []struct {
		name, file string
		data       []byte
		want       []Column
	}{
		{"mean scores", "s.csv",
			[]byte("feature,scenario,score\na,cold,2\nb,cold,4\na,warm,0.5\nb,warm,0\n"), all},
		{"steps", "s.npy", npy("(3, 2)", -1, 4, 3, -4, 0.5, 0), all},
		{"sequences", "s.NPY", npy("(2, 2)", 2, -4, -0.5, 0), all},
		{"steps and outputs", "s.npy", npy("(3, 2, 2)", -1, 1, 4, 0, 3, -1, -4, 0, 0.5, 7, 0, -8),
			split},
		{"one array", "s.npz", npz(t, "values", npy("(3, 2)", -1, 4, 3, -4, 0.5, 0)), all},
		{"an array per scenario, of any length", "s.npz",
			npz(t, "warm", npy("(1, 2)", 0.5, 0), "cold", npy("(4, 2)", 1, 4, -1, 4, 3, -4, 3, 4)),
			all},
		{"table of steps", "s.csv", []byte("b,a\n4,-1\n-4,3\n0,0.5\n"), all},
		{"table with scenarios", "s.csv", []byte("scenario,a,b\ncold,2,-4\nwarm,0.5,0\n"), all},
		{"table with sequences", "s.csv", []byte("sequence,a,b\ns1,-1,4\ns1,3,4\ns2,0.5,0\n"), all},
		{"table with outputs", "s.csv",
			[]byte("output,sequence,a,b\nleak,s1,2,4\nair,s1,1,0\nleak,s2,0.5,0\nair,s2,7,8\n"),
			split},
		{"table with outputs, steps in order", "s.csv",
			[]byte("output,a,b\nleak,2,4\nleak,-2,4\nair,1,0\nair,1,0\nair,7,8\nleak,0.5,0\n"),
			[]Column{split[0], split[2], split[1], split[3]}},
	} {
		p, rec := rawCase()
		got, err := ReadScoreFile(c.data, c.file, p, rec)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if !reflect.DeepEqual(got, &Scores{Items: []string{"a", "b"}, Columns: c.want}) {
			t.Errorf("%s: %+v, want %+v", c.name, got.Columns, c.want)
		}
	}
}

func TestRawAttributionsThatAreRefused(t *testing.T) {
	for _, c := range []struct {
		name, file string
		data       []byte
		msg        string // of the error, with its place
	}{
		{"rows", "s.npy", npy("(4, 2)", 1, 2, 3, 4, 5, 6, 7, 8),
			"s.npy: the array has 4 rows, the selection recordings have 3 steps in 2 sequences"},
		{"features", "s.npy", npy("(3, 1)", 1, 2, 3), "s.npy: the array has the shape [3 1]"},
		{"outputs", "s.npy", npy("(1, 2, 3)", 1, 2, 3, 4, 5, 6),
			"s.npy: the array has the shape [1 2 3]"},
		{"one dimension", "s.npy", npy("(2,)", 1, 2), "s.npy: the array has the shape [2]"},
		{"no dimension", "s.npy", npy("()", 1), "s.npy: the array has the shape []"},
		{"NaN", "s.npy", npy("(2, 2)", 1, 2, 3, math.NaN()), "s.npy: the array has NaN in row 1 " +
			"(from 0) for feature b"},
		{"sum too large", "s.npy", npy("(3, 2)", 1, 1e308, 3, 1e308, 1, 1),
			"s.npy: the attributions of feature b are too large to be added up"},
		{"no row", "s.npz", npz(t, "cold", npy("(0, 2)")), "s.npz: the file holds no attribution"},
		{"broken", "s.npy", []byte("abc"), "s.npy: does not start like an .npy file"},
		{"unknown scenario", "s.npz",
			npz(t, "cold", npy("(1, 2)", 1, 2), "hot", npy("(1, 2)", 1, 2)),
			`s.npz: array "hot" has the name of no scenario of the selection recordings`},
		{"missing feature", "s.csv", []byte("a,c\n1,2\n"), "s.csv:1: column b: the column is " +
			"missing"},
		{"empty table", "s.csv", []byte("a,b\n"), "s.csv: the file holds no attribution"},
		{"infinite", "s.csv", []byte("a,b\n1,inf\n"), "s.csv:2: column b: inf is not a " +
			"finite number"},
		{"scenario of no sequence", "s.csv", []byte("scenario,a,b\ncold,1,2\nhot,1,2\n"),
			`s.csv:3: column scenario: attribution for the scenario "hot", of which the ` +
				`selection recordings hold no sequence`},
		{"sequence not there", "s.csv", []byte("sequence,a,b\ns3,1,2\n"), `s.csv:2: column ` +
			`sequence: attribution for the sequence "s3", which the selection recordings do ` +
			`not hold`},
		{"output not there", "s.csv", []byte("output,a,b\noil,1,2\n"),
			`s.csv:2: column output: attribution for the unknown output "oil"`},
		{"rows of an output", "s.csv", []byte("output,a,b\nair,1,2\n"), "s.csv: the table for " +
			"output air has 1 rows, the selection recordings have 3 steps in 2 sequences"},
	} {
		p, rec := rawCase()
		_, err := ReadScoreFile(c.data, c.file, p, rec)
		hint := fault.Hint(err)
		if err == nil || err.Error() != c.msg || hint == "" || strings.HasSuffix(hint, ".") {
			t.Errorf("%s: error %v, want %s with a hint", c.name, err, c.msg)
		}
	}
}

// scoreLimits is what a file may allocate: an archive may unpack to 200 times its size and 16 MiB,
// each byte several times over.
var scoreLimits = hardinput.Limits{PerByte: 16 * 200, Spare: 16 * 16 << 20}

// A reader of files from outside must not panic or hang.
func FuzzReadScoreFile(f *testing.F) {
	f.Add("s.npy", npy("(3, 2)", -1, 4, 3, -4, 0.5, 0))
	f.Add("s.csv", []byte("output,a,b\nleak,2,4\n"))
	f.Add("s.csv", []byte("feature,scenario,score\na,cold,2\nb,cold,4\n"))
	f.Add("s.csv", []byte("sequence,a,b\ns1,1e30,4\ns2,-3,4\n"))
	f.Fuzz(func(t *testing.T, file string, data []byte) {
		p, rec := rawCase()
		var s *Scores
		var err error
		scoreLimits.Check(t, len(data), file, func() error {
			s, err = ReadScoreFile(data, file, p, rec)
			return err
		})
		if err != nil {
			if !errors.Is(err, dataset.ErrInput) && !errors.Is(err, model.ErrFormat) &&
				!errors.Is(err, model.ErrUnsupported) {
				t.Fatalf("untyped error %v", err)
			}
			return
		}
		for _, c := range s.Columns {
			for _, v := range c.Values {
				if !(v >= 0) || math.IsInf(v, 1) {
					t.Errorf("score %v", v)
				}
			}
		}
	})
}
