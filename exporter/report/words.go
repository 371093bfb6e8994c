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

// Percent prints a fraction in percent with one decimal; nothing for NaN.
func Percent(v float64) string {
	if math.IsNaN(v) {
		return ""
	}
	if math.Abs(100*v) < 0.05 {
		v = 0 // no minus before 0.0
	}
	return strconv.FormatFloat(100*v, 'f', 1, 64) + " %"
}

// OptionalPercent prints a fraction as [Percent] does; nothing for nil.
func OptionalPercent(v *float64) string { return Optional(v, Percent) }

// Points prints a difference of shares in percentage points.
func Points(v float64) string { return strings.TrimSuffix(Percent(v), " %") + " points" }

// UsedPercent prints the share of a limit or tolerance that is used, in whole percent, with as many
// decimals as show whether it is broken; 0 % for a share below 0, nothing for nil.
func UsedPercent(v *float64) string {
	return Optional(v, func(v float64) string {
		v = math.Max(v, 0)
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

// wholePercent prints a fraction in percent without decimals.
func wholePercent(v float64) string { return strconv.FormatFloat(100*v, 'f', 0, 64) + " %" }

// Quantity prints a value of the cost table in a unit that suits its size. The unit is that of
// [budget.Cost]: B, s, J, A or cycles; a value without a unit is a share.
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
	v = math.Round(v)
	if v < 0 {
		return "-" + grouped(-v)
	}
	digits := strconv.FormatFloat(math.Abs(v), 'f', 0, 64)
	var b strings.Builder
	for i, d := range digits {
		if i > 0 && (len(digits)-i)%3 == 0 {
			b.WriteByte(' ')
		}
		b.WriteRune(d)
	}
	return b.String()
}

// Optional prints a value with show; nothing for nil.
func Optional(v *float64, show func(float64) string) string {
	if v == nil {
		return ""
	}
	return show(*v)
}

// withInterval prints a value with its interval, where both ends are known; nothing for a value
// that is nil.
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

// signed prints a change with its sign; 0 for one that is printed as none.
func signed(v float64, show func(float64) string) string {
	switch {
	case show(math.Abs(v)) == show(0):
	case v > 0:
		return "+" + show(v)
	case v < 0:
		return "-" + show(-v)
	}
	return "0"
}

// shownAs returns how the figure that a tolerance of a row is on is printed: a rise in percent, a
// drop of a share of steps in points, an explained share in percent, any other value as a figure. A
// row that is nil counts as an error in the unit of an output.
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

// ShortVerdict returns a verdict as tables show it.
func ShortVerdict(v budget.Verdict) string {
	switch v {
	case budget.NotEnough:
		return "not enough"
	case budget.NoEstimate:
		return string(budget.NotEstimated)
	}
	return string(v)
}

// Plural returns a number with a noun, which takes an s where the number is not 1.
func Plural(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return strconv.Itoa(n) + " " + noun + "s"
}

// joinInts lists numbers with commas.
func joinInts(values []int) string {
	texts := make([]string, len(values))
	for i, v := range values {
		texts[i] = strconv.Itoa(v)
	}
	return strings.Join(texts, ", ")
}

// wordName names the word of a tensor by its bits, such as int8; nothing for 0 bits.
func wordName(bits int) string {
	if bits == 0 {
		return ""
	}
	return fmt.Sprintf("int%d", bits)
}

// ShortHash shortens a hash to the 16 digits that tell files apart in practice. The files of a
// handoff have whole hashes.
func ShortHash(hash string) string {
	if len(hash) > 16 {
		return hash[:16] + "..."
	}
	return hash
}

// Spaced returns the name of a metric, resource, part or item with blanks for underscores.
func Spaced[T ~string](name T) string { return strings.ReplaceAll(string(name), "_", " ") }
