package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"kerf/exporter/report"
)

// hostileNames stand in the place of names of the open data set. Every character of them is
// visible, so a job may have them; in C, Markdown, HTML, a spreadsheet or a terminal they would do
// harm if they came through as they are, in a list or a row of the sign-off they would look like
// several names.
var hostileNames = map[string]string{
	"temp_max":         "*/ int evil; /*",
	"temp_min":         "</script><script>alert(1)</script>",
	"temp_range":       `=HYPERLINK("http://a.example","x")`,
	"temp_max_lag1d":   "| --- | a`b | [c](d) ![e](f)",
	"temp_max_slope1d": "-2+3+cmd|' /C calc'!A0",
	"temp_mean7d":      `"quoted", 'single' \back\\`,
	"precip":           "while",
	"precip_sum3d":     "@SUM(1)$x$~~y~~",
	"wind":             "#define wind <b>&amp;</b> %s%n{{.Name}}${HOME}",
	"wind_lag1d":       "return, slope",
	"season_sin":       "??/ trigraph; a=b/c \\",
	"season_cos":       "'$(touch evil) `touch evil`",
	"temperature":      `temp, "erature"; =x|`,
	"level":            "unit 3",
	"temp_max_next":    "=1+1 int/\U0001F321\uFE0F, e\u0301",
	"temp_min_next":    "<img src=x onerror=alert(2)>|",
	"seattle_cold":     "+cold */",
	"seattle_warm":     "<i>warm</i>|x",
	"newyork_cold":     `int main(void), a;b" c\`,
	"newyork_warm":     "all/rmse",
}

const (
	hostileRegion   = "=cold, e\u0301|*/<u>"
	hostileTarget   = `=target, "m4"|<s>*/`
	hostileFrontEnd = `front, "end"; \ / 'x' =y`
)

// hostileJob is the open data set under hostile names.
func hostileJob(t *testing.T) string {
	t.Helper()
	job := cityJob(t, func(job string) string { return job })
	dir := filepath.Dir(job)
	if err := os.CopyFS(filepath.Join(dir, "city"),
		os.DirFS(filepath.Join("..", "..", "testdata", "cityweather"))); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"features.csv", "outputs.csv", "selection.csv", "signoff.csv"} {
		text, err := os.ReadFile(filepath.Join(dir, "city", name))
		if err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		var out bytes.Buffer
		w := csv.NewWriter(&out)
		for i, row := range rows {
			if name == "features.csv" {
				frontEnd := ""
				switch {
				case i == 0:
					frontEnd = "front_end"
				case strings.HasPrefix(row[0], "wind"):
					frontEnd = hostileFrontEnd
				}
				row = append(row, frontEnd)
				rows[i] = row
			}
			for c, cell := range row {
				if evil, ok := hostileNames[cell]; ok {
					row[c] = evil
				}
				if name != "selection.csv" && name != "signoff.csv" && i > 0 &&
					rows[0][c] == "unit" {
					row[c] = "=°C*/|</td>, \"x\"; y"
				}
			}
			w.Write(row) // errors are sticky and reported below
		}
		w.Flush()
		if w.Error() != nil {
			t.Fatal(w.Error())
		}
		if err := os.WriteFile(filepath.Join(dir, name), out.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	quoted := func(name string) string { // JSON's escapes are a part of TOML's
		text, err := json.Marshal(name)
		if err != nil {
			t.Fatal(err)
		}
		return string(text)
	}
	text := strings.NewReplacer("REGION", quoted(hostileRegion), "TARGET", quoted(hostileTarget),
		"FRONT_END", quoted(hostileFrontEnd), "OUTPUT", quoted(hostileNames["temp_max_next"])).
		Replace(`name = "while"
[model]
file = "model.npz"
convention = "torch"
[recordings]
selection = "selection.csv"
signoff = "sign <b>off|=1.csv"
[features]
file = "features.csv"
[outputs]
file = "outputs.csv"
[formats]
weights = "int8"
[[front_end]]
name = FRONT_END
flash = "1 KiB"
cycles = { "cortex-m4f" = 500 }
[[region]]
name = REGION
where.OUTPUT = { max = 5 }
[tolerance]
OUTPUT = { rmse_rise = "20 %" }
[[target]]
name = TARGET
profile = "cortex-m4f"
clock = "64 MHz"
flash = "24 KiB"
`)
	if err := os.Rename(filepath.Join(dir, "signoff.csv"),
		filepath.Join(dir, "sign <b>off|=1.csv")); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(job, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	return job
}

// Visible but hostile names are no danger in any output of any command: terminal, Markdown, CSV,
// JSON, HTML and C.
func TestHostileNamesInEveryOutput(t *testing.T) {
	job := hostileJob(t)
	dir := filepath.Join(filepath.Dir(job), "handoff")
	code, stdout, stderr := call("plan", job)
	if code != exitDone && code != exitBroken {
		t.Fatalf("exit code %d: %s", code, stderr)
	}
	if i := strings.IndexFunc(stdout, func(r rune) bool { return r < ' ' && r != '\n' }); i >= 0 {
		t.Errorf("the terminal gets %q", stdout[i:i+1])
	}
	files := map[string]string{}
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		text, err := os.ReadFile(filepath.Join(dir, e.Name()))
		if err != nil {
			t.Fatal(err)
		}
		files[e.Name()] = string(text)
	}

	checkCells(t, "signoff.csv", files["signoff.csv"])
	checkMarkdown(t, "signoff.md", files["signoff.md"])
	for _, markup := range []string{"<script>alert", "<img src", "<i>warm", "<u>", "<s>*", "<b>off",
		"</td>|"} {
		for _, name := range []string{"signoff.html", "signoff.md"} {
			if strings.Contains(files[name], markup) {
				t.Errorf("%s holds %s", name, markup)
			}
		}
	}
	var s report.Signoff
	if err := json.Unmarshal([]byte(files["signoff.json"]), &s); err != nil {
		t.Fatal(err)
	}
	if got := strings.Join(append(s.Kept.Features, s.Dropped.Features...),
		"\n"); !strings.Contains(got, hostileNames["temp_mean7d"]) ||
		!strings.Contains(got, hostileNames["season_sin"]) {
		t.Errorf("JSON changed the names: %s", got)
	}

	compile := exec.Command("gcc", "-std=c99", "-Wall", "-Wextra", "-Wpedantic", "-Werror",
		"-DWHILE_WITH_FLOAT", "while.c", "while_selftest.c", "-o", "../selftest")
	compile.Dir = dir
	if out, err := compile.CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	test := exec.Command("../selftest")
	test.Dir = dir
	if out, err := test.CombinedOutput(); err != nil {
		t.Errorf("self-test: %v: %s", err, out)
	}

	checkEveryCommand(t, job, dir)
	if _, err := os.Stat(filepath.Join(filepath.Dir(job), "evil")); err == nil {
		t.Error("a name was run as a command")
	}
}

// checkCells reads a CSV file: no cell is a formula, which begins with one of four characters and
// is neither a number nor a list of them.
func checkCells(t *testing.T, name, text string) [][]string {
	t.Helper()
	r := csv.NewReader(strings.NewReader(text))
	r.FieldsPerRecord = -1
	rows, err := r.ReadAll()
	if err != nil || len(rows) < 2 {
		t.Errorf("%s: %d rows, %v", name, len(rows), err)
	}
	for _, row := range rows {
		for _, cell := range row {
			if strings.IndexAny(cell, "=@") == 0 || strings.IndexAny(cell, "+-") == 0 &&
				strings.Trim(cell, "+-0123456789.e %;") != "" {
				t.Errorf("%s holds the formula %s", name, cell)
			}
		}
	}
	return rows
}

// checkMarkdown counts the cells of every table: no name may end a cell or a row.
func checkMarkdown(t *testing.T, name, text string) {
	cells := 0
	for line := range strings.Lines(text) {
		if !strings.HasPrefix(line, "|") {
			cells = 0
			continue
		}
		n := strings.Count(strings.ReplaceAll(strings.ReplaceAll(line, `\\`, ""), `\|`, ""), "|")
		if cells != 0 && n != cells {
			t.Errorf("%s: %d bars where %d stand above: %s", name, n, cells, line)
		}
		cells = n
	}
	for _, markup := range []string{"<script", "<img", "](d)", "~~y", "$x$"} {
		if strings.Contains(text, markup) && !strings.Contains(text, `\`+markup) {
			t.Errorf("%s holds %s", name, markup)
		}
	}
}

func checkJSON(t *testing.T, name, text string) {
	if !json.Valid([]byte(text)) || strings.Contains(text, "<script") {
		t.Errorf("%s is no JSON, or holds markup", name)
	}
}
