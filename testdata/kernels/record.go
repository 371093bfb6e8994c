package main

import (
	"bufio"
	"bytes"
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

	"kerf/budget/cost"
	"kerf/targets"
	"kerf/targets/measure"
)

// store names the files of raw measurements, one line of JSON for each. kept is compressed. While
// measuring, lines are added to growing, so that a run that was stopped goes on where it ended.
type store struct{ kept, growing string }

// networkRecords are the raw measurements of networks.
var networkRecords = store{filepath.Join("testdata", "kernels", "measurements.jsonl.gz"),
	filepath.Join("testdata", "kernels", "measurements.growing.jsonl")}

// record is the measurement of one network on one core: everything that a fit reads.
type record struct {
	Key     string `json:"key"` // see keyOf
	Profile string `json:"profile"`
	Network string `json:"network"` // as cost.ShapeText writes it
	measure.Result
}

// apart matches the functions that the emitted C keeps out of line.
var apart = regexp.MustCompile(`^net_(\w+_)?(rows|step)$`)

// keyOf returns the key of a measurement: a hash of the emitted C and its form, the compiler's
// flags and the core. Text that cannot change a measurement is left out: comments, the number of
// the export, which depends on them, and macros that no file uses, since they are for firmware.
func keyOf(files map[string][]byte, p *targets.Profile, form cost.Form) string {
	h := sha256.New()
	if form == cost.Small {
		fmt.Fprintln(h, form)
	}
	fmt.Fprintf(h, "%s %s %s %s %d\n", p.Name, p.ISA, p.CompilerFlags, p.Optimise, steps)
	code, uses := map[string][]byte{}, map[string]int{}
	for name, text := range files {
		code[name] = comment.ReplaceAll(text, nil)
		for _, word := range word.FindAll(code[name], -1) {
			uses[string(word)]++
		}
	}
	for _, name := range slices.Sorted(maps.Keys(code)) {
		fmt.Fprintln(h, name)
		for line := range bytes.Lines(exportNumber.ReplaceAll(code[name], nil)) {
			line = bytes.TrimSpace(line)
			macro := macro.FindSubmatch(line)
			if len(line) > 0 && (macro == nil || uses[string(macro[1])] > 1) {
				fmt.Fprintf(h, "%s\n", line)
			}
		}
	}
	return fmt.Sprintf("%x", h.Sum(nil))[:24]
}

var (
	comment      = regexp.MustCompile(`(?s)/\*.*?\*/`)
	exportNumber = regexp.MustCompile(`\b0x[0-9A-F]{8}(UL)?\b`)
	macro        = regexp.MustCompile(`^#define (\w+)`)
	word         = regexp.MustCompile(`\b[A-Za-z_]\w+`)
)

// read returns all measurements so far, by key.
func (s store) read() (map[string]*record, error) {
	records := map[string]*record{}
	kept, err := os.Open(s.kept)
	if err == nil {
		defer kept.Close()
		text, err := gzip.NewReader(kept)
		if err != nil {
			return nil, err
		}
		if err := readLines(text, records); err != nil {
			return nil, fmt.Errorf("%s: %w", s.kept, err)
		}
	} else if !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	growing, err := os.Open(s.growing)
	if errors.Is(err, fs.ErrNotExist) {
		return records, nil
	} else if err != nil {
		return nil, err
	}
	defer growing.Close()
	return records, readLines(growing, records)
}

// readLines adds the measurements of whole lines to records. A last line that was cut off when the
// run was stopped is left out, so that its network is measured again.
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

// keep writes these measurements and no others to the kept file, and removes the growing one.
func (s store) keep(results []*record) error {
	file, err := os.Create(s.kept)
	if err != nil {
		return err
	}
	packed, err := gzip.NewWriterLevel(file, gzip.BestCompression)
	if err != nil {
		return err
	}
	encoder := json.NewEncoder(packed)
	for _, r := range results {
		if err := encoder.Encode(r); err != nil {
			return err
		}
	}
	if err := packed.Close(); err != nil {
		return err
	}
	if err := file.Close(); err != nil {
		return err
	}
	return os.Remove(s.growing)
}
