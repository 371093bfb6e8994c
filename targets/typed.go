package targets

import "fmt"

// The types below read one quantity of a TOML file. They refuse a bare number: a figure without a
// unit has no meaning.

// Bytes is an amount of memory in bytes, written such as "24 KiB".
type Bytes int64

// Seconds is a duration in seconds, written such as "1 ms".
type Seconds float64

// Span is a long time in seconds, written such as "400 d".
type Span float64

// Hertz is a frequency in hertz, written such as "64 MHz".
type Hertz float64

// Percent is a fraction, written as a percentage such as "5 %" for 0.05.
type Percent float64

// Amperes is an electric current in amperes, written such as "3.2 mA".
type Amperes float64

// Volts is an electric voltage in volts, written such as "3.3 V".
type Volts float64

// Joules is an energy in joules, written such as "20 uJ".
type Joules float64

// Coulombs is an electric charge in coulombs, written as the capacity of a battery such as
// "230 mAh".
type Coulombs float64

// UnmarshalTOML reads the quantity from a decoded TOML value. Errors are those of [BadValue].
func (b *Bytes) UnmarshalTOML(v any) error { return unmarshal(v, byteUnits.example, ParseBytes, b) }

// UnmarshalTOML reads the quantity from a decoded TOML value. Errors are those of [BadValue].
func (s *Seconds) UnmarshalTOML(v any) error {
	return unmarshal(v, timeUnits.example, ParseSeconds, s)
}

// UnmarshalTOML reads the quantity from a decoded TOML value. Errors are those of [BadValue].
func (s *Span) UnmarshalTOML(v any) error { return unmarshal(v, spanUnits.example, ParseSpan, s) }

// UnmarshalTOML reads the quantity from a decoded TOML value. Errors are those of [BadValue].
func (h *Hertz) UnmarshalTOML(v any) error {
	return unmarshal(v, hertzUnits.example, ParseHertz, h)
}

// UnmarshalTOML reads the quantity from a decoded TOML value. Errors are those of [BadValue].
func (p *Percent) UnmarshalTOML(v any) error {
	return unmarshal(v, percentUnits.example, ParsePercent, p)
}

// UnmarshalTOML reads the quantity from a decoded TOML value. Errors are those of [BadValue].
func (a *Amperes) UnmarshalTOML(v any) error {
	return unmarshal(v, ampereUnits.example, ParseAmperes, a)
}

// UnmarshalTOML reads the quantity from a decoded TOML value. Errors are those of [BadValue].
func (u *Volts) UnmarshalTOML(v any) error { return unmarshal(v, voltUnits.example, ParseVolts, u) }

// UnmarshalTOML reads the quantity from a decoded TOML value. Errors are those of [BadValue].
func (j *Joules) UnmarshalTOML(v any) error {
	return unmarshal(v, jouleUnits.example, ParseJoules, j)
}

// UnmarshalTOML reads the quantity from a decoded TOML value. Errors are those of [BadValue].
func (q *Coulombs) UnmarshalTOML(v any) error {
	return unmarshal(v, chargeUnits.example, ParseCoulombs, q)
}

// unmarshal reads a quantity from a decoded TOML value, which must be a string. Errors are
// those of [BadValue].
func unmarshal[N int64 | float64, T ~int64 | ~float64](v any, example string,
	parse func(string) (N, error), into *T) error {
	text, ok := v.(string)
	if !ok {
		return BadValue(fmt.Sprint(v), "the unit is missing",
			"write a text with number and unit, for example "+example)
	}
	value, err := parse(text)
	if err != nil {
		return err
	}
	*into = T(value)
	return nil
}
