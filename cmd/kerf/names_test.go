package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"encoding/xml"
	"html"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"kerf/budget"
	"kerf/dataset"
	"kerf/exporter"
	"kerf/model"
)

// pick are the hostile names of those of the open data set.
func pick(names ...string) []string {
	var picked []string
	for _, n := range names {
		picked = append(picked, hostileNames[n])
	}
	return picked
}

var (
	hostileFeatures = pick("temp_max", "temp_min", "temp_range", "temp_max_lag1d",
		"temp_max_slope1d", "temp_mean7d", "precip", "precip_sum3d", "wind", "wind_lag1d",
		"season_sin", "season_cos")
	hostileOutputs   = pick("temp_max_next", "temp_min_next")
	hostileScenarios = pick("seattle_cold", "seattle_warm", "newyork_cold", "newyork_warm")
)

// checkEveryCommand sends names that look like lists, rows, markup or code through every command
// and every format. None does harm, and each arrives as it was: as one text of the JSON, as one
// cell of the CSV or an entry of a list in one, without a break in Markdown and on the terminal.
// handoff is that of kerf plan.
func checkEveryCommand(t *testing.T, job, handoff string) {
	t.Helper()
	t.Setenv("COLUMNS", "400") // no name is broken
	byHand := filepath.Join(filepath.Dir(job), "by hand")
	kept := []string{hostileNames["wind_lag1d"], hostileNames["temp_max"],
		hostileNames["temp_mean7d"], hostileNames["season_cos"], hostileNames["temp_range"]}
	cut := []string{"--keep-features", dataset.ListNames(kept), "--keep-units", "0,1,2,3,4,5"}
	judged := slices.Concat(hostileOutputs[:1], hostileScenarios, []string{hostileRegion})
	rows := slices.Concat(hostileOutputs, hostileScenarios, []string{hostileRegion, hostileTarget})
	shown := slices.Concat(judged, []string{hostileTarget})
	all, one := []string{textFormat, markdownFormat, csvFormat, jsonFormat}, []string{jsonFormat}
	for _, c := range []struct {
		args    []string
		formats []string
		names   []string // that every format shows
		more    []string // that JSON has beside them
	}{
		{slices.Concat([]string{"export", job, "--out", byHand}, cut), one, hostileFeatures, rows},
		{[]string{"show", handoff, "--all"}, all, shown, hostileFeatures},
		{[]string{"compare", byHand, handoff}, all, judged, []string{hostileTarget}},
		{[]string{"rank", job}, all, slices.Concat(hostileFeatures, hostileOutputs,
			hostileScenarios, pick("temperature", "level")), nil},
		{[]string{"observe", job}, all, append([]string{hostileRegion}, hostileOutputs...), nil},
		{[]string{"prune", job}, all, slices.Concat(judged, []string{hostileFrontEnd}), nil},
		{slices.Concat([]string{"prune", job}, cut), all, slices.Concat(judged, kept), nil},
		{[]string{"units", job, "--all"}, all, []string{hostileOutputs[0], hostileTarget}, nil},
		{slices.Concat([]string{"quantize", job}, cut), all, judged, nil},
		{slices.Concat([]string{"recover", job, "--epochs", "1"}, cut), all, hostileOutputs[:1],
			slices.Concat(hostileScenarios, []string{hostileRegion})},
		{[]string{"cost", job, "--keep-features", dataset.ListNames(hostileFeatures[:3])}, all,
			[]string{hostileTarget, hostileFrontEnd}, nil},
		{[]string{"cost", job, "--all-targets"}, one, []string{hostileTarget}, nil},
		{[]string{"explain", handoff}, all, nil, rows},
		{[]string{"verify", handoff, "--against", job}, one, nil, nil},
		{[]string{"verify", byHand, "--against", job}, one, nil, nil},
		{[]string{"targets", "list"}, all, []string{"cortex-m4f"}, nil},
		{[]string{"targets", "show", "cortex-m4f"}, all, []string{"cortex-m4f"}, nil},
	} {
		for _, format := range c.formats {
			args := append(slices.Clone(c.args), "--format", format)
			code, stdout, stderr := call(args...)
			if code > exitBroken || code == exitBroken && c.args[0] == "verify" {
				t.Errorf("%q: exit code %d: %s%s", args, code, stdout, stderr)
				continue
			}
			names := c.names
			if format == jsonFormat {
				names = slices.Concat(names, c.more)
			}
			has := readNames(t, c.args[0]+" --format "+format, format, stdout)
			for _, name := range names {
				if !has(name) {
					t.Errorf("kerf %s --format %s: %q did not arrive whole", c.args[0], format,
						name)
				}
			}
		}
	}
	explainEveryRow(t, handoff)
	showForMachines(t, handoff, byHand)
	cutByName(t, job, kept, byHand)
	draftAgain(t, filepath.Dir(job))
}

// readNames reads what a command printed and returns what tells whether a name is there as a whole.
func readNames(t *testing.T, what, format, text string) (has func(name string) bool) {
	t.Helper()
	found := map[string]bool{}
	switch format {
	case jsonFormat:
		checkJSON(t, what, text)
		var v any
		if err := json.Unmarshal([]byte(text), &v); err != nil {
			t.Error(err)
		}
		collectTexts(v, found)
		return func(name string) bool { return found[name] }
	case csvFormat:
		for _, row := range checkCells(t, what, text) {
			for _, cell := range row {
				found[strings.TrimPrefix(cell, "'")] = true
				list := csv.NewReader(strings.NewReader(cell))
				list.Comma = ';'
				entries, err := list.Read()
				if err != nil {
					continue // a single text, not a list
				}
				for _, entry := range entries {
					found[strings.TrimPrefix(entry, "'")] = true
				}
			}
		}
		return func(name string) bool { return found[name] }
	case markdownFormat:
		checkMarkdown(t, what, text)
		text = html.UnescapeString(markdownEscape.ReplaceAllString(text, "$1"))
	default: // what is wrapped in the last column, in one line again
		text = strings.Join(strings.Fields(text), " ")
	}
	return func(name string) bool { // by itself, in the name of a row, or in a list
		return strings.Contains(text, name) || strings.Contains(text, budget.RowText(name)) ||
			strings.Contains(text, dataset.ListNames([]string{name}))
	}
}

var markdownEscape = regexp.MustCompile("\\\\([\\\\|*_`\\[\\]~$#])")

func collectTexts(v any, found map[string]bool) {
	switch v := v.(type) {
	case string:
		found[v] = true
	case []any:
		for _, entry := range v {
			collectTexts(entry, found)
		}
	case map[string]any:
		for _, value := range v {
			collectTexts(value, found)
		}
	}
}

// explainEveryRow asks for every row under the name that the list gives it, and for every place of
// the accuracy.
func explainEveryRow(t *testing.T, handoff string) {
	t.Helper()
	var list rowList
	_, stdout, _ := call("explain", handoff, "--json")
	if err := json.Unmarshal([]byte(stdout), &list); err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	for _, row := range list.Rows {
		if seen[row.Row] {
			t.Errorf("two rows have the name %s", row.Row)
		}
		seen[row.Row] = true
		asked := map[string][]string{row.Row: row.Names}
		if len(row.Names) == 3 && slices.Contains(hostileOutputs, row.Names[0]) {
			asked[budget.RowText(row.Names[:2]...)] = row.Names[:2]
		}
		for name, names := range asked {
			code, stdout, stderr := call("explain", handoff, name, "--json")
			var found explained
			if code != exitDone || json.Unmarshal([]byte(stdout), &found) != nil ||
				len(found.Rows) == 0 {
				t.Errorf("explain %s: exit code %d: %s", name, code, stderr)
				continue
			}
			for _, r := range found.Rows {
				if !slices.Equal(r.Names[:len(names)], names) || len(names) == 3 &&
					len(found.Rows) > 1 {
					t.Errorf("explain %s finds %d rows, with %q", name, len(found.Rows), r.Names)
				}
			}
		}
	}
}

// showForMachines reads the formats that only kerf show has.
func showForMachines(t *testing.T, handoff, byHand string) {
	t.Helper()
	_, summary, _ := call("show", byHand, "--format", "summary", "--since", handoff)
	has := readNames(t, "summary", markdownFormat, summary)
	for _, name := range []string{hostileTarget, hostileOutputs[0]} {
		if !has(name) {
			t.Errorf("the summary lacks %q", name)
		}
	}
	_, report, _ := call("show", handoff, "--format", "junit")
	var suites struct {
		Suites []struct {
			Name string `xml:"name,attr"`
		} `xml:"testsuite"`
	}
	if err := xml.Unmarshal([]byte(report), &suites); err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, s := range suites.Suites {
		names = append(names, s.Name)
	}
	if want := []string{"verdict", "accuracy of " + hostileOutputs[0],
		"cost on " + hostileTarget}; !slices.Equal(names, want) {
		t.Errorf("suites %q, want %q", names, want)
	}
}

// cutByName takes features by name: on the command line, in the table, in the manifest and in the
// metadata of the network.
func cutByName(t *testing.T, job string, kept []string, byHand string) {
	t.Helper()
	var inOrder []string
	for _, name := range hostileFeatures {
		if slices.Contains(kept, name) {
			inOrder = append(inOrder, name)
		}
	}
	net := filepath.Join(filepath.Dir(job), "cut.safetensors")
	code, stdout, stderr := call("prune", job, "--keep-features", dataset.ListNames(kept[:2]),
		"--keep-features", dataset.ListNames(kept[2:]), "--keep-units", "0,1", "--out", net,
		"--json")
	var result pruneResult
	if err := json.Unmarshal([]byte(stdout), &result); err != nil {
		t.Fatalf("exit code %d: %v: %s", code, err, stderr)
	}
	if !slices.Equal(result.Features, inOrder) {
		t.Errorf("prune keeps %q, want %q", result.Features, inOrder)
	}
	file, err := os.ReadFile(net)
	if err != nil {
		t.Fatal(err)
	}
	var header struct {
		Metadata map[string]string `json:"__metadata__"`
	}
	const length = 8 // bytes that say how long the header is
	if err := json.NewDecoder(bytes.NewReader(file[length:])).Decode(&header); err != nil {
		t.Fatal(err)
	}
	var features []string
	var units [][]int
	if json.Unmarshal([]byte(header.Metadata["features"]), &features) != nil ||
		json.Unmarshal([]byte(header.Metadata["units"]), &units) != nil ||
		!slices.Equal(features, inOrder) || !slices.Equal(units[0], []int{0, 1}) {
		t.Errorf("metadata %q", header.Metadata)
	}
	if _, err := model.ImportFile(net, model.Spec{Convention: "torch"}); err != nil {
		t.Error(err)
	}
	var m exporter.Manifest
	text, err := os.ReadFile(filepath.Join(byHand, exporter.ManifestFile))
	if err != nil || json.Unmarshal(text, &m) != nil {
		t.Fatal(err)
	}
	for _, name := range kept {
		if !slices.Contains(m.ByHand, "feature="+name) {
			t.Errorf("the manifest lists %q, without %q", m.ByHand, name)
		}
	}

	_, table, _ := call("rank", job)
	rows := func(item string) int {
		n := 0
		for line := range strings.Lines(table) {
			if strings.HasPrefix(line, item+" ") {
				n++
			}
		}
		return n
	}
	if rows("return, slope") == 0 || rows("return")+rows("slope") > 0 {
		t.Errorf("return, slope is no row of its own:\n%s", table)
	}

	for _, c := range []struct{ list, want string }{
		{"return, slope", `unknown feature "return"`},
		{`"return, slope`, "in quotes as in CSV"},
		{`5" bore`, "in quotes as in CSV"},
	} {
		if code, _, stderr := call("prune", job, "--keep-features", c.list); code != exitInput ||
			!strings.Contains(stderr, c.want) || !strings.Contains(stderr, "hint:") {
			t.Errorf("--keep-features %s: exit code %d: %s", c.list, code, stderr)
		}
	}
}

// draftAgain lets kerf init find the names in the recording, and reads the job that it writes.
func draftAgain(t *testing.T, dir string) {
	t.Helper()
	draft := filepath.Join(dir, "draft")
	code, stdout, stderr := call("init", filepath.Join(dir, "model.npz"),
		filepath.Join(dir, "selection.csv"), "--signoff", filepath.Join(dir, "sign <b>off|=1.csv"),
		"--out", draft, "--json")
	var drafted initResult
	if err := json.Unmarshal([]byte(stdout), &drafted); err != nil {
		t.Fatalf("init: exit code %d: %v: %s", code, err, stderr)
	}
	if !slices.Equal(drafted.Features, hostileFeatures) ||
		!slices.Equal(drafted.Outputs, hostileOutputs) {
		t.Errorf("init finds %q and %q", drafted.Features, drafted.Outputs)
	}
	code, stdout, stderr = call("rank", filepath.Join(draft, "job.toml"), "--json")
	if code != exitDone {
		t.Fatalf("rank of the draft: exit code %d: %s", code, stderr)
	}
	has := readNames(t, "rank of the draft", jsonFormat, stdout)
	for _, name := range slices.Concat(hostileFeatures, hostileOutputs, hostileScenarios) {
		if !has(name) {
			t.Errorf("the draft lacks %q", name)
		}
	}
}
