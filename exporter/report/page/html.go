package page

import (
	"bytes"
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"html/template"
	"strings"
	"unicode/utf16"

	"kerf/dataset"
	"kerf/exporter/report"
)

//go:embed signoff.html.tmpl
var htmlText string

//go:embed signoff.css
var htmlStyle string

//go:embed signoff.js
var htmlScript string

var htmlTemplate = template.Must(
	template.New("signoff.html").Funcs(template.FuncMap{"together": together}).Parse(htmlText))

// HTML is signoff.html: one page without anything from outside, for screen and
// print. It is whole without its script, which only moves limits and chooses what is shown.
func HTML(s *report.Signoff) ([]byte, error) {
	signoff, err := s.JSON()
	if err != nil {
		return nil, err
	}
	return FromJSON(signoff)
}

// Page makes signoff.html of signoff.json. The sums over sequences, which it does not show, stay
// out of it.
func FromJSON(signoff []byte) ([]byte, error) {
	s := &report.Signoff{}
	if err := json.Unmarshal(signoff, s); err != nil {
		return nil, fmt.Errorf("signoff.json: %w", err)
	}
	if s.Sums != nil {
		s.Sums = nil
		var err error
		if signoff, err = s.JSON(); err != nil {
			return nil, err
		}
	}
	data, err := inScript(signoff)
	if err != nil {
		return nil, fmt.Errorf("signoff.json: %w", err)
	}
	hash := sha256.Sum256([]byte(htmlScript))
	var b bytes.Buffer
	err = htmlTemplate.Execute(&b, struct {
		*report.Signoff
		Objective                            string
		Accuracy, Scores, Path, Tracks, Cost []figure
		ByUnits                              []figure
		Spaces                               []spaceChoice
		Frontier                             []frontierView
		AccuracyTable, UnitsTable            report.Table
		CostTables, WordTables, OtherTables  []report.Table
		Legend                               string
		Findings                             []string
		Signatures                           []string
		Style                                template.CSS
		Script, Data                         template.JS
		Policy                               template.HTMLAttr
	}{
		Signoff: s, Objective: s.Frontier.Objective,
		Accuracy: accuracyFigures(s), Scores: scoreFigures(s), Path: pathFigures(s),
		Tracks: trackFigures(s), Cost: costFigures(s),
		ByUnits: unitFigures(&s.Frontier), UnitsTable: unitsTable(&s.Frontier),
		Spaces: spaceChoices(s), Frontier: frontierViews(s),
		AccuracyTable: s.AccuracyTable(), CostTables: s.WholeCostTables(),
		WordTables:  s.WordTables(),
		OtherTables: []report.Table{s.FormatTable(), s.InputTable(true)},
		Findings:    s.Findings(),
		Legend:      s.Legend(), Signatures: report.Signatures,
		Style: template.CSS(htmlStyle), Script: template.JS(htmlScript), Data: data,
		// Nothing is loaded from anywhere, and no script runs but ours.
		Policy: template.HTMLAttr(`content="default-src 'none'; style-src 'unsafe-inline'; ` +
			`script-src 'sha256-` + base64.StdEncoding.EncodeToString(hash[:]) + `'"`),
	})
	return []byte(visibleMarkup(b.String())), err
}

// together keeps a figure and its unit on one line.
func together(cell string) string {
	const longest = 16
	if len(cell) > longest || strings.IndexAny(cell, "-0123456789") != 0 {
		return cell
	}
	return strings.ReplaceAll(cell, " ", "\u00a0")
}

// inScript writes JSON with ASCII characters alone and without any that could end the
// element it stands in.
func inScript(text []byte) (template.JS, error) {
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

// visibleMarkup writes characters by their code that are not shown as themselves, or that move
// what stands beside them ([dataset.IsHidden]). Line breaks of the page stay.
func visibleMarkup(page string) string {
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
