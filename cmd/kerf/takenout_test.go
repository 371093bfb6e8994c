package main

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// Whatever single field of a sign-off somebody takes out, every command that reads it ends with a
// result or with one sentence; nothing panics. Of every list the first record is tried, and of
// losses and costs every kind of record.
func TestSignoffWithAFieldTakenOut(t *testing.T) {
	_, dir := cityHandoff(t)
	text, err := os.ReadFile(filepath.Join(dir, "signoff.json"))
	if err != nil {
		t.Fatal(err)
	}
	var whole map[string]any
	if err := json.Unmarshal(text, &whole); err != nil {
		t.Fatal(err)
	}
	candidates := whole["frontier"].(map[string]any)
	candidates["candidates"] = candidates["candidates"].([]any)[:3]
	candidates["near"] = []int{0, 1}
	if text, err = json.Marshal(whole); err != nil {
		t.Fatal(err)
	}
	old := filepath.Join(t.TempDir(), "old.json")
	changed := filepath.Join(filepath.Dir(old), "changed.json")
	rewrite(t, old, text)
	_, stdout, stderr := call("explain", old, "--json")
	var list struct {
		Rows []struct {
			Row string `json:"row"`
		} `json:"rows"`
	}
	if err := json.Unmarshal([]byte(stdout), &list); err != nil || len(list.Rows) < 10 {
		t.Fatalf("%v, %d rows: %s", err, len(list.Rows), stderr)
	}
	rows := []string{list.Rows[0].Row, list.Rows[len(list.Rows)-1].Row}
	commands := [][]string{{"show", changed}, {"show", changed, "--format", "junit"},
		{"compare", old, changed}, {"compare", changed, old}, {"explain", changed}}
	for _, row := range rows {
		commands = append(commands, []string{"explain", changed, row})
	}
	tried := 0
	takeOut(whole, "", func(path string) {
		tried++
		text, err := json.Marshal(whole)
		if err != nil {
			t.Fatal(err)
		}
		rewrite(t, changed, text)
		for _, args := range commands {
			code, _, stderr := survive(t, path, args)
			if refused := code == exitInput; code > exitInput || refused &&
				(strings.Count(stderr, "error:") != 1 ||
					!strings.Contains(stderr, "changed.json")) {
				t.Errorf("%s taken out, %s: exit code %d: %s", path, strings.Join(args[:1], " "),
					code, stderr)
			}
		}
	})
	if tried < 150 {
		t.Errorf("only %d fields tried", tried)
	}
}

// survive runs a command and reports a panic.
func survive(t *testing.T, path string, args []string) (code int, stdout, stderr string) {
	t.Helper()
	defer func() {
		if r := recover(); r != nil {
			t.Errorf("%s taken out, kerf %s panics: %v", path, strings.Join(args, " "), r)
		}
	}()
	return call(args...)
}

// takeOut takes one field after the other out of a record and puts it back. A null reads as no
// field.
func takeOut(record map[string]any, at string, try func(path string)) {
	var names []string
	for name := range record {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		value, path := record[name], at+"."+name
		delete(record, name)
		try(path)
		record[name] = value
		switch v := value.(type) {
		case map[string]any:
			takeOut(v, path, try)
		case []any:
			seen := map[string]bool{}
			for i, one := range v {
				inner, ok := one.(map[string]any)
				kind := fmt.Sprint(inner["tolerance_on"], inner["limit"] == nil,
					inner["part"] == "total")
				if ok && !seen[kind] {
					seen[kind] = true
					takeOut(inner, fmt.Sprintf("%s[%d]", path, i), try)
				}
			}
		}
	}
}
