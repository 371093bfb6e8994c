package dataset

import (
	"encoding/csv"
	"io"
	"slices"
	"strconv"
)

// WriteCSV writes recordings as [ReadCSV] reads them, every number with all of its digits. t has
// the times of the steps of every sequence; features and reference name the columns.
func (r *Recordings) WriteCSV(w io.Writer, features []string, reference Reference,
	t [][]float64) error {
	out := csv.NewWriter(w)
	outputs := reference.Outputs
	if r.Classes {
		outputs = []string{reference.Column}
	}
	row := slices.Concat([]string{"sequence", "scenario", "t"}, features, outputs)
	out.Write(row) // a csv.Writer keeps its first error until the end
	number := func(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
	for i, s := range r.Sequences {
		for step := range s.Steps {
			row = append(row[:0], s.Name, s.Scenario, number(t[i][step]))
			for _, v := range s.X[step*r.Features : (step+1)*r.Features] {
				row = append(row, number(v))
			}
			y := s.Y[step*r.Outputs : (step+1)*r.Outputs]
			if r.Classes {
				row = append(row, reference.Outputs[slices.Index(y, 1)])
			} else {
				for _, v := range y {
					row = append(row, number(v))
				}
			}
			out.Write(row)
		}
	}
	out.Flush()
	return out.Error()
}
