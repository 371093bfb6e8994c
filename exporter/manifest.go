package exporter

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"sort"
)

// ManifestFile is the name of the manifest in a handoff.
const ManifestFile = "manifest.json"

// Manifest names every file that went in and came out, by content.
type Manifest struct {
	Kerf    string       `json:"kerf"`
	Job     string       `json:"job"`
	Verdict string       `json:"verdict"`
	Inputs  []InputRow   `json:"inputs"`
	Outputs []OutputFile `json:"outputs"`
}

// OutputFile is one file of the handoff.
type OutputFile struct {
	File   string `json:"file"`
	SHA256 string `json:"sha256"`
	Bytes  int    `json:"bytes"`
}

func newManifest(s *Signoff, files map[string][]byte) ([]byte, error) {
	m := Manifest{Kerf: s.Kerf, Job: s.Name, Verdict: s.Verdict, Inputs: s.Inputs}
	for name, content := range files {
		sum := sha256.Sum256(content)
		m.Outputs = append(m.Outputs, OutputFile{name, hex.EncodeToString(sum[:]), len(content)})
	}
	sort.Slice(m.Outputs, func(a, b int) bool { return m.Outputs[a].File < m.Outputs[b].File })
	text, err := json.MarshalIndent(m, "", "  ")
	return append(text, '\n'), err
}

// handoffFiles lists the files that the manifest in dir names, and the manifest.
// Without a manifest there are none.
func handoffFiles(dir string) (map[string]bool, error) {
	text, err := os.ReadFile(filepath.Join(dir, ManifestFile))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, folderError(dir, err)
	}
	var m Manifest
	if err := json.Unmarshal(text, &m); err != nil || CheckPrefix(m.Job) != nil { // other programs have a manifest.json too
		return nil, &FolderError{dir, "manifest.json in it is none of kerf's", "choose another folder with --out"}
	}
	known := map[string]bool{ManifestFile: true}
	for _, f := range m.Outputs {
		known[f.File] = true
	}
	return known, nil
}
