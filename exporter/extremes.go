package exporter

import (
	"strconv"

	"kerf/budget"
	"kerf/quant"
)

// ExtremeRow is how far the integer network strays from the float network that it
// was made of, in one output: magnitudes of the difference at a step, in the unit.
type ExtremeRow struct {
	Output   string   `json:"output"`
	Unit     string   `json:"unit"`
	Mean     *float64 `json:"mean"`           // on the sign-off recordings
	Seen     *float64 `json:"seen"`           // largest on them
	Found    *float64 `json:"found_recorded"` // largest that a search found, every feature within its recorded range
	FoundAny *float64 `json:"found_any"`      // the same with any inputs that the input format holds
	Kind     string   `json:"kind"`           // measured: a search proves no bound
}

// AccumulatorRow is how far the rows of one tensor fill their accumulators.
type AccumulatorRow struct {
	Layer  string  `json:"layer"`
	Tensor string  `json:"tensor"`
	Seen   int64   `json:"seen"`  // largest magnitude on the sign-off recordings
	Found  int64   `json:"found"` // the same with the inputs of a search
	Share  float64 `json:"share"` // largest share of its own bound that a row reaches
	Bound  int64   `json:"bound"` // proven, over all rows
	Limit  int64   `json:"limit"`
}

// addExtremes fills both tables from what [quant.Network.Extremes] found.
func (s *Signoff) addExtremes(net *quant.Network, e *quant.Extremes) {
	if e == nil {
		return
	}
	for i, out := range e.Outputs {
		o := net.Outputs[i]
		s.Extremes = append(s.Extremes, ExtremeRow{o.Name, o.Unit, Finite(out.Mean), Finite(out.Seen), Finite(out.Found), Finite(out.Any), string(budget.Measured)})
	}
	for i, a := range e.Accumulators {
		f := s.Formats[i]
		s.Accumulators = append(s.Accumulators, AccumulatorRow{f.Layer, f.Tensor, a.Seen, a.Found, a.Share, f.Bound, f.Limit})
	}
}

// ExtremeTable has a row per output: the difference on average, and at its worst.
func (s *Signoff) ExtremeTable() Table {
	t := Table{Title: "Difference between fixed point and float, at its worst (measured)", Head: []string{"difference", "unit", "average", "largest", "found", "found, any input"}, Numbers: 2}
	for _, e := range s.Extremes {
		t.Rows = append(t.Rows, []string{e.Output, e.Unit, optional(e.Mean, Significant), optional(e.Seen, Significant), optional(e.Found, Significant), optional(e.FoundAny, Significant)})
	}
	return t
}

// AccumulatorTable has a row per tensor.
func (s *Signoff) AccumulatorTable() Table {
	t := Table{Title: "How full the accumulators get", Head: []string{"layer", "tensor", "on recordings", "found", "share of its bound", "proven bound", "limit"}, Numbers: 2}
	for _, a := range s.Accumulators {
		t.Rows = append(t.Rows, []string{a.Layer, a.Tensor, strconv.FormatInt(a.Seen, 10), strconv.FormatInt(a.Found, 10), percent(&a.Share), strconv.FormatInt(a.Bound, 10), strconv.FormatInt(a.Limit, 10)})
	}
	return t
}

// extremeTables are empty where nothing was searched.
func (s *Signoff) extremeTables() []Table {
	if len(s.Extremes) == 0 {
		return nil
	}
	return []Table{s.ExtremeTable(), s.AccumulatorTable()}
}

// extremeLegend explains the columns of both.
func (s *Signoff) extremeLegend() string {
	if len(s.Extremes) == 0 {
		return ""
	}
	return " Differences are those between fixed and the float network it was made of, at one step: the average and the largest on the recordings, and the largest that a search for bad inputs found, with every feature within its recorded range, or with any input that the format holds. What a search finds is no bound."
}
