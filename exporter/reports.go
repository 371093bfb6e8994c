package exporter

import (
	"fmt"

	"kerf/exporter/report"
	"kerf/exporter/report/page"
)

// Names of the renderings of the sign-off in a handoff.
const (
	SignoffFile  = "signoff.json" // all figures, from which the others can be made
	MarkdownFile = "signoff.md"
	CSVFile      = "signoff.csv"
	HTMLFile     = "signoff.html"
)

// Reports renders a sign-off: file name to content. An error says which file cannot be made.
func Reports(s *report.Signoff) (map[string][]byte, error) {
	html := func() ([]byte, error) { return page.HTML(s) }
	files := map[string][]byte{MarkdownFile: s.Markdown()}
	for name, render := range map[string]func() ([]byte, error){SignoffFile: s.JSON,
		CSVFile: s.CSV, HTMLFile: html} {
		content, err := render()
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		files[name] = content
	}
	return files, nil
}
