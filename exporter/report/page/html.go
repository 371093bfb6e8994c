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

	"kerf/exporter/report"
)

//go:embed signoff.html.tmpl
var templateText string

//go:embed signoff.css
var styleText string

//go:embed signoff.js
var scriptText string

var pageTemplate = template.Must(template.New("signoff.html").
	Funcs(template.FuncMap{"noBreak": noBreak}).Parse(templateText))

// content is what the template shows.
type content struct {
	*report.Signoff
	Objective                           string
	Accuracy, Scores, Path, Tracks      []figure
	Cost, ByUnits                       []figure
	Spaces                              []spaceChoice
	Frontier                            []frontierView // hides that of the sign-off
	AccuracyTable, UnitsTable           report.Table
	CostTables, WordTables, OtherTables []report.Table
	Legend                              string
	Findings                            []string
	Signatures                          []string
	Style                               template.CSS
	Script, Data                        template.JS
	Policy                              template.HTMLAttr
}

// HTML returns signoff.html: one page without anything from outside, for screen and print. The page
// is whole without its script, which only moves limits and chooses what is shown. An error says
// that the sign-off has no JSON.
func HTML(s *report.Signoff) ([]byte, error) {
	shown := *s
	shown.Sums = nil // nothing on the page shows the sums over sequences
	signoff, err := shown.JSON()
	if err != nil {
		return nil, err
	}
	return render(signoff)
}

// render makes the page of signoff.json, so that the page of a result and that of a sign-off read
// from a file are the same.
func render(signoff []byte) ([]byte, error) {
	s := &report.Signoff{}
	if err := json.Unmarshal(signoff, s); err != nil {
		return nil, fmt.Errorf("signoff.json: %w", err)
	}
	data, err := scriptData(signoff)
	if err != nil {
		return nil, fmt.Errorf("signoff.json: %w", err)
	}
	var b bytes.Buffer
	err = pageTemplate.Execute(&b, content{
		Signoff: s, Objective: s.Frontier.Objective,
		Accuracy: accuracyFigures(s), Scores: scoreFigures(s), Path: cutPathFigures(s),
		Tracks: trackFigures(s), Cost: costFigures(s), ByUnits: lossByUnitsFigures(&s.Frontier),
		Spaces: spaceChoices(s), Frontier: frontierViews(s),
		AccuracyTable: s.AccuracyTable(), UnitsTable: lossByUnitsTable(&s.Frontier),
		CostTables: s.AllCostTables(), WordTables: s.WordTables(),
		OtherTables: []report.Table{s.FormatTable(), s.InputTable(true)},
		Legend:      s.Legend(), Findings: s.Findings(), Signatures: report.Signatures,
		Style: template.CSS(styleText), Script: template.JS(scriptText), Data: data,
		Policy: policy(),
	})
	return []byte(showHidden(b.String())), err
}

// policy returns the content security policy of the page: nothing is loaded from anywhere, and no
// script runs but ours, which the policy knows by its hash.
func policy() template.HTMLAttr {
	hash := sha256.Sum256([]byte(scriptText))
	return template.HTMLAttr(`content="default-src 'none'; style-src 'unsafe-inline'; ` +
		`script-src 'sha256-` + base64.StdEncoding.EncodeToString(hash[:]) + `'"`)
}

// noBreak keeps a figure and its unit on one line.
func noBreak(cell string) string {
	const longest = 16 // bytes; a figure with its unit has fewer
	if len(cell) > longest || strings.IndexAny(cell, "-0123456789") != 0 {
		return cell
	}
	return strings.ReplaceAll(cell, " ", "\u00a0")
}
