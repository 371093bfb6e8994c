package targets

import (
	"embed"
	"fmt"
	"slices"
	"strings"

	"kerf/fault"
)

//go:embed profiles/*.toml
var builtin embed.FS

// names are the names of the built-in profiles, by family and then by size.
var names = []string{
	"cortex-m0plus", "cortex-m3", "cortex-m4f", "cortex-m7", "cortex-m33", "rv32imc", "avr8",
}

// Names returns the names of the built-in profiles, in a fixed order.
func Names() []string { return slices.Clone(names) }

// Load returns a built-in profile. Each call returns a new copy. The hint of
// the error about an unknown name gives the closest name and all names.
func Load(name string) (*Profile, error) {
	if !slices.Contains(names, name) {
		all := "known here: " + strings.Join(names, ", ")
		return nil, fault.New(fmt.Sprintf("unknown profile %q", name),
			fault.DidYouMeanOr(name, names, all))
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
