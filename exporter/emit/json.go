package emit

import (
	"encoding/json"
	"regexp"
	"strings"
)

// Indented returns a value as JSON for people: every list of numbers stands on one line.
func Indented(v any) ([]byte, error) {
	text, err := json.MarshalIndent(v, "", "  ")
	if err != nil {
		return nil, err
	}
	text = numberList.ReplaceAllFunc(text, func(list []byte) []byte {
		return []byte(strings.Join(strings.Fields(string(list)), " "))
	})
	return append(text, '\n'), nil
}

// numberList matches a list of numbers over several lines. Its line break keeps it from matching
// inside a string.
var numberList = regexp.MustCompile(`\[\n\s*(?:(?:-?[0-9][-+.0-9eE]*|null),?\n\s*)+\]`)
