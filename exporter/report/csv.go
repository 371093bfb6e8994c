package report

import (
	"bytes"
	"encoding/csv"
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
// under their names in signoff.json; those of section accumulator seen and found, with the tensor
// as part and its proven bound as limit; limit_on is at_least where the limit is a least value;
// estimate stands beside measured values.
var csvHead = strings.Fields("section output scenario region metric target resource part unit " +
	"float cut recovered fixed rise rise_low rise_high value limit limit_on margin kind " +
	"sequences steps verdict estimate text")

// CSV is signoff.csv: the verdict, and every row of loss and cost at full precision.
func (s *Signoff) CSV() ([]byte, error) {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	write := func(cells ...string) {
		padded := make([]string, len(csvHead))
		for i := range cells {
			padded[i] = SafeCell(cells[i])
		}
		w.Write(padded) // errors are sticky and reported below
	}
	w.Write(csvHead)
	s.writeVerdict(write)
	for _, l := range s.Loss {
		write("loss", l.Output, l.Scenario, l.Region, l.Metric, "", "", "", l.Unit,
			full(&l.Float), full(&l.Cut), full(l.Recovered), full(&l.Fixed), full(l.Rise),
			full(l.RiseLow), full(l.RiseHigh),
			full(&l.Fixed), full(l.Tolerance), l.ToleranceOn, full(l.Margin), l.Kind,
			strconv.Itoa(l.Sequences), strconv.Itoa(l.Steps), l.Verdict, "")
	}
	for _, x := range s.Explained {
		for _, f := range []struct {
			metric string
			value  *float64
		}{{"explained", x.Given}, {"explained_low", x.GivenLow}, {"explained_high", x.GivenHigh}} {
			write("explained", x.Output, x.Scenario, x.Region, f.metric, "", "", x.On, "",
				full(x.Given), "", "", full(x.Fixed), "", "", "", full(f.value), "", "", "",
				string(budget.Measured), strconv.Itoa(x.Sequences), strconv.Itoa(x.Steps), "", "")
		}
	}
	for _, c := range s.Cost {
		on := ""
		if c.AtLeast {
			on = "at_least"
		}
		write("cost", "", "", "", "", c.Target, c.Resource, c.Part, c.Unit,
			"", "", "", "", "", "", "", full(&c.Value), full(c.Limit), on, full(c.Margin), c.Kind,
			"", "", c.Verdict, full(c.Estimate))
	}
	for _, e := range s.Extremes {
		for _, f := range []struct {
			metric string
			value  *float64
		}{
			{"mean", e.Mean}, {"seen", e.Seen},
			{"found_recorded", e.Found}, {"found_any", e.FoundAny},
			{"given_mean", e.GivenMean}, {"given_seen", e.GivenSeen},
			{"given_found_recorded", e.GivenFound}, {"given_found_any", e.GivenAny},
			{"given_found_dropped", e.GivenDropped},
		} {
			write("difference", e.Output, "", "", f.metric, "", "", "", e.Unit, "", "", "", "", "",
				"", "", full(f.value), "", "", "", e.Kind, "", "", "", "")
		}
	}
	for _, a := range s.Accumulators {
		bound := strconv.FormatInt(a.Bound, 10)
		for i, value := range []int64{a.Seen, a.Found} {
			write("accumulator", "", "", "", []string{"seen", "found"}[i], "", "",
				a.Layer+"."+a.Tensor, "", "", "", "", "", "", "", "", strconv.FormatInt(value, 10),
				bound, "", "", string(budget.Measured), "", "", "", "")
		}
	}
	w.Flush()
	return b.Bytes(), w.Error()
}

// writeVerdict writes the verdict with its reason, what speaks against the network as given, and
// why the job lets the verdict stand.
func (s *Signoff) writeVerdict(write func(cells ...string)) {
	row := func(values map[string]string) {
		cells := make([]string, len(csvHead))
		for column, value := range values {
			cells[slices.Index(csvHead, column)] = value
		}
		write(cells...)
	}
	row(map[string]string{"section": "verdict", "verdict": s.Verdict, "text": s.Reason})
	for _, c := range s.Causes {
		row(map[string]string{"section": "cause", "output": c.Output, "metric": c.Kind,
			"part": c.Place,
			"unit": c.Unit, "float": full(c.Given), "value": full(c.With),
			"kind": string(budget.Measured), "text": c.Text})
	}
	if s.Checked != "" {
		row(map[string]string{"section": "checked", "text": s.Checked})
	}
}

func full(v *float64) string {
	return Optional(v, func(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) })
}
