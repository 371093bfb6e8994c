package budget

import (
	"slices"

	"kerf/dataset"
)

// Sums are what one metric of one output in one region is made of, on the sign-off recordings, of
// the network as given and of the integer network. The rows of scenarios follow from those of
// everywhere.
type Sums struct {
	Output string
	Region string // empty: everywhere
	Where  string // what the region is, in words; empty: everywhere
	Metric dataset.Metric
	Float  dataset.Sums
	Fixed  dataset.Sums
}

// sums are those of what any of the rows judges, and of the first metric of every output and
// region, so that handoffs can be compared whose jobs judge nothing, or something else.
func (pl *Planner) sums(rows []Loss, s scores) []Sums {
	if pl.in.judgesExplained() {
		s.constant = pl.constantOn(pl.in.Signoff)
	}
	var all []Sums
	first := dataset.Metrics(pl.in.Float.Classes)[0]
	for o, output := range pl.in.judged() {
		for r := -1; r < len(pl.in.Regions); r++ {
			region, where := "", ""
			if r >= 0 {
				region, where = pl.in.Regions[r].Name,
					pl.in.Regions[r].Describe(dataset.OutputNames(pl.in.Float.Outputs))
			}
			for _, metric := range append(dataset.Metrics(pl.in.Float.Classes), dataset.Explained) {
				isJudged := func(l Loss) bool {
					return l.Judged && l.Output == output.Name && l.Region == region &&
						l.Metric == metric
				}
				if metric != first && !slices.ContainsFunc(rows, isJudged) {
					continue
				}
				base := s.float
				if metric == dataset.Explained {
					base = s.constant
				}
				all = append(all, Sums{output.Name, region, where, metric,
					s.float.Sums(base, o, r, metric), s.fixed.Sums(base, o, r, metric)})
			}
		}
	}
	return all
}
