package main

import (
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"kerf/exporter"
	"kerf/exporter/report"
)

// cityHandoff is the job of the open data set in a fresh folder, planned.
func cityHandoff(t *testing.T) (job, dir string) {
	t.Helper()
	job = cityJob(t, func(job string) string { return job })
	dir = filepath.Join(filepath.Dir(job), "handoff")
	if code, _, stderr := call("plan", job, "--out", dir); code != exitDone {
		t.Fatalf("exit code %d: %s", code, stderr)
	}
	return job, dir
}

func readAll(t *testing.T, dir string) map[string][]byte {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	files := map[string][]byte{}
	for _, e := range entries {
		if e.IsDir() {
			continue
		}
		if files[e.Name()], err = os.ReadFile(filepath.Join(dir, e.Name())); err != nil {
			t.Fatal(err)
		}
	}
	return files
}

func rewrite(t *testing.T, path string, content []byte) {
	t.Helper()
	if err := os.WriteFile(path, content, 0o644); err != nil {
		t.Fatal(err)
	}
}

// problems runs the checks that need neither compiler nor job.
func problems(t *testing.T, dir string) (files []string, all string) {
	t.Helper()
	v, err := exporter.Verify(dir, version)
	if err != nil {
		t.Fatal(err)
	}
	var lines []string
	for _, c := range v.Checks {
		for _, f := range c.Findings {
			files = append(files, f.File)
			lines = append(lines, f.File+": "+f.Problem)
		}
	}
	if v.Verified != (len(lines) == 0) {
		t.Errorf("verified: %v, with %d findings", v.Verified, len(lines))
	}
	return files, strings.Join(lines, "\n")
}

// A changed byte anywhere in a handoff is found, and the file is named first; so
// is a missing and an additional file.
func TestEveryChangedByteIsFound(t *testing.T) {
	_, dir := cityHandoff(t)
	files := readAll(t, dir)
	if _, found := problems(t, dir); found != "" {
		t.Fatalf("an untouched handoff does not verify: %s", found)
	}
	random := rand.New(rand.NewPCG(11, 0))
	for name, content := range files {
		path := filepath.Join(dir, name)
		places := []int{0, len(content) / 2, len(content) - 1}
		for range 8 {
			places = append(places, random.IntN(len(content)))
		}
		for _, at := range places {
			changed := slices.Clone(content)
			changed[at] ^= 1 << random.IntN(8)
			rewrite(t, path, changed)
			if named, all := problems(t, dir); len(named) == 0 || named[0] != name {
				t.Errorf("%s, byte %d: %q became %q: found %q", name, at, content[at], changed[at],
					all)
			}
		}
		rewrite(t, path, content[:len(content)-1])
		if named, all := problems(t, dir); len(named) == 0 || named[0] != name {
			t.Errorf("%s without its last byte: found %q", name, all)
		}
		if err := os.Remove(path); err != nil {
			t.Fatal(err)
		}
		if named, all := problems(t, dir); !slices.Contains(named, name) {
			t.Errorf("%s removed: found %q", name, all)
		}
		rewrite(t, path, content)
	}
	rewrite(t, filepath.Join(dir, "notes.txt"), []byte("mine"))
	if named, all := problems(t, dir); !slices.Equal(named, []string{"notes.txt"}) {
		t.Errorf("an additional file: found %q", all)
	}
}

// The command names what was changed, in handoff and inputs, and makes the
// handoff again from the job.
func TestVerifyAgainst(t *testing.T) {
	job, dir := cityHandoff(t)
	verify := func(want int, words ...string) {
		t.Helper()
		code, stdout, stderr := call("verify", dir, "--against", job)
		text := strings.Join(strings.Fields(stdout), " ")
		for _, w := range words {
			if !strings.Contains(text, w) {
				t.Errorf("%q is not in %s", w, stdout)
			}
		}
		if code != want || stderr != "" {
			t.Errorf("exit code %d, want %d; stderr %q", code, want, stderr)
		}
	}
	verify(exitDone, ", verified", "self-test in C holds", "every integer matches",
		"made again holds 15 files from the job, byte for byte")

	var manifest exporter.Manifest
	if err := json.Unmarshal(readAll(t, dir)[exporter.ManifestFile], &manifest); err != nil {
		t.Fatal(err)
	}
	if len(manifest.Inputs) != 6 { // job, model, features, outputs, selection, sign-off
		t.Errorf("the manifest names %d inputs", len(manifest.Inputs))
	}
	for _, input := range manifest.Inputs {
		name := input.File
		content := readAll(t, filepath.Dir(job))[name]
		changed := slices.Clone(content)
		changed[len(changed)/2] ^= 1
		rewrite(t, filepath.Join(filepath.Dir(job), name), changed)
		verify(exitBroken, "does not verify", "inputs does not hold", name+" is another ",
			"made again not checked not made: the inputs are others")
		rewrite(t, filepath.Join(filepath.Dir(job), name), content)
	}
	verify(exitDone, ", verified")
}

// Who changes a figure and makes reports and hashes agree is found by making the
// handoff again, not by the hashes; a verdict that its figures do not give is
// found at once.
func TestForgedFigures(t *testing.T) {
	job, dir := cityHandoff(t)
	original := readAll(t, dir)
	forge := func(change func(s *report.Signoff)) {
		t.Helper()
		var s report.Signoff
		if err := json.Unmarshal(original["signoff.json"], &s); err != nil {
			t.Fatal(err)
		}
		change(&s)
		files, err := exporter.Reports(&s)
		if err != nil {
			t.Fatal(err)
		}
		manifest := string(original[exporter.ManifestFile])
		for name, content := range files {
			rewrite(t, filepath.Join(dir, name), content)
			manifest = strings.Replace(manifest, hexSHA(original[name]), hexSHA(content), 1)
			manifest = strings.Replace(manifest,
				fmt.Sprintf("%s\",\n      \"bytes\": %d", hexSHA(content), len(original[name])),
				fmt.Sprintf("%s\",\n      \"bytes\": %d", hexSHA(content), len(content)), 1)
		}
		at := strings.Index(manifest, `"check": "`) + len(`"check": "`)
		manifest = manifest[:at] + manifest[at+64:]
		rewrite(t, filepath.Join(dir, exporter.ManifestFile),
			[]byte(manifest[:at]+hexSHA([]byte(manifest))+manifest[at:]))
	}

	forge(func(s *report.Signoff) { s.Loss[0].Fixed /= 2 })
	if _, all := problems(t, dir); !strings.Contains(all, "does not follow from the sums over "+
		"its sequences") {
		t.Errorf("an error that its sums do not give: found %q", all)
	}

	forge(func(s *report.Signoff) { *s.Extremes[0].GivenAny *= 2 })
	if _, all := problems(t, dir); all != "" {
		t.Errorf("found without the job: %s; the test is of a forgery that agrees with itself", all)
	}
	code, stdout, _ := call("verify", dir, "--against", job)
	if code != exitBroken || !strings.Contains(strings.Join(strings.Fields(stdout), " "),
		"signoff.json is not what the job gives") {
		t.Errorf("exit code %d: %s", code, stdout)
	}

	forge(func(s *report.Signoff) { s.Cost[0].Verdict = "fail" })
	if named, all := problems(t, dir); !slices.Contains(named, "signoff.json") {
		t.Errorf("a verdict that its figures do not give: found %q", all)
	}
}

func hexSHA(content []byte) string { return fmt.Sprintf("%x", sha256.Sum256(content)) }

// A handoff that was chosen by hand is made again by the same choice.
func TestVerifyAgainstAChoiceByHand(t *testing.T) {
	job := cityJob(t, func(job string) string { return job })
	dir := filepath.Join(t.TempDir(), "uncut")
	if code, _, stderr := call("export", job, "--keep-features", "all", "--keep-units", "all",
		"--weights",
		"int16", "--out", dir); code == exitInput {
		t.Fatal(stderr)
	}
	if code, stdout, stderr := call("verify", dir, "--against", job); code != exitDone {
		t.Errorf("exit code %d: %s%s", code, stdout, stderr)
	}
}

// resealed writes the manifest of a handoff anew, for the files that are there, as somebody would
// who wants to hide changes.
func resealed(t *testing.T, dir string, change func(m *exporter.Manifest)) {
	t.Helper()
	files := readAll(t, dir)
	var m exporter.Manifest
	if err := json.Unmarshal(files[exporter.ManifestFile], &m); err != nil {
		t.Fatal(err)
	}
	m.Outputs, m.Check = nil, ""
	for _, name := range slices.Sorted(maps.Keys(files)) {
		if name != exporter.ManifestFile {
			m.Outputs = append(m.Outputs,
				exporter.OutputFile{File: name, SHA256: hexSHA(files[name]),
					Bytes: len(files[name])})
		}
	}
	change(&m)
	text, err := json.MarshalIndent(m, "", "  ")
	if err != nil {
		t.Fatal(err)
	}
	text = append(text, '\n')
	rewrite(t, filepath.Join(dir, exporter.ManifestFile),
		[]byte(strings.Replace(string(text), `"check": ""`, `"check": "`+hexSHA(text)+`"`, 1)))
}

// What the record of a front end says otherwise than the C is found, though all hashes agree; so is
// a sign-off that speaks of another front end.
func TestVerifyCoversTheFrontEnd(t *testing.T) {
	t.Chdir(filepath.Dir(cityJob(t, func(job string) string {
		return strings.Replace(job, `file = "features.csv"`,
			"file = \"features.csv\"\nkeep = [\"temp_max\"]", 1)
	})))
	addSamples(t)
	if code, _, stderr := call("plan", "job.toml", "--out", "handoff"); code > exitBroken {
		t.Fatalf("exit code %d: %s", code, stderr)
	}
	code, stdout, _ := call("verify", "handoff")
	if text := strings.Join(strings.Fields(stdout), " "); code != exitDone ||
		!strings.Contains(text, "sources of network and front end") ||
		!strings.Contains(text, " windows of converter codes, every integer") {
		t.Errorf("exit code %d: %s", code, stdout)
	}
	original := readAll(t, "handoff")
	record := string(original["cityweather_network.json"])
	for _, change := range [][2]string{{`"wrap": false`, `"wrap": true`},
		{`"baseline_value": 0`, `"baseline_value": 2`},
		{`"baseline_seconds": 0`, `"baseline_seconds": 2`},
		{`"offset": 0`, `"offset": 0.1`}, {`"scale": 1`, `"scale": 2`},
		{`"rate": 1`, `"rate": 2`}, {`"samples": 1`, `"samples": 2`}, {`"low": -50`, `"low": -49`},
		{`"bits": 12`, `"bits": 13`}, {`"cycles": 0`, `"cycles": 1`}, {`"floor": 0`, `"floor": 1`},
		{`"computed": "level"`, `"computed": "minimum"`}, {`"seed": 0`, `"seed": 1`},
		{`"wave": "lowest"`, `"wave": "highest"`}, {`"skip": 0`, `"skip": 1`},
	} {
		text := strings.Replace(record, change[0], change[1], 1)
		if text == record {
			t.Fatalf("the record does not hold %s", change[0])
		}
		rewrite(t, filepath.Join("handoff", "cityweather_network.json"), []byte(text))
		resealed(t, "handoff", func(*exporter.Manifest) {})
		if _, found := problems(t, "handoff"); !strings.Contains(found, "cityweather") {
			t.Errorf("%s became %s: not found", change[0], change[1])
		}
	}
	rewrite(t, filepath.Join("handoff", "cityweather_network.json"), []byte(record))
	var s report.Signoff
	if err := json.Unmarshal(original["signoff.json"], &s); err != nil {
		t.Fatal(err)
	}
	for i := range s.Cost {
		if s.Cost[i].Part == "front_state" {
			s.Cost[i].Value++
		}
	}
	files, err := exporter.Reports(&s)
	if err != nil {
		t.Fatal(err)
	}
	for name, content := range files {
		rewrite(t, filepath.Join("handoff", name), content)
	}
	resealed(t, "handoff", func(*exporter.Manifest) {})
	if _, found := problems(t, "handoff"); !strings.Contains(found, "the front end of the network "+
		"has 8 B") {
		t.Errorf("another size of the front end in the sign-off: found %q", found)
	}
}

// A manifest that agrees with changed files does not make them those of a handoff, and what cannot
// be checked is not verified.
func TestResealedChangesAreFound(t *testing.T) {
	job, dir := cityHandoff(t)
	original := readAll(t, dir)
	edit := func(name, old, new string) {
		t.Helper()
		text := strings.Replace(string(original[name]), old, new, 1)
		if text == string(original[name]) {
			t.Fatalf("%s does not hold %q", name, old)
		}
		rewrite(t, filepath.Join(dir, name), []byte(text))
	}
	remove := func(name string) {
		t.Helper()
		if err := os.Remove(filepath.Join(dir, name)); err != nil {
			t.Fatal(err)
		}
	}
	for _, c := range []struct {
		name   string
		change func()
		reseal func(m *exporter.Manifest)
		want   string
	}{
		{"nothing", func() {}, func(*exporter.Manifest) {}, ", verified"},
		{"a build file", func() {
			edit("cityweather.mk", "\n", "\n$(shell true)\n")
		}, func(*exporter.Manifest) {}, "cityweather.mk does not follow from"},
		{"a missing file", func() {
			remove("cityweather_board.c")
		}, func(*exporter.Manifest) {}, "cityweather_board.c is missing"},
		{"a missing report", func() {
			remove("signoff.md")
		}, func(*exporter.Manifest) {}, "signoff.md is missing"},
		{"a foreign file", func() {
			rewrite(t, filepath.Join(dir, "more.c"), []byte("int more;\n"))
		}, func(*exporter.Manifest) {}, "more.c is named by the manifest"},
		{"an unknown choice", func() {}, func(m *exporter.Manifest) {
			m.ByHand = []string{"x=y"}
		}, "made again does not hold"},
		{"another version", func() {
			edit("signoff.json", `"kerf": "`+version, `"kerf": "0.0.9`)
		}, func(m *exporter.Manifest) {
			m.Kerf = "0.0.9"
		}, "not verified: not everything could be checked"},
	} {
		c.change()
		resealed(t, dir, c.reseal)
		code, stdout, stderr := call("verify", dir, "--against", job)
		if text := strings.Join(strings.Fields(stdout), " "); !strings.Contains(text, c.want) ||
			(code == exitDone) != (c.name == "nothing") {
			t.Errorf("%s: exit code %d, want %q in %s%s", c.name, code, c.want, stdout, stderr)
		}
		remove(exporter.ManifestFile)
		for name := range readAll(t, dir) {
			if original[name] == nil {
				remove(name)
			}
		}
		for name, content := range original {
			rewrite(t, filepath.Join(dir, name), content)
		}
	}
}
