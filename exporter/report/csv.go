package report

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"kerf/budget"
)

// csvHead names the columns of signoff.csv. The row of section verdict has the verdict and as text
// the reason; rows of section cause have the kind as metric, the place as part, the error as given
// as float and read otherwise as value; the row of section checked has the job's reason as text.
// Rows of section loss use output, scenario, region, metric; rows of section explained have the
// metrics explained, explained_low and explained_high, and the recordings as part; rows of section
// cost use target, resource, part; rows of section difference have the metrics of [ExtremeRow],
// under their names in signoff.json; rows of section chain have the step as part, under its name in
// signoff.json; those of section accumulator seen and found, with the tensor as part and its proven
// bound as limit; rows of section fault have the feature as text, the fault as part, and the metric
// without the fault as fixed and with it as value; limit_on is at_least where the limit is a least
// value; estimate stands beside measured values; compiler and known are as in [CostRow].
var csvHead = strings.Fields("section output scenario region metric target resource part unit " +
	"float cut recovered fixed rise rise_low rise_high value limit limit_on margin kind " +
	"sequences steps verdict estimate text compiler known")

// csvRow is one row of signoff.csv by column; what it does not name is empty.
type csvRow map[string]any

// cells are the texts of a row in the order of csvHead: numbers at full precision, nothing for what
// is nil, texts so that no spreadsheet takes them for a formula. A column that csvHead does not
// have is a mistake of this file and panics.
func (r csvRow) cells() []string {
	cells := make([]string, len(csvHead))
	for column, value := range r {
		text := ""
		switch v := value.(type) {
		case float64:
			text = full(&v)
		case *float64:
			text = full(v)
		default:
			text = fmt.Sprint(v)
		}
		cells[slices.Index(csvHead, column)] = SafeCell(text)
	}
	return cells
}

// CSV returns signoff.csv: the verdict, and every row of loss and cost at full precision.
func (s *Signoff) CSV() ([]byte, error) {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	write := func(row csvRow) { w.Write(row.cells()) } // errors are sticky and reported below
	w.Write(csvHead)
	s.writeVerdict(write)
	for _, l := range s.Loss {
		write(csvRow{"section": "loss", "output": l.Output, "scenario": l.Scenario,
			"region": l.Region, "metric": l.Metric, "unit": l.Unit, "float": l.Float, "cut": l.Cut,
			"recovered": l.Recovered, "fixed": l.Fixed, "rise": l.Rise, "rise_low": l.RiseLow,
			"rise_high": l.RiseHigh, "value": l.Fixed, "limit": l.Tolerance,
			"limit_on": l.ToleranceOn, "margin": l.Margin, "kind": l.Kind,
			"sequences": l.Sequences, "steps": l.Steps, "verdict": l.Verdict})
	}
	if s.Chain != nil {
		s.Chain.write(write)
	}
	for _, x := range s.Explained {
		for _, f := range []metricValue{{"explained", x.Given}, {"explained_low", x.GivenLow},
			{"explained_high", x.GivenHigh}} {
			write(csvRow{"section": "explained", "output": x.Output, "scenario": x.Scenario,
				"region": x.Region, "metric": f.metric, "part": x.On, "float": x.Given,
				"fixed": x.Fixed, "value": f.value, "kind": budget.Measured,
				"sequences": x.Sequences, "steps": x.Steps})
		}
	}
	for _, c := range s.Cost {
		on := ""
		if c.AtLeast {
			on = "at_least"
		}
		write(csvRow{"section": "cost", "target": c.Target, "resource": c.Resource, "part": c.Part,
			"unit": c.Unit, "value": c.Value, "limit": c.Limit, "limit_on": on, "margin": c.Margin,
			"kind": c.Kind, "verdict": c.Verdict, "estimate": c.Estimate, "compiler": c.Compiler,
			"known": c.Known})
	}
	for _, e := range s.Extremes {
		for _, f := range []metricValue{
			{"mean", e.Mean}, {"seen", e.Seen},
			{"found_recorded", e.Found}, {"found_any", e.FoundAny},
			{"given_mean", e.GivenMean}, {"given_seen", e.GivenSeen},
			{"given_found_recorded", e.GivenFound}, {"given_found_any", e.GivenAny},
			{"given_found_dropped", e.GivenDropped},
		} {
			write(csvRow{"section": "difference", "output": e.Output, "metric": f.metric,
				"unit": e.Unit, "value": f.value, "kind": e.Kind})
		}
	}
	for _, a := range s.Accumulators {
		for i, value := range []int64{a.Seen, a.Found} {
			write(csvRow{"section": "accumulator", "metric": []string{"seen", "found"}[i],
				"part": a.Layer + "." + a.Tensor, "value": value, "limit": a.Bound,
				"kind": budget.Measured})
		}
	}
	if s.Faults != nil {
		s.Faults.write(write)
	}
	w.Flush()
	return b.Bytes(), w.Error()
}

// metricValue is one of several figures of a record that have a row each.
type metricValue struct {
	metric string
	value  *float64
}

// writeVerdict writes the verdict with its reason, what speaks against the network as given, and
// why the job lets the verdict stand.
func (s *Signoff) writeVerdict(write func(csvRow)) {
	write(csvRow{"section": "verdict", "verdict": s.Verdict, "text": s.Reason})
	for _, c := range s.Causes {
		write(csvRow{"section": "cause", "output": c.Output, "metric": c.Kind, "part": c.Place,
			"unit": c.Unit, "float": c.Given, "value": c.With, "kind": budget.Measured,
			"text": c.Text})
	}
	if s.Checked != "" {
		write(csvRow{"section": "checked", "text": s.Checked})
	}
}

// full prints a number so that reading it back gives the same number; nothing for nil.
func full(v *float64) string {
	return Optional(v, func(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) })
}
