package report

import "strings"

// RowText writes the names that a row is made of into one text, as kerf explain takes it: with /
// between them, and a backslash before a / or a backslash inside a name.
func RowText(names ...string) string {
	parts := make([]string, len(names))
	for i, name := range names {
		parts[i] = slashes.Replace(name)
	}
	return strings.Join(parts, "/")
}

var slashes = strings.NewReplacer(`\`, `\\`, "/", `\/`)
