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

var pageTemplate = template.Must(template.New("signoff.html").Parse(templateText))

// content is what the template shows.
type content struct {
	*report.Signoff
	Sheet                         *sheet
	Parts                         []part
	Objective, GivenBreaks        string
	ByUnits, Accuracy, Tracks     []figure
	Cost, Scores, Path            []figure
	Spaces                        []spaceChoice
	Frontier                      []frontierView // hides that of the sign-off
	Nearest                       table
	UnitsTable                    table
	Explained, ExplainedWhere     table // hides that of the sign-off
	JudgedAccuracy, OtherAccuracy table
	JudgedCost, Compilers         table
	Chain, OtherCost, Words       []table // Chain hides that of the sign-off
	Faulty                        table
	Attempts, Inputs              table // of the cut; hides those of the sign-off
	Legend                        string
	Signatures                    []string
	Style                         template.CSS
	Script, Data                  template.JS
	Policy                        template.HTMLAttr
}

// part is a heading of the page behind the sheet.
type part struct{ ID, Title string }

// partsOf lists the parts in their order; those of a search are left out where nothing was
// searched.
func partsOf(searched bool) []part {
	var all []part
	for _, id := range []string{"units", "network", "accuracy", "cost", "choice", "cut", "formats",
		"origin"} {
		if searched || id != "units" && id != "choice" {
			all = append(all, part{id, partTitles[id]})
		}
	}
	return all
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
	c := content{
		Signoff: s, Sheet: newSheet(s), Parts: partsOf(len(s.Frontier.Candidates) > 0),
		Objective: s.Frontier.Objective, GivenBreaks: s.GivenBreaks(),
		ByUnits: lossByUnitsFigures(s), Accuracy: accuracyFigures(s), Tracks: trackFigures(s),
		Cost: costFigures(s), Scores: scoreFigures(s), Path: cutPathFigures(s),
		Spaces: spaceChoices(s), Frontier: frontierViews(s), Nearest: nearestTable(s),
		UnitsTable: newTable(lossByUnitsTable(s)), Attempts: newTable(attemptTable(s)),
		Compilers: newTable(compilerTable(s)),
		Words:     newTables(append(s.WordTables(), s.FormatTable())),
		Chain:     newTables(s.AllChainTables()),
		Faulty:    newTable(s.FaultTable()),
		Inputs:    newTable(s.InputTable(true)), Legend: s.Legend(), Signatures: report.Signatures,
		Style: template.CSS(styleText), Script: template.JS(scriptText), Data: data,
		Policy: policy(),
	}
	c.Explained, c.ExplainedWhere = explainedTables(s)
	c.JudgedAccuracy, c.OtherAccuracy = accuracyTables(s)
	c.JudgedCost, c.OtherCost = costTables(s)
	err = pageTemplate.Execute(&b, c)
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
