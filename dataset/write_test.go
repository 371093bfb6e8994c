package dataset

import (
	"bytes"
	"reflect"
	"testing"
)

// What is written is read again, value for value, with outputs and with classes.
func TestWrittenRecordingsAreReadBack(t *testing.T) {
	features := []string{"a", "b, quoted"}
	for _, c := range []struct {
		reference Reference
		y         []float64
	}{
		{Reference{Outputs: []string{"y"}}, []float64{1.0 / 3, -2e-300, 5}},
		{Reference{Outputs: []string{"calm", "0"}, Column: "state"}, []float64{1, 0, 0, 1, 1, 0}},
	} {
		rec := &Recordings{Features: 2, Outputs: len(c.reference.Outputs),
			Classes: c.reference.Column != "", Sequences: []*Sequence{
				{Name: "s 1", Scenario: "x,y", File: "r.csv", Line: 2, Steps: 2, Start: 1,
					Duration: 0.5,
					X:        []float64{0.1, 1e30, 3, -4}, Y: c.y[:2*len(c.reference.Outputs)]},
				{Name: "2", Scenario: "z", File: "r.csv", Line: 4, Steps: 1, Start: -7,
					X: []float64{5, 6}, Y: c.y[2*len(c.reference.Outputs):]}}}
		var b bytes.Buffer
		if err := rec.WriteCSV(&b, features, c.reference, [][]float64{{1, 1.5}, {-7}}); err != nil {
			t.Fatal(err)
		}
		read, err := ReadCSV(bytes.NewReader(b.Bytes()), "r.csv", features, c.reference)
		if err != nil {
			t.Fatalf("%v: %s", err, b.String())
		}
		if !reflect.DeepEqual(read, rec) {
			t.Errorf("%s gives %+v", b.String(), read.Sequences[0])
		}
	}
}
