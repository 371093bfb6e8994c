package main

import (
	"cmp"
	"encoding/json"
	"fmt"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime/debug"
	"slices"
	"strings"
	"unicode"
)

// modules are the modules that any of the binaries holds, by path and version.
type modules map[string]*debug.Module

// add takes the modules of one binary in.
func (m *modules) add(used []*debug.Module) {
	if *m == nil {
		*m = modules{}
	}
	for _, u := range used {
		(*m)[u.Path+"@"+u.Version] = u
	}
}

// licences returns the text that goes with the binaries, the licences of Go and of all modules:
// most licences ask that their text is passed on.
func (m modules) licences() ([]byte, error) {
	root, err := exec.Command("go", "env", "GOROOT").Output()
	if err != nil {
		return nil, fmt.Errorf("go env GOROOT: %w", err)
	}
	ofGo, err := os.ReadFile(filepath.Join(strings.TrimSpace(string(root)), "LICENSE"))
	if err != nil {
		return nil, err
	}
	var b strings.Builder
	fmt.Fprintf(&b, "What is linked into kerf, with its licences.\n\n==== the Go standard "+
		"library (BSD-3-Clause)\n\n%s\n", strings.TrimSpace(string(ofGo)))
	for _, key := range slices.Sorted(maps.Keys(m)) {
		name, text, err := licenceOf(m[key])
		if err != nil {
			return nil, err
		}
		fmt.Fprintf(&b, "\n==== %s (%s)\n\n%s\n", key, name, strings.TrimSpace(text))
	}
	return []byte(b.String()), nil
}

// licenceFile matches the names of files that hold a licence.
var licenceFile = regexp.MustCompile(`(?i)^(licen[cs]e|copying|notice|copyright)[-.\w]*$`)

// marks are pieces of text that tell licences apart, with the SPDX identifier of the licence. The
// first mark that a text holds counts.
var marks = []struct{ id, mark string }{
	{"Apache-2.0", "apache license version 2.0"},
	{"MPL-2.0", "mozilla public license version 2.0"},
	{"BSD-3-Clause", "neither the name of"},
	{"BSD-3-Clause", "the names of its contributors may not be used"},
	{"BSD-2-Clause", "redistributions in binary form must reproduce"},
	{"MIT", "permission is hereby granted, free of charge"},
	{"ISC", "permission to use, copy, modify, and/or distribute this software"},
}

// licenceOf returns the SPDX identifier of the licence of a module and its text, from the module
// cache.
func licenceOf(m *debug.Module) (id, text string, err error) {
	out, err := exec.Command("go", "mod", "download", "-json", m.Path+"@"+m.Version).Output()
	if err != nil {
		return "", "", fmt.Errorf("go mod download %s@%s: %w", m.Path, m.Version, err)
	}
	var found struct{ Dir string }
	if err := json.Unmarshal(out, &found); err != nil {
		return "", "", err
	}
	entries, err := os.ReadDir(found.Dir)
	if err != nil {
		return "", "", err
	}
	var ids []string
	for _, e := range entries {
		if e.IsDir() || !licenceFile.MatchString(e.Name()) {
			continue
		}
		content, err := os.ReadFile(filepath.Join(found.Dir, e.Name()))
		if err != nil {
			return "", "", err
		}
		text += string(content) + "\n"
		if id := identify(string(content)); id != "" && !slices.Contains(ids, id) {
			ids = append(ids, id)
		}
	}
	if text == "" {
		return "", "", fmt.Errorf("%s %s has no licence file", m.Path, m.Version)
	}
	return cmp.Or(strings.Join(ids, " AND "), noAssertion), text, nil
}

// identify returns the SPDX identifier of a licence text, empty if no mark fits. Line breaks do not
// matter.
func identify(text string) string {
	plain := strings.ToLower(strings.Join(strings.Fields(text), " "))
	plain = strings.ReplaceAll(plain, "license, version", "license version")
	for _, m := range marks {
		if strings.Contains(plain, m.mark) {
			return m.id
		}
	}
	return ""
}

// escaped spells a module path as the module proxy does: a capital letter becomes "!" and the small
// letter.
func escaped(path string) string {
	var b strings.Builder
	for _, r := range path {
		if unicode.IsUpper(r) {
			b.WriteByte('!')
			r = unicode.ToLower(r)
		}
		b.WriteRune(r)
	}
	return b.String()
}

// sortedNames returns the names of files in the order of the alphabet.
func sortedNames(files map[string][]byte) []string { return slices.Sorted(maps.Keys(files)) }
