package report

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"kerf/budget"
	"kerf/dataset"
)

// ChainInfo says what the steps on the way from samples to outputs do to the accuracy.
type ChainInfo struct {
	Sequences int        `json:"sequences"` // of the sign-off recordings that have samples
	Rows      []ChainRow `json:"rows"`
	Grids     []GridRow  `json:"grids"`
	// The channels that kept features are computed from, whose converters are compared.
	Channels []string `json:"channels"`
	// The network with converters of fewer and fewer bits; none where its choice breaks a
	// tolerance, or takes no computed feature.
	Converters []ConverterRow `json:"converters"`
}

// ChainRow is a judged row of the accuracy on these sequences after every step; each has one thing
// more than the one before it. Where nothing is judged it is a row of the first metric.
type ChainRow struct {
	budget.RowName
	Unit      string   `json:"unit"`
	Float     *float64 `json:"float"`     // the network as given, features as recorded
	Computed  *float64 `json:"computed"`  // features in double precision from samples
	Converter *float64 `json:"converter"` // the same from values of converter codes
	FrontEnd  *float64 `json:"front_end"` // features that integers compute of the codes
	Cut       *float64 `json:"cut"`       // the float network that was rounded
	Fixed     *float64 `json:"fixed"`     // the integer network
}

// GridRow is a channel whose samples a converter coarser than that of the job recorded.
type GridRow struct {
	Channel string  `json:"channel"`
	Unit    string  `json:"unit"`
	Apart   float64 `json:"apart"` // of samples
	Step    float64 `json:"step"`  // of the converter of the job
}

// ConverterRow is what the network may reach with converters of some bits, on selection recordings.
type ConverterRow struct {
	Bits []int `json:"bits"` // per channel
	Tightest
	Used   *float64 `json:"tolerance_used"`
	Within bool     `json:"within"` // of every tolerance, with the reserve for the sign-off
}

// addChain fills what the job with samples has.
func (s *Signoff) addChain(r *budget.Result) {
	if r.Chain == nil {
		return
	}
	c := &ChainInfo{Sequences: r.Chain.Sequences, Rows: []ChainRow{}, Grids: []GridRow{},
		Channels: []string{}, Converters: []ConverterRow{}}
	for _, l := range r.Chain.Rows {
		c.Rows = append(c.Rows, ChainRow{l.RowName, l.Unit, Finite(l.Float), Finite(l.Computed),
			Finite(l.Converter), Finite(l.FrontEnd), Finite(l.Cut), Finite(l.Fixed)})
	}
	for _, g := range r.Chain.Grids {
		c.Grids = append(c.Grids, GridRow(g))
	}
	if r.Converters != nil {
		c.Channels = r.Converters.Channels
		for _, t := range r.Converters.Tried {
			c.Converters = append(c.Converters, ConverterRow{t.Bits, newTightest(t.Tightest),
				Finite(t.Used), t.Within})
		}
	}
	s.Chain = c
}

// write writes a row per step and row of the accuracy.
func (c *ChainInfo) write(write func(csvRow)) {
	for _, l := range c.Rows {
		for _, step := range []metricValue{{"float", l.Float}, {"computed", l.Computed},
			{"converter", l.Converter}, {"front_end", l.FrontEnd}, {"cut", l.Cut},
			{"fixed", l.Fixed}} {
			write(csvRow{"section": "chain", "output": l.Output, "scenario": l.Scenario,
				"region": l.Region, "metric": l.Metric, "part": step.metric, "unit": l.Unit,
				"value": step.value, "kind": budget.Measured})
		}
	}
}

// chainTitle is the title of tables of the chain.
func (s *Signoff) chainTitle() string {
	return fmt.Sprintf("Step by step from samples to outputs, on %s with samples (measured)",
		Plural(s.Chain.Sequences, "sign-off sequence"))
}

// chainHead names the figures of a row of the chain.
var chainHead = []string{"float", "computed", "converter", "front end", "cut", "fixed"}

// cells prints the figures of a row in the order of chainHead.
func (l *ChainRow) cells() []string {
	show := Significant
	if l.Metric == dataset.Explained {
		show = Percent
	}
	var cells []string
	for _, v := range []*float64{l.Float, l.Computed, l.Converter, l.FrontEnd, l.Cut, l.Fixed} {
		cells = append(cells, Optional(v, show))
	}
	return cells
}

// metricAndUnit names the metric in words, with the unit of its values.
func (l *ChainRow) metricAndUnit() string {
	return strings.TrimSpace(Spaced(l.Metric) + " " + l.Unit)
}

// AllChainTables has what every step from samples to outputs adds, in one table, and converters of
// fewer bits; none without samples.
func (s *Signoff) AllChainTables() []Table {
	if s.Chain == nil {
		return nil
	}
	t := Table{Title: s.chainTitle(), Head: slices.Concat([]string{"output", "where", "metric"},
		chainHead), Numbers: 3}
	for i := range s.Chain.Rows {
		l := &s.Chain.Rows[i]
		t.Rows = append(t.Rows, slices.Concat([]string{l.Output, l.WhereName(),
			l.metricAndUnit()}, l.cells()))
	}
	tables := s.converterTables()
	if len(t.Rows) > 0 {
		tables = append([]Table{t}, tables...)
	}
	return tables
}

// checkConverters returns an error where what is said of a converter does not follow from the
// figure beside it.
func (s *Signoff) checkConverters() error {
	if s.Chain == nil {
		return nil
	}
	for _, c := range s.Chain.Converters {
		if within := c.Used != nil && *c.Used <= 1; c.Within != within {
			return fmt.Errorf("converters of %s bits are said to be within every tolerance: %v, "+
				"their figures give %v", s.bits(c.Bits), c.Within, within)
		}
	}
	return nil
}

// ChainTables has the same in a table per output and metric.
func (s *Signoff) ChainTables() []Table {
	if s.Chain == nil {
		return nil
	}
	var tables []Table
	index := map[string]int{}
	for i := range s.Chain.Rows {
		l := &s.Chain.Rows[i]
		of := l.Output + ": " + l.metricAndUnit()
		at, known := index[of]
		if !known {
			at = len(tables)
			index[of] = at
			tables = append(tables, Table{Title: s.chainTitle(),
				Head: slices.Concat([]string{of}, chainHead), Numbers: 1})
		}
		tables[at].Rows = append(tables[at].Rows, slices.Concat([]string{l.WhereName()},
			l.cells()))
	}
	return append(tables, s.converterTables()...)
}

// converterTables has a table with a row for converters of so many bits, where they were compared.
func (s *Signoff) converterTables() []Table {
	if len(s.Chain.Converters) == 0 {
		return nil
	}
	t := Table{Title: "Converters of fewer bits on selection recordings: " + s.WouldDo(),
		Head: []string{"bits", "tightest row", "may reach", "limit", "used"}, Numbers: 2}
	for _, c := range s.Chain.Converters {
		show := shownAs(c.Row, c.On)
		t.Rows = append(t.Rows, []string{s.bits(c.Bits), c.TightestText(),
			Optional(c.MayReach, show), show(c.Tolerance), UsedPercent(c.Used)})
	}
	return []Table{t}
}

// WouldDo says how few bits the converters could have, in a clause.
func (s *Signoff) WouldDo() string {
	tried := s.Chain.Converters
	switch few := slices.IndexFunc(tried, func(c ConverterRow) bool { return !c.Within }); {
	case few == 0:
		return s.bits(tried[0].Bits) + " bits would not do, and of more the samples tell nothing"
	case few > 0:
		return s.bits(tried[few-1].Bits) + " bits would do, " + s.bits(tried[few].Bits) +
			" would not"
	}
	return s.bits(tried[len(tried)-1].Bits) + " bits would do"
}

// bits lists the bits of converters: one number where they are alike.
func (s *Signoff) bits(bits []int) string {
	alike := true
	for _, b := range bits {
		alike = alike && b == bits[0]
	}
	if alike && len(bits) > 0 {
		return strconv.Itoa(bits[0])
	}
	texts := make([]string, min(len(bits), len(s.Chain.Channels)))
	for i := range texts {
		texts[i] = fmt.Sprintf("%s %d", s.Chain.Channels[i], bits[i])
	}
	return strings.Join(texts, ", ")
}

// chainLegend explains the columns of the chain; empty without samples.
func (s *Signoff) chainLegend() string {
	if s.Chain == nil {
		return ""
	}
	return " Where a sequence has samples, cut and fixed run on features that integers compute " +
		"of converter codes, and float on those that were recorded. Step by step each column has " +
		"what the one before it has and one thing more: float, features as recorded; computed, " +
		"features in double precision from samples; converter, the same from converter codes; " +
		"front end, features in integers; cut, the network that was rounded; fixed, the integer " +
		"network."
}
