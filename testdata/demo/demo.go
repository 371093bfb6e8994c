// Package demo holds the demo job of kerf: a network that reads the three
// pressure channels of a log splitter's hydraulic power unit and tells internal
// leakage and entrained air. Machine, recordings and network are invented and
// synthetic; README.md says how each file was made.
package demo

import (
	"compress/gzip"
	"embed"
	"fmt"
	"io"
	"strings"

	"kerf/testdata/demo/packed"
)

//go:embed README.md job.toml features.csv outputs.csv scores.csv model.safetensors
//go:embed selection.csv.gz selection_samples.gz signoff.csv.gz signoff_samples.gz
var stored embed.FS

// Files returns the files of the job by name, as they belong into one folder:
// README.md, job.toml, features.csv, outputs.csv, scores.csv,
// model.safetensors, selection.csv, signoff.csv, selection_samples.csv and
// signoff_samples.csv. The recordings are stored compressed and returned as
// plain text, about 3 MB each, and 20 MB of samples. The map is the
// caller's. An error means that kerf was built from a damaged source tree.
func Files() (map[string][]byte, error) {
	entries, err := stored.ReadDir(".")
	if err != nil {
		return nil, err
	}
	files := make(map[string][]byte, len(entries))
	for _, entry := range entries {
		name, content, err := read(entry.Name())
		if err != nil {
			return nil, fmt.Errorf("demo file %s: %w", entry.Name(), err)
		}
		files[name] = content
	}
	return files, nil
}

// read returns one stored file. A file whose name ends in .gz is decompressed, and its name
// returned without this end; packed samples become a CSV file.
func read(storedName string) (name string, content []byte, err error) {
	file, err := stored.Open(storedName)
	if err != nil {
		return "", nil, err
	}
	defer file.Close()
	if name, isPacked := strings.CutSuffix(storedName, "_samples.gz"); isPacked {
		content, err = packed.CSV(file)
		return name + "_samples.csv", content, err
	}
	var from io.Reader = file
	name, compressed := strings.CutSuffix(storedName, ".gz")
	if compressed {
		if from, err = gzip.NewReader(file); err != nil {
			return "", nil, err
		}
	}
	content, err = io.ReadAll(from)
	return name, content, err
}
