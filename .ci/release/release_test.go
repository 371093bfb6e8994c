package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"runtime/debug"
	"strings"
	"testing"
)

// The fields that SPDX 2.3 makes mandatory are there: clause 6 for the document, clause 7 for a
// package; every element of a relationship is declared; identifiers are SPDXRef- and letters,
// digits, . and - (spdx.github.io/spdx-spec/v2.3, from memory).
func TestBillOfMaterials(t *testing.T) {
	info := &debug.BuildInfo{
		GoVersion: "go1.26.8",
		Settings: []debug.BuildSetting{{Key: "vcs.revision", Value: "abc"},
			{Key: "vcs.time", Value: "2026-11-25T22:00:00Z"}, {Key: "GOOS", Value: "linux"},
			{Key: "GOARCH", Value: "arm64"}},
		Deps: []*debug.Module{{Path: "github.com/BurntSushi/toml", Version: "v1.6.0",
			Sum: "h1:x="}, {Path: "gonum.org/v1/gonum", Version: "v0.17.0"}},
	}
	text, err := render(info, "kerf_1_linux_arm64", "1", strings.Repeat("0", 64))
	if err != nil {
		t.Fatal(err)
	}
	var d document
	if err := json.Unmarshal(text, &d); err != nil {
		t.Fatal(err)
	}
	if d.Version != "SPDX-2.3" || d.DataLicence != "CC0-1.0" || d.ID != "SPDXRef-DOCUMENT" ||
		d.Namespace == "" || d.Creation.Created != "2026-11-25T22:00:00Z" ||
		len(d.Creation.Creators) == 0 {
		t.Errorf("document: %+v", d)
	}
	known := map[string]bool{"SPDXRef-DOCUMENT": true}
	licence := map[string]string{}
	for _, p := range d.Packages {
		if !regexp.MustCompile(`^SPDXRef-[A-Za-z0-9.-]+$`).MatchString(p.ID) || known[p.ID] ||
			p.Name == "" || p.Download == "" || p.Declared == "" {
			t.Errorf("package: %+v", p)
		}
		known[p.ID] = true
		licence[p.Name] = p.Declared
	}
	if licence["github.com/BurntSushi/toml"] != "MIT" || licence["gonum.org/v1/gonum"] !=
		"BSD-3-Clause" || licence["std"] != "BSD-3-Clause" {
		t.Errorf("licences: %v", licence)
	}
	for _, r := range d.Relationships {
		if !known[r.From] || !known[r.To] {
			t.Errorf("relationship of something unknown: %+v", r)
		}
	}
	if _, err := render(&debug.BuildInfo{GoVersion: "go1.26.8"}, "kerf", "1", ""); err == nil {
		t.Error("a binary without its commit is accepted")
	}
}

// The licence of every module in go.mod is known.
func TestLicencesAreKnown(t *testing.T) {
	text, err := os.ReadFile(filepath.Join("..", "..", "go.mod"))
	if err != nil {
		t.Fatal(err)
	}
	modules := regexp.MustCompile(`(?m)^\t(\S+) (v\S+)`).FindAllStringSubmatch(string(text), -1)
	if len(modules) < 10 {
		t.Fatalf("only %d modules found in go.mod", len(modules))
	}
	for _, m := range modules {
		id, _, err := licenceOf(&debug.Module{Path: m[1], Version: m[2]})
		if err != nil || id == noAssertion {
			t.Errorf("%s: %s, %v", m[1], id, err)
		}
		t.Log(m[1], id)
	}
}

func TestWriteLeavesOneFolder(t *testing.T) {
	out := filepath.Join(t.TempDir(), "release")
	if err := write(out,
		map[string][]byte{"kerf_1_linux_amd64": []byte("x"), "LICENSE": []byte("y")}); err != nil {
		t.Fatal(err)
	}
	sums, err := os.ReadFile(filepath.Join(out, "SHA256SUMS"))
	if err != nil || strings.Count(string(sums), "\n") != 2 {
		t.Errorf("SHA256SUMS: %q, %v", sums, err)
	}
	if info, err := os.Stat(filepath.Join(out, "kerf_1_linux_amd64")); err != nil ||
		info.Mode().Perm()&0o111 == 0 {
		t.Errorf("the binary cannot be executed: %v", err)
	}
	if _, err := os.Stat(out + ".new"); err == nil {
		t.Error("the folder that was written first is still there")
	}
}
