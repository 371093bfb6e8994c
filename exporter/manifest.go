package exporter

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"io/fs"
	"path/filepath"
	"slices"
	"sort"

	"kerf/budget"
	"kerf/exporter/emit"
	"kerf/exporter/report"
	"kerf/fault"
	"kerf/whole"
)

// ManifestFile is the name of the manifest in a handoff.
const ManifestFile = "manifest.json"

// Manifest names every file that went in and came out, by content. Check, the SHA-256 of the
// manifest itself, tells a change of the manifest from a change of a file.
type Manifest struct {
	Kerf    string         `json:"kerf"`    // the version that made the handoff
	Job     string         `json:"job"`     // name of the job
	Verdict budget.Verdict `json:"verdict"` // of the sign-off
	// what was chosen on the command line of kerf export, option=value
	ByHand  []string           `json:"by_hand"`
	Inputs  []budget.InputFile `json:"inputs"`   // files that the job read, the job first
	BuiltIn []OwnTable         `json:"built_in"` // tables of kerf itself that figures come from
	Outputs []OutputFile       `json:"outputs"`  // all files but this one, by name
	// SHA-256 of this text with nothing between these quotes
	Check string `json:"check"`
}

// names reports whether the manifest names a file of the handoff.
func (m *Manifest) names(file string) bool {
	return slices.ContainsFunc(m.Outputs, func(o OutputFile) bool { return o.File == file })
}

// OwnTable is a table of figures that is built into kerf.
type OwnTable struct {
	Name   string `json:"name"`
	SHA256 string `json:"sha256"`
}

// OutputFile is one file of the handoff.
type OutputFile struct {
	File   string `json:"file"`
	SHA256 string `json:"sha256"`
	Bytes  int    `json:"bytes"`
}

// sha returns the SHA-256 of a content, hexadecimal.
func sha(content []byte) string {
	sum := sha256.Sum256(content)
	return hex.EncodeToString(sum[:])
}

// newManifest returns the text of the manifest of a handoff. files are all its other files.
func newManifest(s *report.Signoff, byHand []string, builtIn []OwnTable,
	files map[string][]byte) ([]byte, error) {
	m := Manifest{Kerf: s.Kerf, Job: s.Name, Verdict: s.Verdict,
		ByHand: append([]string{}, byHand...), Inputs: s.Inputs, BuiltIn: builtIn}
	for name, content := range files {
		m.Outputs = append(m.Outputs, OutputFile{name, sha(content), len(content)})
	}
	sort.Slice(m.Outputs, func(a, b int) bool { return m.Outputs[a].File < m.Outputs[b].File })
	return m.text()
}

// text sets Check and returns the content of the file.
func (m *Manifest) text() ([]byte, error) {
	m.Check = ""
	text, err := json.MarshalIndent(m, "", "  ")
	if err != nil {
		return nil, err
	}
	text = append(text, '\n')
	m.Check = sha(text)
	at := bytes.LastIndex(text, []byte(`"check": "`)) + len(`"check": "`)
	return append(append(text[:at:at], m.Check...), text[at:]...), nil
}

// readManifest reads a manifest. intact says that its text is exactly what kerf wrote, by its own
// SHA-256.
func readManifest(text []byte) (m *Manifest, intact bool, err error) {
	m = &Manifest{}
	if err := json.Unmarshal(text, m); err != nil {
		return nil, false, err
	}
	again := *m
	written, err := again.text()
	return m, err == nil && bytes.Equal(written, text), err
}

// ownTables returns the tables of kerf that the figures of a result come from, each once.
func ownTables(r *budget.Result) []OwnTable {
	tables := []OwnTable{}
	seen := map[string]bool{}
	for _, t := range r.Inputs.OwnTables() {
		if !seen[t.Name] {
			seen[t.Name] = true
			tables = append(tables, OwnTable{t.Name, sha(t.Text)})
		}
	}
	return tables
}

// handoffFiles lists the files that belong to the handoff in folder found, which stands or stood at
// dir: those that its manifest names, and the manifest. Without a manifest there are none.
func handoffFiles(found, dir string) (map[string]bool, error) {
	text, err := whole.ReadRegular(filepath.Join(found, ManifestFile), report.MaxJSONBytes)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fault.OfFile(dir, "manifest.json in it cannot be read", err,
			"choose another folder with --out")
	}
	m, _, err := readManifest(text)
	if err != nil || emit.CheckPrefix(m.Job) != nil { // other programs have a manifest.json too
		return nil, &fault.Error{File: dir, Msg: "manifest.json in it is none of kerf's",
			Hint: "choose another folder with --out"}
	}
	known := map[string]bool{ManifestFile: true}
	for _, f := range m.Outputs {
		known[f.File] = true
	}
	return known, nil
}
