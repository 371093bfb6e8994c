package page

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"kerf/exporter/report"
)

// pageInput is a signoff.json of the demo with a search added by hand
// (testdata/signoff/README.md).
func pageInput(t *testing.T) []byte {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("testdata", "signoff", "leakair.json"))
	if err != nil {
		t.Fatal(err)
	}
	return text
}

func makePage(t *testing.T, signoff []byte) string {
	t.Helper()
	page, err := FromJSON(signoff)
	if err != nil {
		t.Fatal(err)
	}
	return string(page)
}

// Every picture has a title, a text alternative and no coordinate that is no number.
func TestPageHasEveryPicture(t *testing.T) {
	page := makePage(t, pageInput(t))
	for _, title := range []string{
		"Error of leakage by scenario and region", "Error of air by scenario and region",
		"Worst sequence of warm_up", "Worst sequence of steady_splitting",
		"Worst sequence of fast_cycling", "Worst sequence of aerated_oil",
		"Where the flash goes", "Where the RAM goes", "Where the cycles of a step go",
		"Candidates on cortex-m4f", "Candidates on cortex-m0plus", "Candidates on rv32imc",
		"What every feature contributes", "The path of the cut", "Loss against the number of units",
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
	if strings.Count(page, "Signatures") < 2 {
		t.Error("no signatures")
	}
}

// The page asks for nothing from outside.
func TestPageStandsAlone(t *testing.T) {
	page := makePage(t, pageInput(t))
	if found := regexp.MustCompile(
		`(?i)(https?:|//[a-z]|src=|@import|<link|<iframe|<object|fetch\(|XMLHttp)[^"]{0,40}`).FindAllString(page, -1); len(found) > 0 {
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

func pageData(t *testing.T, page string) string {
	t.Helper()
	_, rest, found := strings.Cut(page, `<script type="application/json" id="signoff">`)
	if !found {
		t.Fatal("the page holds no data")
	}
	data, _, _ := strings.Cut(rest, "</script>")
	return data
}

// hostileNames try to leave the place they stand in.
var hostileNames = []string{
	`</script><script>document.title="taken"</script>`,
	`"><img src=x onerror=document.title='taken'>`, `'*/ ]]> <!-- </style>`,
	"right\u202eto left", "\u2067isolated", "end\u2029 of a line\u2028", "{{.Name}}",
	"</text></svg><b>", "\x00\u0007",
}

// hostileSignoff puts every name wherever a name of the user's stands.
func hostileSignoff(t *testing.T) []byte {
	t.Helper()
	text := string(pageInput(t))
	for i, old := range []string{"leakage", "warm_up", "cortex-m4f", "case_drain_level",
		"off-fast_cycling-04", "air masks leakage", "unit 9 out", "L/min", "case_drain"} {
		name, err := json.Marshal(hostileNames[i])
		if err != nil {
			t.Fatal(err)
		}
		text = strings.ReplaceAll(text, `"`+old+`"`, string(name))
	}
	return []byte(text)
}

func TestHostileNamesStayText(t *testing.T) {
	page := makePage(t, hostileSignoff(t))
	if n := strings.Count(page, "<script"); n != 2 {
		t.Errorf("%d script elements, want 2", n)
	}
	if n := strings.Count(page, "</script>"); n != 2 {
		t.Errorf("%d ends of script elements, want 2", n)
	}
	if strings.Contains(page, "<img") {
		t.Error("a name has become an element")
	}
	if strings.ContainsAny(page, "\u202e\u2067\u2028\u2029\x07\x00") {
		t.Error("a hidden character is not made visible")
	}
	if !strings.Contains(page, "right&lt;U+202E&gt;to left") {
		t.Error("the mark is not shown")
	}
	var s report.Signoff
	if err := json.Unmarshal([]byte(pageData(t, page)), &s); err != nil {
		t.Fatal(err)
	}
	if s.Loss[0].Output != hostileNames[0] {
		t.Errorf("the data name the output %q, want %q", s.Loss[0].Output, hostileNames[0])
	}
}

// Contrast as defined by WCAG 2.1 (relative luminance and contrast ratio): 4.5 for
// text, 3 for what has to be seen in pictures, light and dark.
func TestContrast(t *testing.T) {
	themes := regexp.MustCompile(`(?s):root \{(.*?)\}`).FindAllStringSubmatch(htmlStyle, -1)
	if len(themes) < 2 {
		t.Fatalf("%d themes", len(themes))
	}
	for i, theme := range themes[:2] {
		colours := map[string]string{}
		for _, m := range regexp.MustCompile(`--([a-z0-9]+): (#[0-9a-f]{6})`).FindAllStringSubmatch(
			theme[1], -1) {
			colours[m[1]] = m[2]
		}
		for name, least := range map[string]float64{"ink": 4.5, "quiet": 4.5, "c0": 4.5, "c1": 3,
			"c2": 3, "c3": 3, "c4": 3, "c5": 3, "limit": 3, "trace": 3} {
			if colours[name] == "" {
				t.Fatalf("theme %d has no colour %s", i, name)
			}
			if got := contrast(t, colours[name], colours["page"]); got < least {
				t.Errorf("theme %d: %s has contrast %.2f, want %.1f", i, name, got, least)
			}
		}
		// The deepest cell of the scenario matrix, under text.
		if got := contrast(t, colours["ink"],
			mixed(t, colours["c0"], colours["page"], deepest)); got < 4.5 {
			t.Errorf("theme %d: text on the deepest cell has contrast %.2f, want 4.5", i, got)
		}
	}
	// Black on white is 21:1 by the definition.
	if got := contrast(t, "#000000", "#ffffff"); math.Abs(got-21) > 1e-9 {
		t.Errorf("black on white has contrast %g", got)
	}
}

func contrast(t *testing.T, a, b string) float64 {
	x, y := luminance(t, a), luminance(t, b)
	return (max(x, y) + 0.05) / (min(x, y) + 0.05)
}

func channels(t *testing.T, colour string) [3]float64 {
	t.Helper()
	var c [3]float64
	for i := range c {
		v, err := strconv.ParseUint(colour[1+2*i:3+2*i], 16, 8)
		if err != nil {
			t.Fatal(err)
		}
		c[i] = float64(v) / 255
	}
	return c
}

func luminance(t *testing.T, colour string) float64 {
	c := channels(t, colour)
	for i, v := range c {
		if v <= 0.03928 {
			c[i] = v / 12.92
		} else {
			c[i] = math.Pow((v+0.055)/1.055, 2.4)
		}
	}
	return 0.2126*c[0] + 0.7152*c[1] + 0.0722*c[2]
}

func mixed(t *testing.T, top, below string, share float64) string {
	a, b := channels(t, top), channels(t, below)
	text := "#"
	for i := range a {
		text += fmt.Sprintf("%02x", int(math.Round(255*(share*a[i]+(1-share)*b[i]))))
	}
	return text
}

func TestTicks(t *testing.T) {
	for _, c := range []struct {
		s     scale
		about int
		want  string
	}{
		{scale{0, 1, 0, 100}, 5, "[0 0.2 0.4 0.6 0.8 1]"},
		{scale{-3.2, 5.1, 0, 100}, 6, "[-2 0 2 4]"},
		{scale{6900, 12800, 0, 100}, 4, "[8000 10000 12000]"},
		{scale{2, 2, 0, 100}, 4, "[2]"},
	} {
		got := c.s.ticks(c.about)
		for i := range got {
			got[i] = math.Round(got[i]*1e9) / 1e9
		}
		if fmt.Sprint(got) != c.want {
			t.Errorf("ticks of %v: %v, want %s", c.s, got, c.want)
		}
	}
}

// The page has signoff.json without the sums, which it does not show.
func TestPageHasNoSums(t *testing.T) {
	s := &report.Signoff{}
	if err := json.Unmarshal(pageInput(t), s); err != nil {
		t.Fatal(err)
	}
	s.Sums = &report.SumsInfo{Scenarios: []string{"calm"}, Sequences: []string{"0"},
		ScenarioOf: []int{0},
		Steps:      []int{100}}
	text, err := s.JSON()
	if err != nil {
		t.Fatal(err)
	}
	var held report.Signoff
	err = json.Unmarshal([]byte(pageData(t, makePage(t, text))), &held)
	if err != nil || held.Sums != nil {
		t.Errorf("the page holds %+v, %v", held.Sums, err)
	}
	s.Sums = nil
	without, err := s.JSON()
	if err != nil || makePage(t, text) != makePage(t, without) {
		t.Errorf("the pages with sums and without differ; %v", err)
	}
}

// FuzzPage makes the page of a signoff.json that others may have changed.
func FuzzPage(f *testing.F) {
	text, err := os.ReadFile(filepath.Join("testdata", "signoff", "leakair.json"))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(text)
	f.Add([]byte(`{"schema":1,"name":"a","frontier":{"near":[0,7],"candidates":` +
		`[{"id":0,"cost":[{"target":"x"}]}]}}`))
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
