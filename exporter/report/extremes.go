package report

import (
	"slices"
	"strconv"

	"kerf/budget"
	"kerf/quant"
)

// ExtremeRow is how far the integer network strays in one output: magnitudes of the difference at a
// step, in the unit. Fields with given in their name are differences from the network as given; the
// others are made by rounding alone, as differences from the float network that was rounded.
type ExtremeRow struct {
	Output string `json:"output"`
	Unit   string `json:"unit"`

	Mean *float64 `json:"mean"` // on the sign-off recordings
	Seen *float64 `json:"seen"` // largest on them
	// Largest that a search found, every feature within its recorded range.
	Found *float64 `json:"found_recorded"`
	// The same with any inputs that the input format holds.
	FoundAny *float64 `json:"found_any"`

	GivenMean *float64 `json:"given_mean"`
	GivenSeen *float64 `json:"given_seen"`
	// Kept features are within their recorded range, dropped ones as recorded.
	GivenFound *float64 `json:"given_found_recorded"`
	// Kept features have any values that the input format holds, dropped ones are as recorded.
	GivenAny *float64 `json:"given_found_any"`
	// Every feature is within its recorded range; nil: none was dropped.
	GivenDropped *float64 `json:"given_found_dropped"`

	Kind budget.Kind `json:"kind"` // measured: a search proves no bound
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

// addExtremes fills both tables with what [quant.Network.Extremes] found.
func (s *Signoff) addExtremes(net *quant.Network, e *quant.Extremes) {
	if e == nil {
		return
	}
	for i, given := range e.Given {
		o, rounding := net.Outputs[i], e.Rounding[i]
		row := ExtremeRow{
			Output: o.Name, Unit: o.Unit, Kind: budget.Measured,
			Mean: Finite(rounding.Mean), Seen: Finite(rounding.Seen),
			Found: Finite(rounding.Found), FoundAny: Finite(rounding.Any),
			GivenMean: Finite(given.Mean), GivenSeen: Finite(given.Seen),
			GivenFound: Finite(given.Found), GivenAny: Finite(given.Any),
		}
		if len(s.Dropped.Features) > 0 {
			row.GivenDropped = Finite(given.Dropped)
		}
		s.Extremes = append(s.Extremes, row)
	}
	for i, a := range e.Accumulators {
		f := s.Formats[i]
		s.Accumulators = append(s.Accumulators,
			AccumulatorRow{f.Layer, f.Tensor, a.Seen, a.Found, a.Share, f.Bound, f.Limit})
	}
}

// isUncut reports whether the float network that was rounded is the network as given.
func (s *Signoff) isUncut() bool {
	isCut := func(units []int) bool { return len(units) > 0 }
	return len(s.Dropped.Features) == 0 && s.Recovery == nil &&
		!slices.ContainsFunc(s.Dropped.Units, isCut)
}

// ExtremeTable has a row per output with the difference from the network as given, on average and
// at its largest, and where something was cut or trained one with the difference that rounding
// alone makes.
func (s *Signoff) ExtremeTable() Table {
	t := Table{Title: "Difference from the network as given, at its worst (measured)",
		Head: []string{"difference", "average", "largest", "found", "any input"}, Numbers: 1}
	hasDropped := len(s.Dropped.Features) > 0
	if hasDropped {
		t.Head = append(t.Head, "cut ones too")
	}
	add := func(name string, figures ...*float64) {
		row := []string{name}
		for _, f := range figures {
			row = append(row, Optional(f, Significant))
		}
		t.Rows = append(t.Rows, row[:len(t.Head)])
	}
	for _, e := range s.Extremes {
		name := e.Output
		if e.Unit != "" {
			name += ", " + e.Unit
		}
		add(name, e.GivenMean, e.GivenSeen, e.GivenFound, e.GivenAny, e.GivenDropped)
		if !s.isUncut() {
			add(e.Output+", rounding alone", e.Mean, e.Seen, e.Found, e.FoundAny, nil)
		}
	}
	return t
}

// AccumulatorTable has a row per tensor.
func (s *Signoff) AccumulatorTable() Table {
	t := Table{Title: "How full the accumulators get",
		Head: []string{"layer", "tensor", "on recordings", "found", "share of its bound",
			"proven bound", "limit"}, Numbers: 2}
	for _, a := range s.Accumulators {
		t.Rows = append(t.Rows,
			[]string{a.Layer, a.Tensor, strconv.FormatInt(a.Seen, 10),
				strconv.FormatInt(a.Found, 10), OptionalPercent(&a.Share),
				strconv.FormatInt(a.Bound, 10),
				strconv.FormatInt(a.Limit, 10)})
	}
	return t
}

// extremeTables has both tables, or none where nothing was searched.
func (s *Signoff) extremeTables() []Table {
	if len(s.Extremes) == 0 {
		return nil
	}
	return []Table{s.ExtremeTable(), s.AccumulatorTable()}
}

// extremeLegend explains the columns of both tables.
func (s *Signoff) extremeLegend() string {
	if len(s.Extremes) == 0 {
		return ""
	}
	asRecorded, free, rounding := "", "", ""
	if len(s.Dropped.Features) > 0 {
		asRecorded = " and the cut ones as recorded"
		free = "; cut ones too: as found, with the cut ones anywhere in their recorded range"
	}
	switch {
	case s.isUncut() && s.Chain != nil:
		rounding = " Nothing was cut or trained: rounding makes the difference and, where a " +
			"sequence has samples, what integers make of them."
	case s.isUncut():
		rounding = " Nothing was cut or trained: rounding alone makes the difference."
	case s.Recovery != nil:
		rounding = " rounding alone: fixed against the network of column recovered."
	default:
		rounding = " rounding alone: fixed against the network of column cut."
	}
	return " Differences are those between fixed and float at one step, average and largest on" +
		" the recordings. found: the largest that a search for bad inputs found, with every" +
		" kept feature within its recorded range" + asRecorded + "; any input: the same with" +
		" any values of the kept ones that the format holds" + free + "." + rounding +
		" A search tries inputs that may never occur; what it finds is no bound."
}
