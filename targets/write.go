package targets

import (
	"bytes"
	"fmt"
	"strconv"

	"github.com/BurntSushi/toml"
)

// MarshalText returns the quantity as a text from which UnmarshalTOML reads the same number.
func (b Bytes) MarshalText() ([]byte, error) {
	return []byte(strconv.FormatInt(int64(b), 10) + " B"), nil
}

// MarshalText returns the quantity as a text from which UnmarshalTOML reads the same number.
func (h Hertz) MarshalText() ([]byte, error) { return exactly(float64(h), "Hz"), nil }

// MarshalText returns the quantity as a text from which UnmarshalTOML reads the same number.
func (a Amperes) MarshalText() ([]byte, error) { return exactly(float64(a), "A"), nil }

// MarshalText returns the quantity as a text from which UnmarshalTOML reads the same number.
func (u Volts) MarshalText() ([]byte, error) { return exactly(float64(u), "V"), nil }

// exactly prints v with all the digits that it takes to read the same float64.
func exactly(v float64, unit string) []byte {
	return []byte(strconv.FormatFloat(v, 'f', -1, 64) + " " + unit)
}

// TOML returns a profile as a TOML text, from which Parse reads the same profile.
func (p *Profile) TOML() []byte {
	var b bytes.Buffer
	encoder := toml.NewEncoder(&b)
	encoder.Indent = ""
	if err := encoder.Encode(p); err != nil {
		panic(fmt.Sprintf("targets: profile %s cannot be written: %v", p.Name, err))
	}
	return b.Bytes()
}
