package exporter

import (
	"bytes"
	"strings"
	"testing"

	"kerf/budget"
	"kerf/exporter/report"
)

// A Signoff made by hand, whose texts no reader has checked, cannot leave its cells in any
// rendering.
func TestHostileTextsInEveryRendering(t *testing.T) {
	const evil = "</script><script>alert(1)</script>\n| --- |\u202e*/\x1b[2J=1\",\r\n=2"
	s := &report.Signoff{Schema: 1, Name: "leakair", Verdict: "fits", Kerf: "test",
		Caution: report.Caution, MeasuredOn: "sign-off",
		Kept: report.Kept{Features: []string{evil}}, Warnings: []string{evil},
		Inputs: []budget.InputFile{{Role: "model", File: evil, SHA256: strings.Repeat("0", 64)}},
		Loss: []report.LossRow{{
			RowName: budget.RowName{Output: evil, Scope: budget.Scope{Scenario: evil, Region: evil},
				Metric: "rmse"},
			Unit: evil, Verdict: "pass"}},
		Cost: []report.CostRow{{Target: evil, Resource: "flash", Part: "total", Unit: "B",
			Verdict: "pass"}},
	}
	files, err := Reports(s)
	if err != nil {
		t.Fatal(err)
	}
	for name, content := range files {
		if name == SignoffFile {
			continue
		}
		text := string(content)
		for _, bad := range []string{"\u202e", "\x1b", "\r"} {
			if strings.Contains(text, bad) {
				t.Errorf("%s holds %q", name, bad)
			}
		}
		if name != CSVFile && strings.Contains(text, "<script>alert") {
			t.Errorf("%s holds a script", name)
		}
	}
	for line := range strings.Lines(string(s.Markdown())) {
		if strings.HasPrefix(line, "| --- |") {
			t.Errorf("a name became a line of its own: %s", line)
		}
	}
	if strings.ContainsAny(string(files[SignoffFile]), "<>\x1b\r") {
		t.Error("JSON holds markup or controls")
	}
}

// Where the job lets the verdict stand, every rendering says against what, and why.
func TestCheckedReachesEveryRendering(t *testing.T) {
	s, _ := smallSignoff(t)
	s.Causes = []report.CauseRow{{Kind: budget.CauseLines, Place: "features.csv lines 2 and 3",
		Text: "the lines seem exchanged"}}
	s.Checked = "measured with both"
	junit, err := s.JUnit()
	if err != nil {
		t.Fatal(err)
	}
	files, err := Reports(s)
	if err != nil {
		t.Fatal(err)
	}
	const want = "although the lines seem exchanged; its reason: measured with both."
	for name, content := range map[string][]byte{
		MarkdownFile: s.Markdown(), HTMLFile: files[HTMLFile], "JUnit": junit,
		"summary": s.MergeSummary(nil, ""), "C": []byte(s.HeadLine()),
		"terminal": []byte(strings.Join(s.Summary(), "\n")),
	} {
		if !bytes.Contains(content, []byte(want)) {
			t.Errorf("%s does not say %q", name, want)
		}
	}
	if strings.Contains(s.HeadLine(), "NOT SIGNED") {
		t.Error(s.HeadLine())
	}
}
