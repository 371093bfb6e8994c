package targets

import (
	"embed"
	"fmt"
	"slices"
	"strings"
)

//go:embed profiles/*.toml
var builtin embed.FS

// names are the names of the built-in profiles, by family and then by size.
var names = []string{
	"cortex-m0plus", "cortex-m3", "cortex-m4f", "cortex-m7", "cortex-m33", "rv32imc", "avr8",
}

// Names returns the names of the built-in profiles, in a fixed order.
func Names() []string { return slices.Clone(names) }

// UnknownProfileError reports a name that no built-in profile has.
type UnknownProfileError struct {
	Name string // as the caller gave it
	Hint string // the closest name, if one is close, and all names
}

// Error returns one clause with the unknown name.
func (e *UnknownProfileError) Error() string { return fmt.Sprintf("unknown profile %q", e.Name) }

// HintText returns Hint.
func (e *UnknownProfileError) HintText() string { return e.Hint }

// Load returns a built-in profile. Each call returns a new copy. An unknown name gives an
// *UnknownProfileError.
func Load(name string) (*Profile, error) {
	if !slices.Contains(names, name) {
		all := "known here: " + strings.Join(names, ", ")
		hint := DidYouMean(name, names)
		if hint != all {
			hint += " " + all
		}
		return nil, &UnknownProfileError{name, hint}
	}
	file := "profiles/" + name + ".toml"
	data, err := builtin.ReadFile(file)
	if err != nil {
		return nil, err
	}
	return Parse(data, file)
}

// BuiltIn returns the TOML text of a built-in profile; ok is false if no profile has the name.
func BuiltIn(name string) (text []byte, ok bool) {
	text, err := builtin.ReadFile("profiles/" + name + ".toml")
	return text, err == nil
}
