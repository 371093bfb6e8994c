package budget

import (
	"fmt"

	"kerf/targets"
)

// The types below read one quantity of a job file. A bare number is refused: a
// limit without a unit has no meaning.

// Bytes is an amount of memory, such as "24 KiB".
type Bytes int64

// Seconds is a duration, such as "1 ms".
type Seconds float64

// Hertz is a frequency, such as "64 MHz".
type Hertz float64

// Percent is a fraction written as a percentage, such as "5 %".
type Percent float64

// UnmarshalTOML reads the quantity.
func (b *Bytes) UnmarshalTOML(v any) error {
	return unmarshal(v, "24 KiB", targets.ParseBytes, func(n int64) { *b = Bytes(n) })
}

// UnmarshalTOML reads the quantity.
func (s *Seconds) UnmarshalTOML(v any) error {
	return unmarshal(v, "1 ms", targets.ParseSeconds, func(f float64) { *s = Seconds(f) })
}

// UnmarshalTOML reads the quantity.
func (h *Hertz) UnmarshalTOML(v any) error {
	return unmarshal(v, "64 MHz", targets.ParseHertz, func(f float64) { *h = Hertz(f) })
}

// UnmarshalTOML reads the quantity.
func (p *Percent) UnmarshalTOML(v any) error {
	return unmarshal(v, "5 %", targets.ParsePercent, func(f float64) { *p = Percent(f) })
}

func unmarshal[T any](v any, example string, parse func(string) (T, error), set func(T)) error {
	text, ok := v.(string)
	if !ok {
		return &targets.QuantityError{Text: fmt.Sprint(v), Msg: "the unit is missing", Hint: fmt.Sprintf("write a text with number and unit, for example %q", example)}
	}
	value, err := parse(text)
	if err != nil {
		return err
	}
	set(value)
	return nil
}
