package exporter

import (
	"encoding/json"
	"fmt"
	"regexp"
	"strings"
)

// JSON is signoff.json. A list of numbers stands on one line.
func (s *Signoff) JSON() ([]byte, error) {
	text, err := json.MarshalIndent(s, "", "  ")
	if err != nil {
		return nil, fmt.Errorf("signoff.json: %w", err)
	}
	text = numberList.ReplaceAllFunc(text, func(list []byte) []byte { return []byte(strings.Join(strings.Fields(string(list)), " ")) })
	return append(text, '\n'), nil
}

// numberList holds a line break, so it is never inside a string.
var numberList = regexp.MustCompile(`\[\n\s*(?:(?:-?[0-9][-+.0-9eE]*|null),?\n\s*)+\]`)
