package targets

import (
	"encoding/json"
	"regexp"
	"strings"
)

// TOMLKey writes a name as a TOML key, without quotes where it needs none.
func TOMLKey(s string) string {
	if bareKey.MatchString(s) {
		return s
	}
	return TOMLString(s)
}

var bareKey = regexp.MustCompile(`^[A-Za-z0-9_-]+$`)

// TOMLString writes a TOML string: JSON's escapes are a part of TOML's.
func TOMLString(s string) string {
	var b strings.Builder
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(s); err != nil {
		panic("targets: a text that JSON cannot hold: " + err.Error())
	}
	return strings.TrimSpace(b.String())
}
