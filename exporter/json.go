package exporter

import (
	"encoding/json"
	"fmt"
	"math"
	"regexp"
	"strings"
)

// Finite is nil where there is no number: JSON knows no NaN and no infinity.
func Finite(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

// JSON is signoff.json.
func (s *Signoff) JSON() ([]byte, error) {
	text, err := indented(s)
	if err != nil {
		return nil, fmt.Errorf("signoff.json: %w", err)
	}
	return text, nil
}

// indented is JSON for people: every list of numbers stands on one line.
func indented(v any) ([]byte, error) {
	text, err := json.MarshalIndent(v, "", "  ")
	if err != nil {
		return nil, err
	}
	text = numberList.ReplaceAllFunc(text, func(list []byte) []byte {
		return []byte(strings.Join(strings.Fields(string(list)), " "))
	})
	return append(text, '\n'), nil
}

// numberList holds a line break, so it is never inside a string.
var numberList = regexp.MustCompile(`\[\n\s*(?:(?:-?[0-9][-+.0-9eE]*|null),?\n\s*)+\]`)
