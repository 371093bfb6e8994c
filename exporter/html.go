package exporter

import (
	"bytes"
	_ "embed"
	"html/template"
)

//go:embed signoff.html.tmpl
var htmlText string

var htmlTemplate = template.Must(template.New("signoff.html").Parse(htmlText))

func visibleTables(tables []Table) []Table {
	shown := make([]Table, len(tables))
	for i, t := range tables {
		shown[i] = t.Visible()
	}
	return shown
}

// HTML is signoff.html: one page without script and without anything from
// outside, for screen and print.
func (s *Signoff) HTML() ([]byte, error) {
	var b bytes.Buffer
	err := htmlTemplate.Execute(&b, struct {
		*Signoff
		Tables     []Table
		Legend     string
		Signatures []string
		Summary    []string
		Warnings   []string
	}{s, visibleTables(s.allTables()), s.Legend(), Signatures, visible(s.Summary()), visible(s.Warnings)})
	return b.Bytes(), err
}
