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
	for i, f := range in.Float.Features {
		compare(f.Name, column(in.Selection, i, false), column(in.Further, i, false))
	}
	if !in.Float.Classes {
		for o, out := range in.Float.Outputs {
			compare(out.Name, column(in.Selection, o, true), column(in.Further, o, true))
		}
	}
	return names
}

// column returns the values of a feature, or of a recorded output where there are any, of all
// steps.
func column(rec *dataset.Recordings, at int, output bool) []float64 {
	var values []float64
	for _, s := range rec.Sequences {
		from, width := s.X, rec.Features
		if output {
			from, width = s.Y, rec.Outputs
		}
		for i := at; i < len(from); i += width {
			values = append(values, from[i])
		}
	}
	return values
}
