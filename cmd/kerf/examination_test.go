package main

import (
	"bytes"
	"encoding/json"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"kerf/exporter"
	"kerf/exporter/report"
)

// signoffOf reads the sign-off of a handoff.
func signoffOf(t *testing.T, handoff string) *report.Signoff {
	t.Helper()
	s := &report.Signoff{}
	if err := json.Unmarshal(readAll(t, handoff)["signoff.json"], s); err != nil {
		t.Fatal(err)
	}
	return s
}

// unnormalised sets every mean to 0 and every std to 1.
func unnormalised(content []byte) []byte {
	lines := strings.Split(strings.TrimSpace(string(content)), "\n")
	head := strings.Split(lines[0], ",")
	for i, line := range lines[1:] {
		cells := strings.Split(line, ",")
		cells[slices.Index(head, "mean")], cells[slices.Index(head, "std")] = "0", "1"
		lines[1+i] = strings.Join(cells, ",")
	}
	return []byte(strings.Join(lines, "\n") + "\n")
}

// A network that does not do what it was trained for passes tolerances that are relative to it, and
// is not signed: every file says so and why, and the job may let the verdict stand with a reason.
func TestANetworkThatIsReadWronglyIsNotSigned(t *testing.T) {
	for _, c := range []struct {
		change       func([]byte) []byte
		kind, place  string
		given, least float64 // error of leakage in L/min, and at most this read rightly
	}{
		{unnormalised, "normalisation", "features.csv", 5, 0.5},
		{exchanged(1, 5), "lines exchanged", "features.csv lines 2 and 6", 0.36, 0.3},
	} {
		job := demoJob(t, edits{"features.csv": c.change})
		handoff := exported(t, job)
		s := signoffOf(t, handoff)
		if s.Verdict != "does not fit" || len(s.Causes) != 1 {
			t.Fatalf("%s: %s, causes %+v", c.place, s.Verdict, s.Causes)
		}
		cause := s.Causes[0]
		if cause.Kind != c.kind || cause.Place != c.place || *cause.Given < c.given ||
			*cause.With > c.least {
			t.Errorf("cause %+v, want %+v", cause, c)
		}
		for name, content := range readAll(t, handoff) {
			text := strings.Join(strings.Fields(string(content)), " ")
			text = strings.ReplaceAll(text, " * ", " ")
			isC := strings.HasSuffix(name, ".h") || strings.HasSuffix(name, ".c")
			isSignoff := strings.HasPrefix(name, "signoff.")
			if (isC || isSignoff) && !strings.Contains(text, c.place) {
				t.Errorf("%s does not name %s", name, c.place)
			}
			if isC && !strings.Contains(text, "NOT SIGNED") {
				t.Errorf("%s does not say that it is not signed", name)
			}
		}
		if header := readAll(t, handoff)["leakair.h"]; !bytes.Contains(header,
			[]byte("#define LEAKAIR_FITS 0 ")) {
			t.Error("the header says that it fits")
		}
		if _, all := problems(t, handoff); all != "" {
			t.Errorf("a handoff that is not signed verifies as well: %s", all)
		}
		for _, format := range []string{"text", "summary", "junit", "csv"} {
			_, stdout, _ := call("show", handoff, "--format", format)
			if text := strings.Join(strings.Fields(stdout), " "); !strings.Contains(text, c.place) {
				t.Errorf("format %s does not name %s", format, c.place)
			}
		}
		checkCauseIsMissed(t, handoff)

		const reason = "the plant was changed, see the review of 3 March"
		rewritten(t, filepath.Dir(job), "job.toml", func(content []byte) []byte {
			return bytes.Replace(content, []byte("[model]"),
				[]byte("[model]\nchecked = \""+reason+"\""), 1)
		})
		handoff = exported(t, job)
		if s := signoffOf(t, handoff); s.Verdict != "fits" || s.Checked != reason ||
			len(s.Causes) != 1 {
			t.Errorf("checked %q: %s, causes %+v", s.Checked, s.Verdict, s.Causes)
		}
		files := readAll(t, handoff)
		for _, name := range []string{"signoff.md", "signoff.html", "signoff.csv"} {
			if !bytes.Contains(files[name], []byte(reason)) {
				t.Errorf("%s does not give the reason", name)
			}
		}
		header := files["leakair.h"]
		if bytes.Contains(header, []byte("NOT SIGNED. Verdict")) ||
			!bytes.Contains(header, []byte("#define LEAKAIR_FITS 1 ")) {
			t.Error("the header says that it is not signed")
		}
	}
}

// Exchanges that do no harm are no cause.
func TestHarmlessExchangesAreSigned(t *testing.T) {
	for _, lines := range [][2]int{{8, 11}, {4, 10}} {
		job := demoJob(t, edits{"features.csv": exchanged(lines[0], lines[1])})
		if s := signoffOf(t, exported(t, job)); s.Verdict != "fits" || len(s.Causes) > 0 {
			t.Errorf("lines %v: %s, causes %+v", lines, s.Verdict, s.Causes)
		}
	}
}

// checkCauseIsMissed takes the cause out of a sign-off and makes every hash and rendering agree.
func checkCauseIsMissed(t *testing.T, handoff string) {
	t.Helper()
	s := signoffOf(t, handoff)
	s.Verdict, s.Reason, s.Causes = "fits", "", nil
	files, err := exporter.Reports(s)
	if err != nil {
		t.Fatal(err)
	}
	for name, text := range files {
		rewrite(t, filepath.Join(handoff, name), text)
	}
	resealed(t, handoff, func(*exporter.Manifest) {})
	if _, all := problems(t, handoff); all == "" {
		t.Error("a cause that was taken out is not missed")
	}
}
