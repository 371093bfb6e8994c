package targets

import (
	"math"
	"slices"
	"strconv"
	"strings"
)

// FormatBytes prints an amount of memory for people: whole bytes below 1 KiB ("940 B"), else KiB or
// MiB to the nearest tenth ("1.2 KiB", "24 KiB"). The text loses digits: never compare or store it.
func FormatBytes(n int64) string {
	if n > -1024 && n < 1024 {
		return strconv.FormatInt(n, 10) + " B"
	}
	tenths := math.Round(float64(n) / 1024 * 10)
	name := "KiB"
	if math.Abs(tenths) >= 1024*10 {
		tenths = math.Round(float64(n) / (1024 * 1024) * 10)
		name = "MiB"
	}
	return strconv.FormatFloat(tenths/10, 'f', -1, 64) + " " + name
}

// FormatSeconds prints a time for people, with three significant digits, in ns, us, ms or s.
func FormatSeconds(v float64) string {
	return formatScaled(v, 3, []unit{{"s", 0}, {"ms", -3}, {"us", -6}, {"ns", -9}})
}

// FormatSpan prints a long time for people, with three significant digits: in days from two days
// on, in hours from two hours on, else as FormatSeconds.
func FormatSpan(v float64) string {
	switch {
	case v >= 2*secondsPerDay:
		return formatScaled(v/secondsPerDay, 3, []unit{{"d", 0}})
	case v >= 2*secondsPerHour:
		return formatScaled(v/secondsPerHour, 3, []unit{{"h", 0}})
	}
	return FormatSeconds(v)
}

// FormatAmperes prints an electric current for people, with three significant digits, in nA, uA, mA
// or A.
func FormatAmperes(v float64) string {
	return formatScaled(v, 3, []unit{{"A", 0}, {"mA", -3}, {"uA", -6}, {"nA", -9}})
}

// FormatJoules prints an energy for people, with three significant digits, in nJ, uJ, mJ or J.
func FormatJoules(v float64) string {
	return formatScaled(v, 3, []unit{{"J", 0}, {"mJ", -3}, {"uJ", -6}, {"nJ", -9}})
}

// FormatHertz prints a frequency for people, with six significant digits (enough for the crystals
// in use, such as 7.3728 MHz), in Hz, kHz, MHz or GHz.
func FormatHertz(v float64) string {
	return formatScaled(v, 6, []unit{{"GHz", 9}, {"MHz", 6}, {"kHz", 3}, {"Hz", 0}})
}

// formatScaled prints v with the given number of significant digits, in the first of the units in
// which v is at least 1, else in the last unit. The units stand for powers of ten, largest first.
// Infinities and NaN take the first unit.
func formatScaled(v float64, digits int, units []unit) string {
	if math.IsInf(v, 0) || math.IsNaN(v) {
		return strconv.FormatFloat(v, 'f', -1, 64) + " " + units[0].name
	}
	// The value is rounded before the unit is chosen: 999.9 us with three digits is 1 ms.
	rounded, err := strconv.ParseFloat(strconv.FormatFloat(v, 'e', digits-1, 64), 64)
	if err != nil { // rounded up beyond the largest float64
		rounded = v
	}
	if rounded == 0 {
		return "0 " + units[slices.IndexFunc(units, func(u unit) bool { return u.power == 0 })].name
	}
	u := units[len(units)-1]
	for _, larger := range units {
		if math.Abs(rounded) >= math.Pow10(larger.power) {
			u = larger
			break
		}
	}
	scaled := rounded / math.Pow10(u.power)
	decimals := max(0, digits-1-powerOfTen(math.Abs(scaled)))
	text := strconv.FormatFloat(scaled, 'f', decimals, 64)
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	return text + " " + u.name
}

// powerOfTen returns the exponent of the largest power of ten that is not above v; v is finite and
// above 0.
func powerOfTen(v float64) int {
	power := 0
	for ; math.Pow10(power) > v; power-- {
	}
	for ; math.Pow10(power+1) <= v; power++ {
	}
	return power
}
