package page

import (
	"bytes"
	"encoding/json"
	"fmt"
	"html/template"
	"strings"
	"unicode/utf16"

	"kerf/dataset"
)

// scriptData returns JSON for a script element: in ASCII alone, and without any character that
// could end the element.
func scriptData(text []byte) (template.JS, error) {
	var compact bytes.Buffer
	if err := json.Compact(&compact, text); err != nil {
		return "", err
	}
	var b strings.Builder
	for _, r := range compact.String() {
		switch {
		case r == '<' || r == '>' || r == '&':
			fmt.Fprintf(&b, `\u%04x`, r)
		case r < 0x80:
			b.WriteRune(r)
		default:
			for _, unit := range utf16.AppendRune(nil, r) {
				fmt.Fprintf(&b, `\u%04x`, unit)
			}
		}
	}
	return template.JS(b.String()), nil
}

// showHidden writes the code of every character that is not shown as itself, or that moves what
// stands beside it ([dataset.IsHidden]). The line breaks of the page stay.
func showHidden(page string) string {
	var b strings.Builder
	for _, r := range page {
		if r != '\n' && dataset.IsHidden(r) {
			fmt.Fprintf(&b, "&lt;U+%04X&gt;", r)
		} else {
			b.WriteRune(r)
		}
	}
	return b.String()
}
