package main

import (
	"bufio"
	"compress/gzip"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"

	"kerf/targets"
	"kerf/targets/measure"
)

// The raw measurements: compressed where they are kept, and while measuring one line of text after
// the other, so that a run that was ended goes on where it stood.
var (
	keptFile    = filepath.Join("testdata", "kernels", "measurements.jsonl.gz")
	growingFile = filepath.Join("testdata", "kernels", "measurements.growing.jsonl")
)

// record is what was measured of one network on one core: everything that a fit reads.
type record struct {
	Key     string `json:"key"` // hash of what was compiled, how and for what
	Profile string `json:"profile"`
	Network string `json:"network"` // as budget.ShapeText writes it
	measure.Result
}

// apart names the functions of the emitted C that it keeps out of their callers.
var apart = regexp.MustCompile(`^net_(\w+_)?(rows|step)$`)

// keyOf tells measurements apart: the emitted C, the compiler's flags and the core.
func keyOf(files map[string][]byte, p *targets.Profile) string {
	h := sha256.New()
	fmt.Fprintf(h, "%s %s %s %s %d\n", p.Name, p.ISA, p.CompilerFlags, p.Optimise, steps)
	for _, name := range slices.Sorted(maps.Keys(files)) {
		fmt.Fprintf(h, "%s %d\n", name, len(files[name]))
		h.Write(files[name])
	}
	return fmt.Sprintf("%x", h.Sum(nil))[:24]
}

// readRecords reads all that was measured so far, by key.
func readRecords() (map[string]*record, error) {
	records := map[string]*record{}
	kept, err := os.Open(keptFile)
	if err == nil {
		defer kept.Close()
		text, err := gzip.NewReader(kept)
		if err != nil {
			return nil, err
		}
		if err := readLines(text, records); err != nil {
			return nil, fmt.Errorf("%s: %w", keptFile, err)
		}
	} else if !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	growing, err := os.Open(growingFile)
	if errors.Is(err, fs.ErrNotExist) {
		return records, nil
	} else if err != nil {
		return nil, err
	}
	defer growing.Close()
	return records, readLines(growing, records)
}

// readLines takes whole lines; a last one that was cut off when the run ended is measured again.
func readLines(from io.Reader, records map[string]*record) error {
	lines := bufio.NewReader(from)
	for {
		line, err := lines.ReadBytes('\n')
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return err
		}
		r := &record{}
		if err := json.Unmarshal(line, r); err != nil {
			return err
		}
		records[r.Key] = r
	}
}

// keepRecords writes the records of the networks that are drawn today, and no others.
func keepRecords(runs []*measured) error {
	file, err := os.Create(keptFile)
	if err != nil {
		return err
	}
	packed, err := gzip.NewWriterLevel(file, gzip.BestCompression)
	if err != nil {
		return err
	}
	encoder := json.NewEncoder(packed)
	for _, r := range runs {
		if err := encoder.Encode(r.result); err != nil {
			return err
		}
	}
	if err := packed.Close(); err != nil {
		return err
	}
	if err := file.Close(); err != nil {
		return err
	}
	return os.Remove(growingFile)
}
