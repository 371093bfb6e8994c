package exporter

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"kerf/budget"
	"kerf/exporter/report"
	"kerf/fault"
)

// A folder that is not there or holds no handoff is an error, and a folder with a part of one is
// looked into.
func TestVerifyNeedsAHandoff(t *testing.T) {
	empty := t.TempDir()
	for _, dir := range []string{filepath.Join(empty, "none"), empty} {
		v, err := Verify(dir, "1")
		var refused *fault.Error
		if v != nil || !errors.As(err, &refused) || refused.File != dir || refused.Hint == "" {
			t.Errorf("%s: %v, error %v", dir, v, err)
		}
	}
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, ManifestFile), handoffOf("a")[ManifestFile],
		0o644); err != nil {
		t.Fatal(err)
	}
	v, err := Verify(dir, "1")
	if err != nil {
		t.Fatal(err)
	}
	found := map[string]string{}
	for _, c := range v.Checks {
		for _, f := range c.Findings {
			found[f.File] += f.Problem
		}
	}
	if v.Verified || len(found) != 3 || found["a.c"] != "is missing" ||
		found["a.h"] != "is missing" || found[SignoffFile] != "is missing" {
		t.Errorf("a manifest alone is verified: %v, found %v", v.Verified, found)
	}
}

// smallSignoff returns a small sign-off and its text.
func smallSignoff(t *testing.T) (*report.Signoff, []byte) {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("report", "testdata", "small.json"))
	if err != nil {
		t.Fatal(err)
	}
	s, err := report.Read(text)
	if err != nil {
		t.Fatal(err)
	}
	return s, text
}

// The manifest names the same kerf, job, verdict and inputs as the sign-off; one that differs is
// found. A manifest that cannot be read is found elsewhere.
func TestManifestAgreesWithSignoff(t *testing.T) {
	s, text := smallSignoff(t)
	for name, change := range map[string]func(m *Manifest){
		"":        func(*Manifest) {},
		"kerf":    func(m *Manifest) { m.Kerf = "2" },
		"job":     func(m *Manifest) { m.Job = "other" },
		"verdict": func(m *Manifest) { m.Verdict = budget.DoesNotFit },
		"inputs":  func(m *Manifest) { m.Inputs = m.Inputs[1:] },
	} {
		m := &Manifest{Kerf: s.Kerf, Job: s.Name, Verdict: s.Verdict, Inputs: s.Inputs}
		change(m)
		v := &Verification{files: map[string][]byte{SignoffFile: text}, manifest: m}
		v.checkReports("another version")
		if found := v.Checks[0].Findings; (len(found) != 0) != (name != "") ||
			v.Found() != (name != "") || v.Verified {
			t.Errorf("manifest with another %q: found %v; of another version, and verified: %v",
				name, found, v.Verified)
		}
	}
	v := &Verification{files: map[string][]byte{SignoffFile: text}}
	if got := v.checkReports("another version"); got == nil || v.Found() {
		t.Errorf("without a manifest the sign-off has the findings %v", v.Checks[0].Findings)
	}
}

// The model version of a job stands in the text, the page and the summary of the sign-off, escaped.
func TestModelVersionIsShown(t *testing.T) {
	s, _ := smallSignoff(t)
	s.ModelVersion = "<b>2.1"
	files, err := Reports(s)
	if err != nil {
		t.Fatal(err)
	}
	for file, want := range map[string]string{SignoffFile: `"model_version": "\u003cb\u003e2.1"`,
		MarkdownFile: "- Model version: &lt;b&gt;2.1.\n",
		HTMLFile:     "model version &lt;b&gt;2.1</p>"} {
		if !strings.Contains(string(files[file]), want) {
			t.Errorf("%s has no %s", file, want)
		}
	}
}
