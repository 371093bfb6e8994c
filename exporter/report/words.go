package report

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"kerf/budget"
	"kerf/dataset"
	"kerf/targets"
)

// Significant prints a measured figure with three or four digits.
func Significant(v float64) string {
	switch a := math.Abs(v); {
	case a == 0:
		return "0"
	case a < 0.001 || a >= 1e6:
		return strconv.FormatFloat(v, 'g', 3, 64)
	case a < 1:
		return strconv.FormatFloat(v, 'f', 4, 64)
	case a < 100:
		return strconv.FormatFloat(v, 'f', 3, 64)
	}
	return strconv.FormatFloat(v, 'f', 0, 64)
}

// Percent prints a fraction for people; nothing when it is not a number.
func Percent(v float64) string {
	if math.IsNaN(v) {
		return ""
	}
	if math.Abs(100*v) < 0.05 {
		v = 0 // no minus before 0.0
	}
	return strconv.FormatFloat(100*v, 'f', 1, 64) + " %"
}

func OptionalPercent(v *float64) string { return Optional(v, Percent) }

// Points prints a difference of shares, in percentage points.
func Points(v float64) string { return strings.TrimSuffix(Percent(v), " %") + " points" }

// usedPercent prints a share of a tolerance in whole percent, and with as many decimals as show
// whether that is broken.
func UsedPercent(v *float64) string {
	return Optional(v, func(v float64) string {
		text := ""
		for decimals := range 15 {
			text = strconv.FormatFloat(100*v, 'f', decimals, 64)
			if shown, _ := strconv.ParseFloat(text, 64); (shown > 100) == (v > 1) {
				break
			}
		}
		return text + " %"
	})
}

func wholePercent(v *float64) string {
	return Optional(v, func(v float64) string {
		if v < 0 && v > -0.005 {
			return Percent(v) // what is beyond a limit by less than half a percent shows that it is
		}
		return strconv.FormatFloat(100*v, 'f', 0, 64) + " %"
	})
}

// Quantity prints a value of the cost table for people. A value without a unit is a share.
func Quantity(v float64, unit string) string {
	switch unit {
	case "B":
		return targets.FormatBytes(int64(math.Round(v)))
	case "s":
		return targets.FormatSpan(v)
	case "J":
		return targets.FormatJoules(v)
	case "A":
		return targets.FormatAmperes(v)
	case "":
		return OptionalPercent(&v)
	}
	return grouped(v)
}

// grouped prints a whole number in groups of three digits.
func grouped(v float64) string {
	digits := strconv.FormatFloat(math.Round(v), 'f', 0, 64)
	var b strings.Builder
	for i, d := range digits {
		if i > 0 && (len(digits)-i)%3 == 0 {
			b.WriteByte(' ')
		}
		b.WriteRune(d)
	}
	return b.String()
}

func Optional(v *float64, show func(float64) string) string {
	if v == nil {
		return ""
	}
	return show(*v)
}

// withInterval prints a value with its interval, if there is one.
func withInterval(show func(float64) string, v, low, high *float64) string {
	switch {
	case v == nil:
		return ""
	case low == nil || high == nil:
		return show(*v)
	}
	return fmt.Sprintf("%s [%s, %s]", show(*v), strings.TrimSuffix(show(*low), " %"),
		strings.TrimSuffix(show(*high), " %"))
}

func signed(v float64, show func(float64) string) string {
	switch {
	case v > 0:
		return "+" + show(v)
	case v < 0:
		return "-" + show(-v)
	}
	return "0"
}

// Shown prints a value that is compared with the tolerance of a row.
func Shown(l budget.Loss, v float64) string { return shownAs(&l.RowName, l.On())(v) }

// shownAs prints what a tolerance on a row is on: a rise in percent, a drop in points, or a value.
// A row without a name is taken for an error.
func shownAs(n *budget.RowName, on budget.ToleranceOn) func(float64) string {
	switch {
	case n != nil && n.Metric == dataset.Explained:
		return Percent
	case on == budget.OnRise && n != nil && n.Metric.IsShare():
		return Points
	case on == budget.OnRise:
		return Percent
	}
	return Significant
}

// ShortVerdict is a verdict as tables show it.
func ShortVerdict(v budget.Verdict) string {
	if v == budget.NotEnough {
		return "not enough"
	}
	return string(v)
}

func Plural(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return strconv.Itoa(n) + " " + noun + "s"
}

func joinInts(values []int) string {
	parts := make([]string, len(values))
	for i, v := range values {
		parts[i] = strconv.Itoa(v)
	}
	return strings.Join(parts, ", ")
}

func word(bits int) string {
	if bits == 0 {
		return ""
	}
	return fmt.Sprintf("int%d", bits)
}

// ShortHash is what identifies a file in practice; the files of a handoff have hashes whole.
func ShortHash(hash string) string {
	if len(hash) > 16 {
		return hash[:16] + "..."
	}
	return hash
}

// spaced is a metric or resource in words.
func Spaced[T ~string](name T) string { return strings.ReplaceAll(string(name), "_", " ") }

// RowText writes the names that a row is made of into one text, as kerf explain takes it: with /
// between them, and a backslash before a / or a backslash inside a name.
func RowText(names ...string) string {
	parts := make([]string, len(names))
	for i, name := range names {
		parts[i] = slashes.Replace(name)
	}
	return strings.Join(parts, "/")
}

var slashes = strings.NewReplacer(`\`, `\\`, "/", `\/`)
