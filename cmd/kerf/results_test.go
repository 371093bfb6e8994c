package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"strings"
	"testing"

	"kerf/exporter"
	"kerf/exporter/report"
)

// everyResult is one empty result of every command that takes --json.
var everyResult = []struct {
	command string
	value   any
}{
	{"compare", comparison{&report.Comparison{}}}, {"cost", costResult{}},
	{"cost --all-targets", whichResult{}}, {"explain HANDOFF", rowList{}},
	{"explain HANDOFF ROW", explained{}},
	{"init", initResult{}}, {"measure", measurement{}}, {"observe", observeResult{}},
	{"plan, export, demo, show", report.Signoff{}}, {"prune", pruneResult{}},
	{"quantize", quantizeResult{}}, {"rank", rankResult{}},
	{"recover", recoverResult{}}, {"targets fit", fitResult{}}, {"targets list", profileList{}},
	{"targets show", profileResult{}}, {"units", unitsResult{}},
	{"verify", verification{&exporter.Verification{}}}, {"version", versionResult{}},
}

// fieldLines lists the fields of a record and of the records in it, one line each.
func fieldLines(t reflect.Type, path string) []string {
	for t.Kind() == reflect.Pointer || t.Kind() == reflect.Slice {
		t = t.Elem()
	}
	if t.NumField() == 1 && t.Field(0).Anonymous {
		return fieldLines(t.Field(0).Type, path)
	}
	var names, lines []string
	for _, f := range recordFields(t) {
		name := fieldName(f)
		inner := f.Type
		for inner.Kind() == reflect.Pointer || inner.Kind() == reflect.Slice {
			inner = inner.Elem()
		}
		if inner.Kind() != reflect.Struct {
			names = append(names, name)
			continue
		}
		shown := name
		if f.Type.Kind() == reflect.Slice {
			shown += "[]"
		}
		lines = append(lines, fieldLines(inner, strings.TrimPrefix(path+"."+shown, "."))...)
	}
	if len(names) > 0 {
		where := "the object"
		if path != "" {
			where = "`" + path + "`"
		}
		lines = append([]string{fmt.Sprintf("- %s: %s", where, strings.Join(names, ", "))},
			lines...)
	}
	return lines
}

// docs/results.md lists every field. KERF_UPDATE_RESULTS=1 writes the lists anew.
func TestResultsPageListsEveryField(t *testing.T) {
	path := filepath.Join("..", "..", "docs", "results.md")
	page, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	front, _, _ := strings.Cut(string(page), "\n## ")
	meant := map[string]bool{}
	for _, row := range regexp.MustCompile(`(?m)^\| (\w+) \| .+ \|$`).FindAllStringSubmatch(front,
		-1) {
		meant[row[1]] = true
	}
	var b strings.Builder
	b.WriteString(strings.TrimRight(front, "\n") + "\n")
	for _, r := range everyResult {
		lines := fieldLines(reflect.TypeOf(r.value), "")
		fmt.Fprintf(&b, "\n## %s\n\n%s\n", r.command, strings.Join(lines, "\n"))
		for _, line := range lines {
			_, names, _ := strings.Cut(line, ": ")
			for _, name := range strings.Split(names, ", ") {
				if !meant[name] {
					t.Errorf("docs/results.md does not say what %s means", name)
				}
			}
		}
	}
	samePage(t, path, b.String(), "KERF_UPDATE_RESULTS")
}

// samePage fails where a page is not the wanted one; with the environment variable it writes it.
func samePage(t *testing.T, path, want, variable string) {
	t.Helper()
	if os.Getenv(variable) != "" {
		if err := os.WriteFile(path, []byte(want), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if page, err := os.ReadFile(path); err != nil || string(page) != want {
		t.Errorf("%s is not what the code says (%v): %s=1 go test ./cmd/kerf -run %s writes it",
			path, err, variable, t.Name())
	}
}

// Every command that prints results takes --json and --csv; those that only group others do not.
func TestEveryCommandTakesJSONAndCSV(t *testing.T) {
	root := (&app{stdout: io.Discard, ui: newUI(io.Discard)}).rootCommand()
	profiles, _, err := root.Find([]string{"targets"})
	if err != nil {
		t.Fatal(err)
	}
	for _, cmd := range append(root.Commands(), profiles.Commands()...) {
		if cmd.Name() == "targets" || cmd.Name() == "help" || cmd.Name() == "completion" {
			continue
		}
		for _, option := range []string{"json", "csv", "format"} {
			if cmd.Flags().Lookup(option) == nil {
				t.Errorf("%s does not take --%s", cmd.CommandPath(), option)
			}
		}
	}
}

// Blocks, inner lists and their keys, null, full precision, and text that a spreadsheet would run.
func TestRecordsAsCSV(t *testing.T) {
	third := 1.0 / 3
	r := struct {
		Name string `json:"name"`
		Rows []struct {
			ID    string    `json:"id"`
			Value *float64  `json:"value"`
			List  []float64 `json:"list"`
			Names []string  `json:"names"`
			Row   *eventRow `json:"row"`
			Parts []eventRow
			More  []eventRow `json:"more"`
		} `json:"rows"`
		Empty []eventRow `json:"empty"`
	}{Name: "=1+1"}
	r.Rows = append(r.Rows, struct {
		ID    string    `json:"id"`
		Value *float64  `json:"value"`
		List  []float64 `json:"list"`
		Names []string  `json:"names"`
		Row   *eventRow `json:"row"`
		Parts []eventRow
		More  []eventRow `json:"more"`
	}{"a", &third, []float64{1, 0.1}, []string{"return, slope", `a;b "c"`, "=d"},
		&eventRow{"low now", "now", 3}, []eventRow{{"hidden", "hidden", 1}},
		[]eventRow{{"low e", "e", third}, {"high e", "e", 2}}})
	r.Rows = append(r.Rows, r.Rows[0])
	r.Rows[1].ID, r.Rows[1].Value, r.Rows[1].Names, r.Rows[1].Row = "b", nil, nil, nil
	var out bytes.Buffer
	if err := writeRecords(&out, r); err != nil {
		t.Fatal(err)
	}
	want := `section,name
result,'=1+1

section,id,value,list,names,row.event,row.of,row.share
rows,a,0.3333333333333333,1;0.1,"return, slope;""a;b """"c"""""";'=d",low now,now,3
rows,b,,1;0.1,,,,

section,rows.id,event,of,share
rows.more,a,low e,e,0.3333333333333333
rows.more,a,high e,e,2
rows.more,b,low e,e,0.3333333333333333
rows.more,b,high e,e,2
`
	if out.String() != want {
		t.Errorf("got\n%swant\n%s", out.String(), want)
	}
	lines := csv.NewReader(&out)
	lines.FieldsPerRecord = -1
	if _, err := lines.ReadAll(); err != nil {
		t.Error(err)
	}
	if text, err := json.Marshal(r); err != nil ||
		!strings.Contains(string(text), "0.3333333333333333") {
		t.Errorf("%s, %v", text, err)
	}
}
