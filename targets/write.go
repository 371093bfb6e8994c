package targets

import (
	"bytes"
	"fmt"
	"strconv"

	"github.com/BurntSushi/toml"
)

// MarshalText writes the quantity so that it is read as the same number.
func (b Bytes) MarshalText() ([]byte, error) {
	return []byte(strconv.FormatInt(int64(b), 10) + " B"), nil
}

// MarshalText writes the quantity so that it is read as the same number.
func (h Hertz) MarshalText() ([]byte, error) { return exactly(float64(h), "Hz"), nil }

// MarshalText writes the quantity so that it is read as the same number.
func (a Amperes) MarshalText() ([]byte, error) { return exactly(float64(a), "A"), nil }

// MarshalText writes the quantity so that it is read as the same number.
func (u Volts) MarshalText() ([]byte, error) { return exactly(float64(u), "V"), nil }

func exactly(v float64, unit string) []byte {
	return []byte(strconv.FormatFloat(v, 'f', -1, 64) + " " + unit)
}

// TOML writes a profile so that Parse reads it again.
func (p *Profile) TOML() []byte {
	var b bytes.Buffer
	encoder := toml.NewEncoder(&b)
	encoder.Indent = ""
	if err := encoder.Encode(p); err != nil {
		panic(fmt.Sprintf("targets: profile %s cannot be written: %v", p.Name, err))
	}
	return b.Bytes()
}
