package page

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"runtime/debug"
	"slices"
	"strings"
	"testing"

	"kerf/exporter/emit"
	"kerf/exporter/report"
)

// pageInput returns a signoff.json of the demo with a search added by hand
// (testdata/signoff/README.md).
func pageInput(t testing.TB) []byte {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("testdata", "signoff", "leakair.json"))
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// pageSignoff returns the sign-off of pageInput.
func pageSignoff(t testing.TB) *report.Signoff {
	t.Helper()
	s := &report.Signoff{}
	if err := json.Unmarshal(pageInput(t), s); err != nil {
		t.Fatal(err)
	}
	return s
}

// makePage returns the page of a signoff.json.
func makePage(t *testing.T, signoff []byte) string {
	t.Helper()
	page, err := render(signoff)
	if err != nil {
		t.Fatal(err)
	}
	return string(page)
}

// Every picture has a title, a text alternative and no coordinate that is no number.
func TestPageHasEveryPicture(t *testing.T) {
	page := makePage(t, pageInput(t))
	for _, title := range []string{
		"rmse of leakage, L/min, by scenario and region",
		"rmse of air, % by volume, by scenario and region",
		"Worst sequence of warm_up", "Worst sequence of steady_splitting",
		"Worst sequence of fast_cycling", "Worst sequence of aerated_oil",
		"Where the flash goes", "Where the RAM goes", "Where the cycles of a step go",
		"Candidates on cortex-m4f", "Candidates on cortex-m0plus", "Candidates on rv32imc",
		"What every feature contributes", "The path of the cut",
		"Loss and cost against the number of units",
		"What every hidden unit does, over leakage and air", "Error over leakage and air",
	} {
		if !strings.Contains(page, "<b>"+title) {
			t.Errorf("no picture %q", title)
		}
	}
	pictures := regexp.MustCompile(`<svg viewBox="0 0 [0-9.]+ [0-9.]+" role="(img|group)" `+
		`aria-label="[^"]{30,}"`).FindAllString(page, -1)
	if figures := strings.Count(page, "<figure>"); len(pictures) != figures {
		t.Errorf("%d pictures with a text alternative, %d figures", len(pictures), figures)
	}
	drawn, _, _ := strings.Cut(page, `<script type="application/json"`)
	if strings.Contains(drawn, "NaN") || strings.Contains(drawn, "Inf") ||
		strings.Contains(drawn, "ZgotmplZ") {
		t.Error("the page holds NaN, Inf or text that the template refused")
	}
	if again := makePage(t, pageInput(t)); again != page {
		t.Error("two pages of the same sign-off differ")
	}
}

// What the job or kerf does not have yet leaves no empty picture.
func TestPageHidesWhatIsAbsent(t *testing.T) {
	page := makePage(t, []byte(`{"schema": 1, "name": "bare", "verdict": "fits"}`))
	for _, word := range []string{"<figure>", "What else was possible", "<select"} {
		if strings.Contains(page, word) {
			t.Errorf("the page of a sign-off without pictures holds %q", word)
		}
	}
	if !strings.Contains(page, `<h2 id="signatures">`) {
		t.Error("no signatures")
	}
}

// The page asks for nothing from outside.
func TestPageStandsAlone(t *testing.T) {
	page := makePage(t, pageInput(t))
	outside := regexp.MustCompile(`(?i)(https?:|//[a-z]|src=|@import|<link|<iframe|<object|` +
		`fetch\(|XMLHttp)[^"]{0,40}`)
	if found := outside.FindAllString(page, -1); len(found) > 0 {
		t.Errorf("the page refers to %q", found)
	}
	for _, u := range regexp.MustCompile(`url\([^)]*\)`).FindAllString(page, -1) {
		if !strings.HasPrefix(u, "url(#fill") {
			t.Errorf("the page refers to %s", u)
		}
	}
}

// The data in the page are signoff.json, number for number.
func TestPageHoldsSignoff(t *testing.T) {
	signoff := pageInput(t)
	var want, got any
	if err := json.Unmarshal(signoff, &want); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal([]byte(pageData(t, makePage(t, signoff))), &got); err != nil {
		t.Fatal(err)
	}
	a, _ := json.Marshal(want)
	b, _ := json.Marshal(got)
	if !bytes.Equal(a, b) {
		t.Error("the page holds other data than signoff.json")
	}
}

// pageData returns the JSON that stands in a page.
func pageData(t *testing.T, page string) string {
	t.Helper()
	_, rest, found := strings.Cut(page, `<script type="application/json" id="signoff">`)
	if !found {
		t.Fatal("the page holds no data")
	}
	data, _, _ := strings.Cut(rest, "</script>")
	return data
}

// The page has signoff.json without the sums, which it does not show.
func TestPageHasNoSums(t *testing.T) {
	s := pageSignoff(t)
	without, err := HTML(s)
	if err != nil {
		t.Fatal(err)
	}
	s.Sums = &report.SumsInfo{Scenarios: []string{"calm"}, Sequences: []string{"0"},
		ScenarioOf: []int{0}, Steps: []int{100}}
	with, err := HTML(s)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(with, without) {
		t.Error("the pages with sums and without differ")
	}
	if s.Sums == nil {
		t.Error("the sign-off has lost its sums")
	}
	var held report.Signoff
	if err := json.Unmarshal([]byte(pageData(t, string(with))), &held); err != nil ||
		held.Sums != nil {
		t.Errorf("the page holds %+v, %v", held.Sums, err)
	}
}

// What the search for the worst found is on the page; where features were dropped, also of rounding
// alone.
func TestExtremesAreOnThePage(t *testing.T) {
	s := pageSignoff(t)
	s.Dropped.Features = []string{"f"}
	worst := 1.5
	s.Extremes = []report.ExtremeRow{{Output: "o0", Unit: "bar", Kind: "measured",
		Mean: &worst, Seen: &worst, Found: &worst, FoundAny: &worst, GivenMean: &worst,
		GivenSeen: &worst, GivenFound: &worst, GivenAny: &worst, GivenDropped: &worst}}
	page, err := HTML(s)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"Difference from the network as given, at its worst",
		"o0, rounding alone"} {
		if !strings.Contains(string(page), want) {
			t.Errorf("the page lacks %q", want)
		}
	}
}

// FuzzPage makes the page of a signoff.json that others may have changed.
func FuzzPage(f *testing.F) {
	f.Add(pageInput(f))
	f.Add([]byte(`{"schema":1,"name":"a","frontier":{"near":[0,7],"candidates":` +
		`[{"id":0,"cost":[{"target":"x"}]}]}}`))
	s := pageSignoff(f)
	track := report.Track{Scenario: "calm", Sequence: "0", Steps: 2, Every: 1, At: []int{0, 1},
		Outputs: []report.TrackOutput{{Output: "o0", Reference: []float64{1, 2},
			Float: []float64{1, 2}, Fixed: []float64{1}}}}
	s.Tracks = []report.Track{track, {At: []int{0}}, {Outputs: track.Outputs}}
	short, err := s.JSON()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(short)
	f.Fuzz(func(t *testing.T, text []byte) {
		s := &report.Signoff{}
		if json.Unmarshal(text, s) != nil {
			return
		}
		if _, err := HTML(s); err != nil {
			t.Fatal(err)
		}
	})
}

// TestPageOfShortLists makes the page of sign-offs of which one list lacks its last entry, or all
// of them: HTML reads files that others may have changed. Of lists with one path in the JSON the
// first is shortened.
func TestPageOfShortLists(t *testing.T) {
	var root any
	if err := json.Unmarshal(pageInput(t), &root); err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	var walk func(path string, at any, set func(any))
	walk = func(path string, at any, set func(any)) {
		switch v := at.(type) {
		case map[string]any:
			for _, name := range slices.Sorted(maps.Keys(v)) {
				walk(path+"."+name, v[name], func(other any) { v[name] = other })
			}
		case []any:
			if len(v) == 0 || seen[path] {
				return
			}
			seen[path] = true
			for _, length := range []int{len(v) - 1, 0} {
				set(v[:length])
				pageMayFail(t, fmt.Sprintf("%s with %d entries", path, length), root)
			}
			set(v)
			for i := range v {
				walk(path+"[]", v[i], func(other any) { v[i] = other })
			}
		}
	}
	walk("", root, nil)
	if len(seen) < 30 {
		t.Errorf("%d lists, want at least 30", len(seen))
	}
}

// pageMayFail makes the page of a sign-off; an error is fine, a panic is not.
func pageMayFail(t *testing.T, what string, root any) {
	t.Helper()
	defer func() {
		if p := recover(); p != nil {
			t.Errorf("%s: %v\n%s", what, p, debug.Stack())
		}
	}()
	text, err := json.Marshal(root)
	if err != nil {
		t.Fatal(err)
	}
	s := &report.Signoff{}
	if json.Unmarshal(text, s) == nil {
		_, _ = HTML(s)
	}
}

// A network that was trained with another size stands beside the cut ones, in the picture and in
// the table.
func TestTrainedNetworksAreShown(t *testing.T) {
	s := pageSignoff(t)
	shape := "mark diamond"
	if picture := string(lossByUnitsPicture(sizePoints(s))); strings.Contains(picture, shape) {
		t.Error("a trained network in the picture of a job without one")
	}
	used := 0.9
	c := s.Frontier.Candidates[0]
	s.Frontier.Trained = []report.TrainedRow{{File: "smaller.safetensors", Units: c.Units[0],
		Features: 19, ToleranceUsed: &used, Cost: c.Cost}}
	picture := string(lossByUnitsPicture(sizePoints(s)))
	if n := strings.Count(picture, shape); n != 2 { // one explains the mark
		t.Errorf("%d marks of trained networks, want 2", n)
	}
	if !strings.Contains(picture, "smaller.safetensors: 90 % of the tolerance") {
		t.Error("the mark does not say what it is")
	}
	rows := 0
	for _, r := range lossByUnitsTable(s).Rows {
		if r[2] == "smaller.safetensors" && r[3] == "90 %" {
			rows++
		}
	}
	if rows != 1 {
		t.Errorf("%d rows of the trained network, want 1", rows)
	}
}

// What features at fault do stands folded on the page, with the caution; a file of an older kerf
// has no such part.
func TestFaultsAreFolded(t *testing.T) {
	s := pageSignoff(t)
	page := makePage(t, pageInput(t))
	if strings.Contains(page, `id="faults"`) || s.Faults != nil {
		t.Error("faults of a file that has none")
	}
	factor, none := 2.5, 1.0
	s.Faults = &report.FaultsInfo{Sequences: 1, Recorded: 1, Steps: 10, Rows: []report.FaultRow{
		{Feature: "supply_level", Fault: "stuck", Output: "leakage", Metric: "rmse", Unit: "L/min",
			Without: 0.25, With: 0.625, Factor: &factor},
		{Feature: "oil_temperature", Fault: "stuck", Output: "leakage", Metric: "rmse",
			Unit: "L/min", Without: 0.25, With: 0.25, Factor: &none}}}
	text, err := s.JSON()
	if err != nil {
		t.Fatal(err)
	}
	_, after, found := strings.Cut(makePage(t, text), `<details id="faults">`)
	part, _, closed := strings.Cut(after, "</details>")
	if !found || !closed {
		t.Fatal("no folded part of faults")
	}
	for _, want := range []string{"Features at fault from half of each sequence on",
		"1 sequence of the sign-off recordings", report.Caution, "supply_level",
		"oil_temperature", "0.2500 L/min", "x 2.50", "x 1.00"} {
		if !strings.Contains(part, want) {
			t.Errorf("%q is not in %s", want, part)
		}
	}
}

// The compilers stand below the table of judged costs and in the captions of flash and cycles.
func TestCompilersStandBesideTheCost(t *testing.T) {
	s := pageSignoff(t)
	s.Build = []emit.BuildTarget{{Name: "cortex-m4f", Compiler: "GCC 12.2.1", Optimise: "-Os"}}
	text, err := s.JSON()
	if err != nil {
		t.Fatal(err)
	}
	_, cost, _ := strings.Cut(makePage(t, text), `<h2 id="cost">`)
	cost, _, _ = strings.Cut(cost, "<details")
	const line = "Compiler: GCC 12.2.1 -Os on cortex-m4f."
	if n := strings.Count(cost, line); s.CompilerLine() != line || n != 3 {
		t.Errorf("the compilers stand %d times among the cost, want 3: %s", n, s.CompilerLine())
	}
}
