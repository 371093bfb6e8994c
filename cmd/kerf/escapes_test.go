package main

import (
	"encoding/json"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"kerf/budget"
	"kerf/exporter"
	"kerf/exporter/report"
)

// Whatever texts a handoff has in the place of its own, no command that reads it hands an escape
// sequence to the terminal.
func TestEscapesInAHandoff(t *testing.T) {
	s := &report.Signoff{}
	fill(reflect.ValueOf(s).Elem())
	s.Schema, s.Name = report.Schema, "leakair"
	// The verdicts are as the figures give them: a cost at its limit, a loss of one sequence.
	s.Verdict, s.Cost[0].Verdict, s.Loss[0].Verdict, s.Loss[0].WouldDo = budget.NotEnough,
		budget.Pass, budget.NotEnough, 6
	s.Chain.Converters[0].Within = true
	s.Reason = s.WhyNot()
	m := &exporter.Manifest{}
	fill(reflect.ValueOf(m).Elem())
	dir := t.TempDir()
	for name, content := range map[string]any{"signoff.json": s, exporter.ManifestFile: m} {
		text, err := json.Marshal(content)
		if err != nil {
			t.Fatal(err)
		}
		rewrite(t, filepath.Join(dir, name), text)
	}
	onlyManifest := t.TempDir()
	text, err := json.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	rewrite(t, filepath.Join(onlyManifest, exporter.ManifestFile), text)
	commands := [][]string{{"verify", onlyManifest}, {"verify", dir}, {"explain", dir},
		{"explain", dir, "no such row"}, {"compare", dir, dir}, {"measure", dir}}
	for _, format := range []string{"text", "markdown", "csv", "json", "summary", "junit"} {
		commands = append(commands, []string{"show", dir, "--format", format})
	}
	for _, args := range commands {
		code, stdout, stderr := call(args...)
		if args[0] == "show" && code > exitBroken {
			t.Errorf("kerf %s: exit code %d: %s", strings.Join(args, " "), code, stderr)
		}
		bad := "\x1b\u202e"
		if last := args[len(args)-1]; last == "json" || last == "junit" {
			bad = "\x1b" // programs read these texts as they are
		}
		if stdout+stderr == "" || strings.ContainsAny(stdout+stderr, bad) {
			t.Errorf("kerf %s prints %q", strings.Join(args, " "), stdout+stderr)
		}
	}
}

// fill puts a hostile text into every text of a record, one entry into every list, and 1 for
// numbers.
func fill(v reflect.Value) {
	switch v.Kind() {
	case reflect.String:
		v.SetString("\x1b[2J\u202eevil")
	case reflect.Int, reflect.Int64:
		v.SetInt(1)
	case reflect.Float64:
		v.SetFloat(1)
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		fill(v.Elem())
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), 1, 1))
		fill(v.Index(0))
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				fill(v.Field(i))
			}
		}
	}
}
