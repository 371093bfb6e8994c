package budget

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"testing"

	"kerf/dataset"
	"kerf/targets"
	"kerf/testdata/hardinput"
)

// A TOML text is decoded twice, each key and table with its name and place; a line of a board
// becomes a network of some layers.
var (
	jobLimits   = hardinput.Limits{PerByte: 1500, Spare: 1 << 20}
	boardLimits = hardinput.Limits{PerByte: 500, Spare: 1 << 20}
)

func FuzzParseJob(f *testing.F) {
	for _, folder := range []string{"demo", "cityweather", "slow"} {
		text, err := os.ReadFile(filepath.Join("..", "testdata", folder, "job.toml"))
		if err != nil {
			f.Fatal(err)
		}
		f.Add(text)
	}
	f.Add([]byte(
		"name='a'\n[outputs]\nclasses=['a','b']\ncolumn='c'\n[[region]]\nname='r'\nwhere.leakage={min=nan}\n[recovery]\nepochs=3\n[[model.other]]\nfile='x'\n"))
	outputs := []dataset.Output{{Name: "leakage"}, {Name: "air"}}
	f.Fuzz(func(t *testing.T, text []byte) {
		jobLimits.Check(t, len(text), "job.toml", func() error {
			job, err := parseJob(text, "job.toml")
			if err == nil {
				_, err = job.regions(outputs)
			}
			var e *targets.FileError
			if err != nil && (!errors.As(err, &e) || e.Msg == "") {
				t.Fatalf("error %#v", err)
			}
			return err
		})
	})
}

func FuzzReadBoardLines(f *testing.F) {
	f.Add([]byte(
		"name,export,network,steps,cycles,overhead\nleakair,0x0000ABCD,17;gru_after:13:8:8:16;dense:2:16:identity,1000,4294967295,17\n"))
	f.Add([]byte("a,b,1;elman_relu:1:4:4:16;dense:1:8:tanh,1,2,1\r\n\"x\n\",,,,,\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		boardLimits.Check(t, len(text), "board.csv", func() error {
			lines, err := ReadBoardLines(bytes.NewReader(text), "board.csv")
			if err != nil && !errors.Is(err, dataset.ErrInput) {
				t.Fatalf("untyped error %v", err)
			}
			for _, l := range lines {
				if !(l.Cycles > 0) || ShapeText(l.Shape) == "" {
					t.Fatalf("line %+v", l)
				}
			}
			return err
		})
	})
}
