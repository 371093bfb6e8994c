package exporter

import (
	"bytes"
	"encoding/csv"
	"strconv"
	"strings"
)

// csvHead names the columns of signoff.csv. Rows of section loss use output,
// scenario, region, metric; rows of section cost use target, resource, part;
// limit_on is at_least where the limit is a least value.
var csvHead = strings.Fields("section output scenario region metric target resource part unit float cut recovered fixed rise rise_low rise_high value limit limit_on margin kind sequences steps verdict")

// CSV is signoff.csv: every row of loss and cost at full precision.
func (s *Signoff) CSV() ([]byte, error) {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.Write(csvHead) // errors are sticky and reported below
	for _, l := range s.Loss {
		w.Write([]string{"loss", SafeCell(l.Output), SafeCell(l.Scenario), SafeCell(l.Region), l.Metric, "", "", "", SafeCell(l.Unit),
			full(&l.Float), full(&l.Cut), full(l.Recovered), full(&l.Fixed), full(l.Rise), full(l.RiseLow), full(l.RiseHigh),
			full(&l.Fixed), full(l.Tolerance), l.ToleranceOn, full(l.Margin), l.Kind, strconv.Itoa(l.Sequences), strconv.Itoa(l.Steps), l.Verdict})
	}
	for _, c := range s.Cost {
		on := ""
		if c.AtLeast {
			on = "at_least"
		}
		w.Write([]string{"cost", "", "", "", "", SafeCell(c.Target), c.Resource, c.Part, c.Unit,
			"", "", "", "", "", "", "", full(&c.Value), full(c.Limit), on, full(c.Margin), c.Kind, "", "", c.Verdict})
	}
	w.Flush()
	return b.Bytes(), w.Error()
}

// SafeCell keeps a spreadsheet from taking text from a file for a formula.
func SafeCell(text string) string {
	if text != "" && strings.ContainsRune("=+-@\t\r", rune(text[0])) {
		return "'" + text
	}
	return text
}

func full(v *float64) string {
	return optional(v, func(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) })
}
