package exporter

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"kerf/budget"
	"kerf/exporter/report"
)

// A folder that is not there or holds no handoff is an error, and a folder with a part of one is
// looked into.
func TestVerifyNeedsAHandoff(t *testing.T) {
	empty := t.TempDir()
	for _, dir := range []string{filepath.Join(empty, "none"), empty} {
		v, err := Verify(dir, "1")
		var refused *FolderError
		if v != nil || !errors.As(err, &refused) || refused.Dir != dir || refused.HintText() == "" {
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
		found["a.h"] != "is missing" || found[signoffFile] != "is missing" {
		t.Errorf("a manifest alone is verified: %v, found %v", v.Verified, found)
	}
}

// readable is a small sign-off and its text.
func readable(t *testing.T) (*report.Signoff, []byte) {
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
	s, text := readable(t)
	for name, change := range map[string]func(m *Manifest){
		"":        func(*Manifest) {},
		"kerf":    func(m *Manifest) { m.Kerf = "2" },
		"job":     func(m *Manifest) { m.Job = "other" },
		"verdict": func(m *Manifest) { m.Verdict = budget.DoesNotFit },
		"inputs":  func(m *Manifest) { m.Inputs = m.Inputs[1:] },
	} {
		m := &Manifest{Kerf: s.Kerf, Job: s.Name, Verdict: s.Verdict, Inputs: s.Inputs}
		change(m)
		v := &Verification{files: map[string][]byte{signoffFile: text}, manifest: m}
		v.checkReports("another version")
		if found := v.Checks[0].Findings; (len(found) != 0) != (name != "") ||
			v.Found() != (name != "") || v.Verified {
			t.Errorf("manifest with another %q: found %v; of another version, and verified: %v",
				name, found, v.Verified)
		}
	}
	v := &Verification{files: map[string][]byte{signoffFile: text}}
	if got := v.checkReports("another version"); got == nil || v.Found() {
		t.Errorf("without a manifest the sign-off has the findings %v", v.Checks[0].Findings)
	}
}

// The files that a job loaded are those of the manifest, no more and no fewer.
func TestLoadedInputsAreThoseOfTheManifest(t *testing.T) {
	job := budget.InputFile{Role: "job", Name: "job.toml", SHA256: "1"}
	model := budget.InputFile{Role: "model", Name: "m.npz", SHA256: "2"}
	retrained := budget.InputFile{Role: "model", Name: "m.npz", SHA256: "9"}
	for name, c := range map[string]struct {
		files    []budget.InputFile
		findings int
	}{
		"the same":  {[]budget.InputFile{job, model}, 0},
		"one fewer": {[]budget.InputFile{job}, 1},
		"one more": {[]budget.InputFile{job, model,
			{Role: "signoff", Name: "s.csv", SHA256: "3"}}, 1},
		// one that is not loaded, and one that is
		"another is": {[]budget.InputFile{job, retrained}, 2},
	} {
		v := &Verification{manifest: &Manifest{Inputs: []report.InputRow{{Role: "job",
			File: "job.toml", SHA256: "1"},
			{Role: "model", File: "m.npz", SHA256: "2"}}}}
		same := v.CheckLoaded(&budget.Inputs{Files: c.files})
		if want := c.findings == 0; same != want || v.Verified != want ||
			len(v.Checks[0].Findings) != c.findings {
			t.Errorf("%s: same %v, verified %v, found %v", name, same, v.Verified,
				v.Checks[0].Findings)
		}
	}
}

// The self-test in C is run where the C is what kerf emits: what it says is noted, and that it
// fails is found. Without a place to compile in there is an error.
func TestRunSelftest(t *testing.T) {
	selftest := func(program string, emitted bool) *Verification {
		return &Verification{Name: "a", emitted: emitted,
			files: map[string][]byte{"a.c": []byte("int answer(void);\nint answer(void) { " +
				"return 42; }\n"), "a_selftest.c": []byte(program)}}
	}
	const passes = "int answer(void);\nint puts(const char *line);\nint main(void) { puts(\"all " +
		"equal\\nmore\"); return answer() != 42; }\n"
	for name, c := range map[string]struct {
		program  string
		emitted  bool
		skipped  bool
		detail   string // its end
		findings int
	}{
		"passes":      {passes, true, false, ": all equal", 0},
		"fails":       {"int main(void) { return 1; }\n", true, false, "", 1},
		"not emitted": {passes, false, true, "the C is not what this kerf emits", 0},
	} {
		v := selftest(c.program, c.emitted)
		if err := v.RunSelftest(t.Context()); err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if got := v.Checks[0]; got.Skipped != c.skipped ||
			!strings.HasSuffix(got.Detail, c.detail) || len(got.Findings) != c.findings {
			t.Errorf("%s: %+v", name, got)
		}
	}
	t.Setenv("TMPDIR", filepath.Join(t.TempDir(), "none"))
	if v := selftest(passes, true); v.RunSelftest(t.Context()) == nil {
		t.Errorf("it ran without a folder for temporary files: %+v", v.Checks)
	}
}
