package budget

import (
	"fmt"

	"kerf/dataset"
	"kerf/prune"
)

// cutNetwork is the float network of a candidate, with what it lost replaced as
// well as kerf can. Candidates that differ in their formats alone share it.
func (in *Inputs) cutNetwork(statistics *prune.Statistics, c Candidate) *dataset.Float {
	key := fmt.Sprint(c.Features, c.Units)
	if in.cutNetworks == nil {
		in.cutNetworks = map[string]*dataset.Float{}
	}
	if in.cutNetworks[key] == nil {
		in.cutNetworks[key] = statistics.Cut(c.Features, c.Units, prune.Refit)
	}
	return in.cutNetworks[key]
}

// MethodLoss is what a cut costs with one way to replace what it removes.
type MethodLoss struct {
	Method prune.Method
	Rows   []Loss // on the selection recordings; float and cut, before any rounding
}

// CompareMethods cuts one candidate in every way, on the rows that have a
// tolerance, or on all rows when the job gives none.
func (in *Inputs) CompareMethods(statistics *prune.Statistics, c Candidate) []MethodLoss {
	base := in.floatOnSelection()
	var all []MethodLoss
	for _, m := range prune.Methods {
		score := dataset.Measure(statistics.Cut(c.Features, c.Units, m), in.Selection, in.Regions)
		all = append(all,
			MethodLoss{m, in.lossRows(in.Selection, scores{float: base, cut: score, fixed: score},
				in.JudgesLoss())})
	}
	return all
}
