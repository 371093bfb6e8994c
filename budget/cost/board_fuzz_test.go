package cost

import (
	"bytes"
	"errors"
	"testing"

	"kerf/dataset"
	"kerf/testdata/hardinput"
)

// A line of a board becomes a network of some layers.
var boardLimits = hardinput.Limits{PerByte: 500, Spare: 1 << 20}

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
