//go:build unix

package main

import (
	"archive/zip"
	"bytes"
	"encoding/csv"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"

	"github.com/BurntSushi/toml"

	"kerf/budget"
	"kerf/dataset"
	"kerf/exporter"
	"kerf/fault"
	"kerf/model"
	"kerf/whole"
)

// wraps reports whether an error is, or comes from, one of type E.
func wraps[E error](err error) bool {
	var cause E
	return errors.As(err, &cause)
}

// Failures keep their causes through every layer between the system and stderr. The texts are
// those that kerf printed when the causes were part of the text alone (recorded with the program
// before that change).
func TestFailuresKeepTheirCause(t *testing.T) {
	const ofJob = "file names are relative to the folder of the job file"
	replace := func(name, old, fresh string) func(dir string) error {
		return func(dir string) error {
			text, err := os.ReadFile(filepath.Join(dir, name))
			if err != nil {
				return err
			}
			if !bytes.Contains(text, []byte(old)) {
				return errors.New(name + " holds no " + old)
			}
			return os.WriteFile(filepath.Join(dir, name),
				bytes.Replace(text, []byte(old), []byte(fresh), 1), 0o644)
		}
	}
	for _, c := range []struct {
		name     string
		spoil    func(dir string) error
		text     string // behind the folder of the job
		inFolder bool   // the text begins with that folder
		hint     string
		is       []error
		as       []func(error) bool
	}{
		{"missing file", func(dir string) error {
			return os.Remove(filepath.Join(dir, "selection.csv"))
		}, "job.toml:8:13: selection.csv cannot be read: no such file or directory", true, ofJob,
			[]error{fs.ErrNotExist, syscall.ENOENT}, []func(error) bool{wraps[*fs.PathError]}},
		{"a folder for a file", func(dir string) error {
			name := filepath.Join(dir, "model.npz")
			return errors.Join(os.Remove(name), os.Mkdir(name, 0o755))
		}, "job.toml:4:8: model.npz cannot be read: it is no regular file", true, ofJob,
			[]error{whole.ErrNotRegular}, nil},
		// the permissions of a file do not stop root, a link to itself does
		{"unreadable file", func(dir string) error {
			name := filepath.Join(dir, "features.csv")
			return errors.Join(os.Remove(name), os.Symlink("features.csv", name))
		}, "job.toml:12:8: features.csv cannot be read: too many levels of symbolic links", true,
			ofJob, []error{syscall.ELOOP}, []func(error) bool{wraps[*fs.PathError]}},
		{"broken model", func(dir string) error {
			return os.Truncate(filepath.Join(dir, "model.npz"), 100)
		}, "model.npz: starts like a zip archive, but its directory cannot be read: zip: not a " +
			"valid zip file", true, "the file is damaged or not what its name says; save it " +
			"again from the training program", []error{model.ErrFormat, zip.ErrFormat}, nil},
		{"bad TOML value", replace("job.toml", `"64 MHz"`, `"64 Mhz"`),
			`job.toml:26:9: target.clock: "64 Mhz": unknown unit "Mhz"`, true,
			`did you mean "MHz"? write a number and a unit, such as "64 MHz"; units: Hz, kHz, ` +
				`MHz, GHz`, nil, []func(error) bool{
				func(err error) bool {
					var outer, inner *fault.Error
					return errors.As(err, &outer) && errors.As(outer.Cause, &inner) &&
						inner.Name == `"64 Mhz"`
				}}},
		{"bad TOML", replace("job.toml", `"64 MHz"`, `"64 MHz`),
			"job.toml:26:16: strings cannot contain newlines", true, "", nil,
			[]func(error) bool{wraps[toml.ParseError]}},
		{"unknown profile", replace("job.toml", `"cortex-m4f"`, `"cortex-m4"`),
			`job.toml:25:11: unknown profile "cortex-m4"`, true, `did you mean "cortex-m4f"? ` +
				`known here: cortex-m0plus, cortex-m3, cortex-m4f, cortex-m7, cortex-m33, ` +
				`rv32imc, avr8`, nil, nil},
		{"bad CSV cell", replace("selection.csv", ",10,", ",1O,"),
			`selection.csv:2: column temp_max: "1O" is not a number`, false, "write numbers " +
				"with a decimal point, without unit and without thousands separator",
			[]error{dataset.ErrInput, strconv.ErrSyntax}, nil},
		{"bad CSV", replace("scores.csv", "\ntemp_max", "\ntemp\"max"),
			`scores.csv:2: bare " in non-quoted-field`, false,
			"kerf reads comma-separated files with a header line",
			[]error{dataset.ErrInput, csv.ErrBareQuote},
			[]func(error) bool{wraps[*csv.ParseError]}},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			if err := os.CopyFS(dir, os.DirFS(filepath.Join("..", "..", "testdata",
				"cityweather"))); err != nil {
				t.Fatal(err)
			}
			if err := c.spoil(dir); err != nil {
				t.Fatal(err)
			}
			_, err := budget.Load(filepath.Join(dir, "job.toml"))
			text := c.text
			if c.inFolder {
				text = dir + string(filepath.Separator) + text
			}
			checkFailure(t, err, text, c.hint, c.is, c.as)
		})
	}
	t.Run("unwritable folder", func(t *testing.T) {
		file := filepath.Join(t.TempDir(), "file")
		if err := os.WriteFile(file, nil, 0o644); err != nil {
			t.Fatal(err)
		}
		dir := filepath.Join(file, "handoff")
		err := exporter.WriteFolder(dir, map[string][]byte{"a": nil})
		checkFailure(t, err, dir+": the folder cannot be written: not a directory",
			"choose another folder with --out", []error{syscall.ENOTDIR},
			[]func(error) bool{wraps[*fs.PathError]})
	})
}

// checkFailure compares an error and what kerf prints of it.
func checkFailure(t *testing.T, err error, text, hint string, is []error, as []func(error) bool) {
	t.Helper()
	if err == nil {
		t.Fatal("no error")
	}
	var printed strings.Builder
	newUI(&printed).fail(err)
	want := "kerf: error: " + text + "\n"
	if hint != "" {
		want += "kerf: hint: " + hint + "\n"
	}
	if printed.String() != want {
		t.Errorf("printed\n%swant\n%s", printed.String(), want)
	}
	for _, cause := range is {
		if !errors.Is(err, cause) {
			t.Errorf("%v: is not %q", err, cause)
		}
	}
	for i, isSuch := range as {
		if !isSuch(err) {
			t.Errorf("%v: comes from no error of type %d", err, i)
		}
	}
}
