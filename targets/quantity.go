package targets

import (
	"fmt"
	"math/big"
	"slices"
	"strconv"
	"strings"

	"kerf/fault"
)

// BadValue returns the error of a text that is not what is wanted: msg says what is wrong, hint
// what to write instead. The place of the error is the quoted text.
func BadValue(text, msg, hint string) error {
	return &fault.Error{Name: strconv.Quote(text), Msg: msg, Hint: hint}
}

// unitTable holds the units of one kind of quantity.
type unitTable struct {
	what    string // "time"
	example string // `"1 ms"`
	units   []unit // smallest first
}

// unit is a unit and the power of ten, of two for units of memory, that it stands for.
type unit struct {
	name  string
	power int
}

var (
	byteUnits = unitTable{"memory size", `"24 KiB"`, []unit{{"B", 0}, {"KiB", 10}, {"MiB", 20}}}
	// The two characters that print as µ are the micro sign (U+00B5) and the Greek letter (U+03BC).
	timeUnits = unitTable{"time", `"1 ms"`, []unit{
		{"ns", -9}, {"us", -6}, {"\u00b5s", -6}, {"\u03bcs", -6}, {"ms", -3}, {"s", 0}}}
	hertzUnits = unitTable{"frequency", `"64 MHz"`,
		[]unit{{"Hz", 0}, {"kHz", 3}, {"MHz", 6}, {"GHz", 9}}}
	percentUnits = unitTable{"percentage", `"5 %"`, []unit{{"%", -2}}}
	ampereUnits  = unitTable{"current", `"3.2 mA"`, []unit{
		{"nA", -9}, {"uA", -6}, {"\u00b5A", -6}, {"\u03bcA", -6}, {"mA", -3}, {"A", 0}}}
	voltUnits  = unitTable{"voltage", `"3.3 V"`, []unit{{"mV", -3}, {"V", 0}}}
	jouleUnits = unitTable{"energy", `"20 uJ"`, []unit{
		{"nJ", -9}, {"uJ", -6}, {"\u00b5J", -6}, {"\u03bcJ", -6}, {"mJ", -3}, {"J", 0}}}
	// Hours and days are no powers of ten: ParseCoulombs and ParseSpan convert them.
	chargeUnits = unitTable{"capacity", `"230 mAh"`, []unit{{"mAh", -3}, {"Ah", 0}}}
	spanUnits   = unitTable{"time", `"400 d"`, []unit{{"s", 0}, {"h", 0}, {"d", 0}}}
)

// Seconds of an hour and of a day (The International System of Units, 9th edition, table 8).
const (
	secondsPerHour = 3600
	secondsPerDay  = 86400
)

// ambiguousBytes are the byte units that stand for 1000 in one document and for 1024 in the next.
var ambiguousBytes = []string{"k", "K", "kB", "KB", "M", "MB", "mB"}

// maxQuantityText bounds the text of a quantity, in bytes. Our choice: no written quantity needs
// more.
const maxQuantityText = 64

// ParseBytes reads an amount of memory: a number and one of B, KiB, MiB. The result is in bytes and
// is rounded up when it is not whole ("1.2 KiB" is 1228.8 B, so 1229), because a part of a byte
// takes a whole one. Errors are those of [BadValue].
func ParseBytes(s string) (int64, error) {
	number, name := splitQuantity(s)
	if slices.Contains(ambiguousBytes, name) {
		return 0, BadValue(s, fmt.Sprintf("unit %s is ambiguous: 1000 or 1024", name),
			"write KiB, MiB or B")
	}
	power, err := byteUnits.power(s, number, name)
	if err != nil {
		return 0, err
	}
	r, ok := new(big.Rat).SetString(number)
	if !ok {
		return 0, byteUnits.notNumber(s, number)
	}
	r.Mul(r, new(big.Rat).SetInt64(1<<power))
	n := new(big.Int).Add(r.Num(), new(big.Int).Sub(r.Denom(), big.NewInt(1)))
	n.Quo(n, r.Denom())
	if !n.IsInt64() {
		return 0, byteUnits.tooLarge(s)
	}
	return n.Int64(), nil
}

// ParseSeconds reads a time: a number and one of ns, us, ms, s. The result is in seconds.
// Errors are those of [BadValue].
func ParseSeconds(s string) (float64, error) { return timeUnits.parse(s) }

// ParseHertz reads a frequency: a number and one of Hz, kHz, MHz, GHz. The result is in hertz.
// Errors are those of [BadValue].
func ParseHertz(s string) (float64, error) { return hertzUnits.parse(s) }

// ParsePercent reads a percentage ("5 %") and returns it as a fraction (0.05).
// Errors are those of [BadValue].
func ParsePercent(s string) (float64, error) { return percentUnits.parse(s) }

// ParseAmperes reads an electric current: a number and one of nA, uA, mA, A. The result is in
// amperes. Errors are those of [BadValue].
func ParseAmperes(s string) (float64, error) { return ampereUnits.parse(s) }

// ParseVolts reads an electric voltage: a number and one of mV, V. The result is in volts.
// Errors are those of [BadValue].
func ParseVolts(s string) (float64, error) { return voltUnits.parse(s) }

// ParseJoules reads an energy: a number and one of nJ, uJ, mJ, J. The result is in joules.
// Errors are those of [BadValue].
func ParseJoules(s string) (float64, error) { return jouleUnits.parse(s) }

// ParseCoulombs reads the capacity of a battery: a number and one of mAh, Ah. The result is in
// coulombs. Errors are those of [BadValue].
func ParseCoulombs(s string) (float64, error) {
	hours, err := chargeUnits.parse(s)
	return hours * secondsPerHour, err
}

// ParseSpan reads a long time: a number and one of s, h, d (days). The result is in seconds.
// Errors are those of [BadValue].
func ParseSpan(s string) (float64, error) {
	v, err := spanUnits.parse(s)
	_, name := splitQuantity(s)
	return v * map[string]float64{"s": 1, "h": secondsPerHour, "d": secondsPerDay}[name], err
}

// parse reads a quantity with decimal units. Number and power of ten are converted together, so the
// result is the float64 nearest to the written quantity.
func (t unitTable) parse(s string) (float64, error) {
	number, name := splitQuantity(s)
	power, err := t.power(s, number, name)
	if err != nil {
		return 0, err
	}
	v, err := strconv.ParseFloat(fmt.Sprintf("%se%d", number, power), 64)
	if err != nil { // digits with one point fail only by their size
		return 0, t.tooLarge(s)
	}
	return v, nil
}

// power checks the form of number and returns the power that the unit called name stands for; s is
// the whole text, for errors.
func (t unitTable) power(s, number, name string) (int, error) {
	switch {
	case len(s) > maxQuantityText:
		return 0, BadValue(s[:maxQuantityText], "text is too long for a quantity", t.hint())
	case number == "":
		return 0, BadValue(s, "a "+t.what+" starts with a number", t.hint())
	case strings.HasPrefix(number, "-"):
		return 0, BadValue(s, "a "+t.what+" here cannot be negative", t.hint())
	case !isDecimal(number):
		return 0, t.notNumber(s, number)
	case name == "":
		return 0, BadValue(s, "unit is missing", t.hint())
	}
	for _, u := range t.units {
		if u.name == name {
			return u.power, nil
		}
	}
	inOtherCase := slices.DeleteFunc(t.unitNames(), func(u string) bool {
		return !strings.EqualFold(u, name) // another letter is another unit, not a slip
	})
	return 0, BadValue(s, fmt.Sprintf("unknown unit %q", name),
		fault.DidYouMeanOr(name, inOtherCase, t.hint()))
}

// isDecimal reports whether s consists of digits, or of digits, a point and digits.
func isDecimal(s string) bool {
	whole, fraction, point := strings.Cut(s, ".")
	digits := func(s string) bool { return s != "" && strings.Trim(s, "0123456789") == "" }
	return digits(whole) && (!point || digits(fraction))
}

// splitQuantity cuts s into its number and its unit, without the blanks around them.
func splitQuantity(s string) (number, name string) {
	s = strings.TrimSpace(s)
	i := strings.IndexFunc(s, func(r rune) bool {
		return !strings.ContainsRune("0123456789.,+-", r)
	})
	if i < 0 {
		return s, ""
	}
	return s[:i], strings.TrimSpace(s[i:])
}

// hint shows an example and lists the units.
func (t unitTable) hint() string {
	return fmt.Sprintf("write a number and a unit, such as %s; units: %s", t.example,
		strings.Join(t.unitNames(), ", "))
}

// unitNames lists the units; the two spellings of µ are left out.
func (t unitTable) unitNames() []string {
	var names []string
	for _, u := range t.units {
		if u.name[0] < 0x80 {
			names = append(names, u.name)
		}
	}
	return names
}

func (t unitTable) notNumber(s, number string) error {
	hint := "write digits with at most one decimal point"
	if strings.Contains(number, ",") {
		hint = "write a decimal point, not a comma, and no thousands separators"
	}
	return BadValue(s, fmt.Sprintf("%q is not a number", number), hint)
}

func (t unitTable) tooLarge(s string) error {
	return BadValue(s, t.what+" is too large", t.hint())
}
