package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

var namesClause = regexp.MustCompile(`(?i)neither the names? of`)

// licenceOf names the licence in the folder of a module, by sentences of its text (source:
// spdx.org/licenses).
func licenceOf(t *testing.T, dir string) string {
	t.Helper()
	for _, pattern := range []string{"LICENSE*", "COPYING*"} {
		files, err := filepath.Glob(filepath.Join(dir, pattern))
		if err != nil || len(files) == 0 {
			continue
		}
		raw, err := os.ReadFile(files[0])
		if err != nil {
			t.Fatal(err)
		}
		text := strings.Join(strings.Fields(string(raw)), " ")
		bsd := "BSD-2-Clause"
		if namesClause.MatchString(text) {
			bsd = "BSD-3-Clause"
		}
		found, first := "unknown", len(text) // a file may hold those of parts behind its own
		for licence, sentence := range map[string]string{
			"Apache-2.0": "Apache License Version 2.0",
			"MIT":        "Permission is hereby granted, free of charge",
			bsd:          "Redistribution and use in source and binary forms",
		} {
			if at := strings.Index(text, sentence); at >= 0 && at < first {
				found, first = licence, at
			}
		}
		return found
	}
	return "unknown"
}

var moduleRow = regexp.MustCompile(`^\| ([a-z0-9.]+\.[a-z]+/[^ |]+)[^|]*\| ([^ |]+) \|`)

// Every module that kerf or its tests are built from stands in docs/dependencies.md,
// with the licence that its own file states; and nothing else does.
func TestDependenciesAreListed(t *testing.T) {
	text, err := os.ReadFile(filepath.Join("..", "..", "docs", "dependencies.md"))
	if err != nil {
		t.Fatal(err)
	}
	listed := map[string]string{}
	for line := range strings.Lines(string(text)) {
		if m := moduleRow.FindStringSubmatch(line); m != nil {
			listed[m[1]] = m[2]
		}
	}
	out, err := exec.Command("go", "list", "-deps", "-test", "-tags", "browser,notebook,emulate",
		"-f", "{{with .Module}}{{if not .Main}}{{.Path}}\t{{.Dir}}{{end}}{{end}}",
		"../../...", "../../testdata/benchtarget/...", "../../testdata/demo/...",
		"../../testdata/kernels/...", "../../testdata/recovery/...", "../../testdata/slow/...",
		"../../testdata/benchscore/...", "../../testdata/hardinput", "../../testdata/mutate/...",
		"../../testdata/smallest/...", "../../.ci/release").Output()
	if err != nil {
		t.Fatal(err)
	}
	used := map[string]string{}
	for line := range strings.Lines(string(out)) {
		if module, dir, ok := strings.Cut(strings.TrimSpace(line), "\t"); ok {
			used[module] = dir
		}
	}
	if len(used) < 15 {
		t.Errorf("only %d modules found", len(used))
	}
	for module, dir := range used {
		switch licence, ok := listed[module]; {
		case !ok:
			t.Errorf("%s is not listed in docs/dependencies.md", module)
		case licence != licenceOf(t, dir):
			t.Errorf("%s is listed with the licence %s, its file says %s", module, licence,
				licenceOf(t, dir))
		}
	}
	for module := range listed {
		if used[module] == "" {
			t.Errorf("%s is listed in docs/dependencies.md, and nothing uses it", module)
		}
	}
}

// No package outside the standard library needs a C compiler.
func TestNoCgo(t *testing.T) {
	list := exec.Command("go", "list", "-deps", "-f", "{{if not .Standard}}{{.ImportPath}} "+
		"{{len .CgoFiles}}{{end}}", ".")
	list.Env = append(list.Environ(), "CGO_ENABLED=1")
	out, err := list.Output()
	if err != nil {
		t.Fatal(err)
	}
	packages := 0
	for line := range strings.Lines(string(out)) {
		name, count, _ := strings.Cut(strings.TrimSpace(line), " ")
		packages++
		if count != "0" {
			t.Errorf("%s uses cgo", name)
		}
	}
	if packages < 20 {
		t.Errorf("only %d packages seen", packages)
	}
}
