package targets

import "fmt"

// The types below read one quantity of a TOML file. A bare number is refused: a
// figure without a unit has no meaning.

// Bytes is an amount of memory, such as "24 KiB".
type Bytes int64

// Seconds is a duration, such as "1 ms".
type Seconds float64

// Span is a long time in seconds, such as "400 d".
type Span float64

// Hertz is a frequency, such as "64 MHz".
type Hertz float64

// Percent is a fraction written as a percentage, such as "5 %".
type Percent float64

// Amperes is an electric current, such as "3.2 mA".
type Amperes float64

// Volts is an electric voltage, such as "3.3 V".
type Volts float64

// Joules is an energy, such as "20 uJ".
type Joules float64

// Coulombs is an electric charge written as the capacity of a battery, such as "230 mAh".
type Coulombs float64

// UnmarshalTOML reads the quantity.
func (b *Bytes) UnmarshalTOML(v any) error { return unmarshal(v, byteUnits.example, ParseBytes, b) }

// UnmarshalTOML reads the quantity.
func (s *Seconds) UnmarshalTOML(v any) error {
	return unmarshal(v, timeUnits.example, ParseSeconds, s)
}

// UnmarshalTOML reads the quantity.
func (s *Span) UnmarshalTOML(v any) error { return unmarshal(v, spanUnits.example, ParseSpan, s) }

// UnmarshalTOML reads the quantity.
func (h *Hertz) UnmarshalTOML(v any) error {
	return unmarshal(v, hertzUnits.example, ParseHertz, h)
}

// UnmarshalTOML reads the quantity.
func (p *Percent) UnmarshalTOML(v any) error {
	return unmarshal(v, percentUnits.example, ParsePercent, p)
}

// UnmarshalTOML reads the quantity.
func (a *Amperes) UnmarshalTOML(v any) error {
	return unmarshal(v, ampereUnits.example, ParseAmperes, a)
}

// UnmarshalTOML reads the quantity.
func (u *Volts) UnmarshalTOML(v any) error { return unmarshal(v, voltUnits.example, ParseVolts, u) }

// UnmarshalTOML reads the quantity.
func (j *Joules) UnmarshalTOML(v any) error {
	return unmarshal(v, jouleUnits.example, ParseJoules, j)
}

// UnmarshalTOML reads the quantity.
func (q *Coulombs) UnmarshalTOML(v any) error {
	return unmarshal(v, chargeUnits.example, ParseCoulombs, q)
}

func unmarshal[N int64 | float64, T ~int64 | ~float64](v any, example string,
	parse func(string) (N, error), into *T) error {
	text, ok := v.(string)
	if !ok {
		return &QuantityError{Text: fmt.Sprint(v), Msg: "the unit is missing",
			Hint: "write a text with number and unit, for example " + example}
	}
	value, err := parse(text)
	if err != nil {
		return err
	}
	*into = T(value)
	return nil
}
