package budget

import (
	"math"

	"kerf/dataset"
	"kerf/portable"
)

// farFrom is how far the recordings that are only trained on may be from the selection recordings:
// the mean in standard deviations of these, and the ratio of the standard deviations. Our choice:
// seasons and scenarios of the open data differ by less than 2, a unit usually by more.
const farFrom = 3

// unlikeSelection lists features and outputs that lie elsewhere, or spread otherwise, in the
// recordings that are only trained on than in the selection recordings. Classes are not compared.
func (in *Inputs) unlikeSelection() []string {
	if in.Further == nil {
		return nil
	}
	var names []string
	compare := func(name string, selection, further []float64) {
		if len(further) == 0 {
			return
		}
		mean, std := portable.MeanStd(selection)
		other, spread := portable.MeanStd(further)
		if math.Abs(other-mean) > farFrom*std || spread > farFrom*std || std > farFrom*spread {
			names = append(names, name)
		}
	}
	compareColumn := func(name string, columns, at int, values func(*dataset.Sequence) []float64) {
		compare(name, dataset.Column(columns, at, in.Selection, values),
			dataset.Column(columns, at, in.Further, values))
	}
	for i, f := range in.Float.Features {
		compareColumn(f.Name, in.Selection.Features, i,
			func(s *dataset.Sequence) []float64 { return s.X })
	}
	if !in.Float.Classes {
		for o, out := range in.Float.Outputs {
			compareColumn(out.Name, in.Selection.Outputs, o,
				func(s *dataset.Sequence) []float64 { return s.Y })
		}
	}
	return names
}
