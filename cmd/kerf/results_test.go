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
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"kerf/exporter"
	"kerf/exporter/report"
)

// everyResult is one empty result of every command that takes --json, in the order of the page: the
// sign-off first, since other results have its records.
var everyResult = []struct {
	command string
	value   any
}{
	{"plan, export, demo, show", report.Signoff{}}, {"init", initResult{}},
	{"rank", rankResult{}}, {"rank --without", withoutResult{}}, {"observe", observeResult{}},
	{"features", featuresResult{}},
	{"prune", pruneResult{}},
	{"units", unitsResult{}}, {"recover", recoverResult{}}, {"quantize", quantizeResult{}},
	{"cost", costResult{}}, {"cost --all-targets", whichResult{}}, {"measure", measurement{}},
	{"explain HANDOFF", rowList{}}, {"explain HANDOFF ROW", explained{}},
	{"compare", comparison{&report.Comparison{}}},
	{"verify", verification{&exporter.Verification{}}}, {"targets list", profileList{}},
	{"targets show", profileResult{}}, {"targets fit", fitResult{}}, {"version", versionResult{}},
}

// resultsPage writes the records of the results. What a record or a field means comes from the page
// as it is.
type resultsPage struct {
	t     *testing.T
	means map[string]string // by command, record and field
	shown map[string]string // by the fields of a record, the first record that has them
	b     strings.Builder
}

// pageLine is a heading, a record or a field of the page; what it means may go on in lines that
// begin with blanks.
var pageLine = regexp.MustCompile(
	"(?m)^(?:## (.+)|Record `(\\S+)`: ((?:.|\n[^\n])+)|- `(\\w+)`: (.+(?:\n  .+)*))$")

func newResultsPage(t *testing.T, page string) *resultsPage {
	p := &resultsPage{t: t, means: map[string]string{}, shown: map[string]string{}}
	command, record := "", ""
	for _, m := range pageLine.FindAllStringSubmatch(page, -1) {
		switch {
		case m[1] != "":
			command, record = m[1], ""
		case m[2] != "":
			record = m[2]
			p.means[command+"|"+record] = strings.Join(strings.Fields(m[3]), " ")
		default:
			p.means[command+"|"+record+"|"+m[4]] = strings.Join(strings.Fields(m[5]), " ")
		}
	}
	return p
}

// meaning returns what the page says.
func (p *resultsPage) meaning(of ...string) string {
	text := p.means[strings.Join(of, "|")]
	if text == "" {
		p.t.Errorf("docs/results.md does not say what %s means", strings.Join(of, " "))
	}
	return text
}

// record writes the fields of a record, and then the records in it. Of a record whose fields were
// listed before it names the first that has them, and nothing where they are in one result and have
// one name.
func (p *resultsPage) record(command, path string, t reflect.Type) {
	for t.Kind() == reflect.Pointer || t.Kind() == reflect.Slice {
		t = t.Elem()
	}
	if t.NumField() == 1 && t.Field(0).Anonymous {
		p.record(command, path, t.Field(0).Type)
		return
	}
	var names []string
	var inner []func()
	for _, f := range recordFields(t) {
		name, element := fieldName(f), f.Type
		for element.Kind() == reflect.Pointer || element.Kind() == reflect.Slice {
			element = element.Elem()
		}
		if element.Kind() != reflect.Struct {
			names = append(names, name)
			continue
		}
		if f.Type.Kind() == reflect.Slice {
			name += "[]"
		}
		within := strings.TrimPrefix(path+"."+name, ".")
		inner = append(inner, func() { p.record(command, within, f.Type) })
	}
	fields := strings.Join(names, " ")
	first := p.shown[fields]
	last := path[strings.LastIndex(path, ".")+1:]
	switch {
	case path == "":
		p.b.WriteString("\n")
	case strings.HasSuffix(first, "`"+last+"` of "+command),
		strings.HasSuffix(first, "."+last+"` of "+command):
		return
	case first != "":
		said, _, _ := strings.Cut(p.meaning(command, path), " Fields: ")
		p.b.WriteString(wrapped("\nRecord `"+path+"`: ", said+" Fields: those of "+first+".", ""))
	default:
		p.b.WriteString(wrapped("\nRecord `"+path+"`: ", p.meaning(command, path), "") + "\n")
	}
	if first == "" {
		if len(names) > 1 {
			p.shown[fields] = "`" + path + "` of " + command
		}
		for _, name := range names {
			p.b.WriteString(wrapped("- `"+name+"`: ", p.meaning(command, path, name), "  "))
		}
	}
	for _, write := range inner {
		write()
	}
}

// wrapped returns a paragraph of at most 100 columns.
func wrapped(begin, text, indent string) string {
	var b strings.Builder
	b.WriteString(begin)
	column := utf8.RuneCountInString(begin)
	for i, word := range strings.Fields(text) {
		width := utf8.RuneCountInString(word)
		switch {
		case i == 0:
		case column+1+width > 100:
			b.WriteString("\n" + indent)
			column = len(indent)
		default:
			b.WriteString(" ")
			column++
		}
		b.WriteString(word)
		column += width
	}
	return b.String() + "\n"
}

// docs/results.md lists every field. KERF_UPDATE_RESULTS=1 writes the lists anew.
func TestResultsPageListsEveryField(t *testing.T) {
	path := filepath.Join("..", "..", "docs", "results.md")
	page, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	front, rest, found := strings.Cut(string(page), "\n## Fields\n")
	if !found {
		t.Fatal("docs/results.md has no part with fields")
	}
	intro, _, _ := strings.Cut(rest, "\n## ")
	p := newResultsPage(t, rest)
	p.b.WriteString(front + "\n## Fields\n" + strings.TrimRight(intro, "\n") + "\n")
	for _, r := range everyResult {
		fmt.Fprintf(&p.b, "\n## %s\n", r.command)
		p.record(r.command, "", reflect.TypeOf(r.value))
	}
	samePage(t, path, p.b.String(), "KERF_UPDATE_RESULTS")
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
		if slices.Contains([]string{"targets", "help", "completion", "words"}, cmd.Name()) {
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
