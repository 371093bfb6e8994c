package exporter

import (
	"bytes"
	_ "embed"
	"html/template"
)

//go:embed signoff.html.tmpl
var htmlText string

var htmlTemplate = template.Must(template.New("signoff.html").Parse(htmlText))

// HTML is signoff.html: one page without script and without anything from
// outside, for screen and print.
func (s *Signoff) HTML() ([]byte, error) {
	var b bytes.Buffer
	err := htmlTemplate.Execute(&b, struct {
		*Signoff
		Tables     []Table
		Legend     string
		Signatures []string
	}{s, s.allTables(), s.Legend(), Signatures})
	return b.Bytes(), err
}
