package main

import (
	"cmp"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"kerf/testdata/slow"
)

// Every sentence about a candidate follows from the figures beside it. This file shares nothing
// with what writes the sentences: it reads signoff.json into records of its own, knows the
// sentences as regular expressions, and computes anew what each of them says. A sentence that it
// does not know is an error, and so is a candidate that might be cheaper and was not tried.
func TestSentencesFollowFromFigures(t *testing.T) {
	city := func(pairs ...string) func(dir string) error {
		return func(dir string) error {
			data := os.DirFS(filepath.Join("..", "..", "testdata", "cityweather"))
			if err := os.CopyFS(dir, data); err != nil {
				return err
			}
			job := filepath.Join(dir, "job.toml")
			text, err := os.ReadFile(job)
			if err != nil {
				return err
			}
			changed := strings.NewReplacer(pairs...).Replace(string(text))
			if err := os.WriteFile(job, []byte(changed), 0o644); err != nil {
				return err
			}
			return joinSeasons(dir)
		}
	}
	search := func(rule string) string { return "[search]\n" + rule + "\n\n[outputs]" }
	const int4 = "[formats]\nweights = \"int4\"\nstate = \"int16\"\n\n[outputs]"
	const rise, absolute = `temp_max_next = { rmse_rise = "5 %" }`, `temp_max_next = { rmse = 2.0 }`
	for name, job := range map[string]struct {
		write    func(dir string) error
		mayLeave bool     // cheaper candidates may be left that were not rounded
		says     []string // in its sentences
	}{
		"demo": {writeDemo, false,
			[]string{"It costs ", "It is the cut of the choice"}},
		"open data": {city(), false,
			[]string{"than the uncut network in the same words", "It costs "}},
		"slow job": {func(dir string) error { return slow.Write(dir, 0) }, false,
			[]string{"Rounding breaks a tolerance", "It is forced by trained unit"}},
		"open data, 10 %": {city(`"5 %"`, `"10 %"`), false,
			[]string{"than the uncut network in the same words", "It costs "}},
		"open data, int4": {city("[outputs]", int4), false,
			[]string{"than the uncut network in the same words"}},
		"open data, int4 at 10 %": {city("[outputs]", int4, `"5 %"`, `"10 %"`), false,
			[]string{"although less is left"}},
		"open data, int4 at 0.2 %": {city("[outputs]", int4, `"5 %"`, `"0.2 %"`), false,
			[]string{"are to blame", "no network that was"}},
		"open data, no time": {city("[outputs]", search(`time = "1 ms"`)), true,
			[]string{"the search ended after"}},
		"open data, nearly full": {city(`"5 %"`, `"10 %"`, "12 KiB", "2.6 KiB"), false,
			[]string{"% of the limit of cortex-m0plus/flash"}},
		"open data, too large": {city(`"5 %"`, `"10 %"`, "12 KiB", "2 KiB"), false,
			[]string{"% beyond limits, the choice"}},
		"open data, least RAM": {city(`"5 %"`, `"10 %"`, "[outputs]",
			search(`objective = "ram"`)), false,
			[]string{"It costs the same, but ", "It is forced by output"}},
		"open data, least flash": {
			city(`"5 %"`, `"10 %"`, "12 KiB", "2.6 KiB", "[outputs]",
				search(`objective = "flash"`)), false,
			[]string{"It breaks more limits than the choice"}},
		"open data, broken as given": {city(rise, absolute), false,
			[]string{"no word is to blame", "where the network as given reaches"}},
	} {
		t.Run(name, func(t *testing.T) {
			dir := filepath.Join(t.TempDir(), "job")
			if err := os.Mkdir(dir, 0o755); err != nil {
				t.Fatal(err)
			}
			if err := job.write(dir); err != nil {
				t.Fatal(err)
			}
			code, _, stderr := call("plan", filepath.Join(dir, "job.toml"))
			if code > exitBroken {
				t.Fatalf("exit code %d: %s", code, stderr)
			}
			text, err := os.ReadFile(filepath.Join(dir, "handoff", "signoff.json"))
			if err != nil {
				t.Fatal(err)
			}
			s := &told{t: t, mayLeave: job.mayLeave}
			if err := json.Unmarshal(text, s); err != nil {
				t.Fatal(err)
			}
			s.check()
			for _, want := range job.says {
				if !strings.Contains(s.all, want) {
					t.Errorf("no sentence says %q: the case shows less than it should", want)
				}
			}
		})
	}
}

// joinSeasons makes one scenario of the two of each city in the open data, which have two and four
// sequences: with six the intervals leave something to search.
func joinSeasons(dir string) error {
	for _, name := range []string{"selection.csv", "signoff.csv", "scores.csv"} {
		path := filepath.Join(dir, name)
		text, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		joined := string(text)
		if name == "scores.csv" { // one score for each city: that of its warm season
			joined = regexp.MustCompile(`(?m)^.*_cold,.*\n`).ReplaceAllString(joined, "")
		}
		joined = strings.NewReplacer("_cold,", ",", "_warm,", ",").Replace(joined)
		if err := os.WriteFile(path, []byte(joined), 0o644); err != nil {
			return err
		}
	}
	return nil
}

// told is what this check reads of signoff.json.
type told struct {
	Frontier struct {
		Objective  string           `json:"objective"`
		Uncut      []map[string]any `json:"uncut"`
		NotRounded int              `json:"not_rounded"`
		Candidates []toldCandidate  `json:"candidates"`
	} `json:"frontier"`
	Cost []struct {
		Target, Resource, Part string
		Limit                  *float64
		AtLeast                bool `json:"at_least"`
	} `json:"cost"`
	Path []struct {
		Taken     bool
		MayReach  float64 `json:"may_reach"`
		Tolerance float64
	} `json:"path"`
	Forced   []toldForced `json:"forced"`
	Widening []struct {
		What        string
		Bits, Saved int
		Blamed      float64 `json:"blamed_may_reach"`
	} `json:"widening"`
	Blame *struct {
		Tightest string
		What     string
		Bits     int
	} `json:"blame"`
	Warnings []string `json:"warnings"`

	t        *testing.T
	mayLeave bool
	choice   *toldCandidate
	all      string // every sentence
}

type toldCandidate struct {
	ID            int
	From          *int
	Change        string
	Removed       []string
	Formats       string
	Measured      string
	Ways          int
	Tightest      string
	MayReach      *float64 `json:"may_reach"`
	ToleranceUsed *float64 `json:"tolerance_used"`
	ObjectiveUsed float64  `json:"objective_used"`
	Bytes         float64
	Losses        []toldLoss
	Cost          []map[string]any
	AboveUncut    []struct {
		Target, Resource string
		Share            float64
	} `json:"above_uncut"`
	Chosen  bool
	Verdict string
	Reason  string
	Why     string
}

type toldLoss struct {
	Output, Scenario, Region, Metric string
	Rise, Value                      *float64
	Sequences                        int
	MayReach                         *float64 `json:"may_reach"`
	FloatMayReach                    *float64 `json:"float_may_reach"`
	Tolerance                        float64
	On                               string `json:"tolerance_on"`
}

type toldForced struct {
	What      string
	Bits      int
	Refused   int     `json:"refused_bits"`
	MayReach  float64 `json:"may_reach"`
	Tolerance float64
	On        string `json:"tolerance_on"`
	All       int
	RestUsed  float64  `json:"rest_used"`
	OneLess   *float64 `json:"one_less"`
	Units     []struct {
		Name    string
		Share   float64
		Memory  float64 `json:"memory_steps"`
		Stalled int     `json:"stalled_steps"`
		Steps   int
	}
}

// name is the row as sentences, tables and explain have it; the jobs here have plain names.
func (l *toldLoss) name() string {
	return l.Output + "/" + cmp.Or(l.Region, l.Scenario) + "/" + l.Metric
}

// slack is how much worse than the network as given a row may get that this does not keep
// (docs/search.md).
const slack = 1.01

// used is the share of what the row may reach.
func (l *toldLoss) used() float64 {
	if l.MayReach == nil || l.FloatMayReach == nil {
		return math.NaN()
	}
	return *l.MayReach / max(l.Tolerance, slack**l.FloatMayReach)
}

// given tells whether the network as given breaks the tolerance.
func (l *toldLoss) given() bool { return l.FloatMayReach != nil && *l.FloatMayReach > l.Tolerance }

// shows tells whether printed figures are what the row may reach and its tolerance, and whether
// they stand to each other as these do.
func (l *toldLoss) shows(reach, tolerance string) bool {
	if l.MayReach == nil {
		return false
	}
	broken := *l.MayReach > l.Tolerance
	return l.near(reach, *l.MayReach) && l.near(tolerance, l.Tolerance) &&
		broken == (number(reach) > number(tolerance))
}

// near tells whether a printed figure is a value of the row: a rise is in percent.
func (l *toldLoss) near(text string, v float64) bool {
	if l.On == "rise" {
		return strings.HasSuffix(text, " %") && near(text, 100*v, 3)
	}
	return !strings.HasSuffix(text, " %") && near(text, v, 3)
}

// worst is the tightest row.
func (c *toldCandidate) worst() *toldLoss {
	worst, most := &toldLoss{}, math.Inf(-1)
	for i := range c.Losses {
		if u := c.Losses[i].used(); c.Losses[i].Sequences > 0 && u > most {
			worst, most = &c.Losses[i], u
		}
	}
	return worst
}

func (c *toldCandidate) fixed() bool  { return c.Measured == "fixed" }
func (c *toldCandidate) within() bool { return c.ToleranceUsed != nil && *c.ToleranceUsed <= 1 }
func (c *toldCandidate) words() string {
	return strings.TrimSuffix(c.Formats, ", before rounding")
}

// value of a resource on a target.
func (c *toldCandidate) value(target, resource string) (float64, bool) {
	for _, row := range c.Cost {
		if row["target"] == target {
			v, ok := row[strings.ReplaceAll(resource, " ", "_")].(float64)
			return v, ok
		}
	}
	return 0, false
}

// broken lists the limits that a candidate breaks, by its cost and the limits of the sign-off.
func (s *told) broken(c *toldCandidate) []string {
	var all []string
	for _, row := range s.Cost {
		v, ok := c.value(row.Target, row.Resource)
		if !ok || row.Part != "total" || row.Limit == nil {
			continue
		}
		if v > *row.Limit && !row.AtLeast || v < *row.Limit && row.AtLeast {
			all = append(all, row.Target+"/"+row.Resource)
		}
	}
	return all
}

// room is the share of a limit up to which all room is alike (docs/search.md).
const room = 0.8

// isNamed tells whether the job names what is minimised.
func (s *told) isNamed() bool { return !strings.HasPrefix(s.Frontier.Objective, "the ") }

// largest is the largest share of any limit, and which limit that is; of a named objective, which
// has limits in these jobs, the largest of its own.
func (s *told) largest(c *toldCandidate) (most float64, of string) {
	objective, _, _ := strings.Cut(s.Frontier.Objective, ",")
	for _, row := range s.Cost {
		v, ok := c.value(row.Target, row.Resource)
		if !ok || row.Part != "total" || row.Limit == nil ||
			s.isNamed() && strings.ToLower(objective) != row.Resource {
			continue
		}
		if !s.isNamed() && row.Resource == "flash" {
			v, _ = c.value(row.Target, "least_flash") // in the form that takes least
		}
		if share := v / *row.Limit; share > most {
			most, of = share, row.Target+"/"+row.Resource
		}
	}
	return most, of
}

// minimised is the figure that the search minimises: of a named objective the largest share, else
// the root of so high a degree of the product of all shares of the uncut network.
func (s *told) minimised(c *toldCandidate) float64 {
	if s.isNamed() {
		most, _ := s.largest(c)
		return most
	}
	product, n := 1.0, 0
	for i, uncut := range s.Frontier.Uncut {
		for _, resource := range []string{"flash", "ram", "cycles", "energy"} {
			whole, known := uncut[resource].(float64)
			if v, _ := c.Cost[i][resource].(float64); known {
				product *= v / whole
				n++
			}
		}
	}
	return math.Pow(product, 1/float64(n))
}

// beyond is how far the broken limits are broken, as shares of them, added up.
func (s *told) beyond(c *toldCandidate) float64 {
	sum := 0.0
	for _, row := range s.Cost {
		v, ok := c.value(row.Target, row.Resource)
		if !ok || row.Part != "total" || row.Limit == nil {
			continue
		}
		if row.AtLeast {
			sum += max(0, *row.Limit/v-1)
		} else {
			sum += max(0, v / *row.Limit - 1)
		}
	}
	return sum
}

// compare orders candidates by what they cost: broken limits and how far they are broken, the
// share of a limit where there is little room, what is above the uncut network, then what is
// minimised, then bytes.
func (s *told) compare(a, b *toldCandidate) int {
	crowded := func(c *toldCandidate) float64 {
		if s.isNamed() {
			return 0
		}
		most, _ := s.largest(c)
		return max(most, room)
	}
	for _, d := range []float64{
		float64(len(s.broken(a)) - len(s.broken(b))), s.beyond(a) - s.beyond(b),
		crowded(a) - crowded(b), float64(len(a.AboveUncut) - len(b.AboveUncut)),
		a.ObjectiveUsed - b.ObjectiveUsed, a.Bytes - b.Bytes,
	} {
		if d != 0 {
			return int(math.Copysign(1, d))
		}
	}
	return 0
}

// number reads a figure of a sentence.
func number(text string) float64 {
	v, err := strconv.ParseFloat(strings.TrimSuffix(text, " %"), 64)
	if err != nil {
		return math.NaN()
	}
	return v
}

var notDigits = regexp.MustCompile(`e.*|[-.% ]`)

// near tells whether a figure, printed with so many digits at least, stands for a value.
func near(text string, v float64, digits int) bool {
	digits = max(digits, len(strings.Trim(notDigits.ReplaceAllString(text, ""), "0")))
	first := math.Floor(math.Log10(math.Abs(v)))
	return math.Abs(number(text)-v) <= 0.5001*math.Pow(10, first-float64(digits)+1)
}

// known compiles a sentence: ROW is the name of a row, FIGURE a number with or without %, INT a
// whole number.
func known(parts ...string) *regexp.Regexp {
	words := strings.NewReplacer(
		"ROW", `(\w+/.+?/\w+)`,
		"FIGURE", `(-?[0-9.e+-]+(?: %)?)`, "INT", `(\d+)`)
	return regexp.MustCompile("^" + words.Replace(strings.Join(parts, "")) + "$")
}

// form is a sentence of a candidate, its reason, and what it says; an empty answer is agreement.
type form struct {
	pattern *regexp.Regexp
	reason  string
	wrong   func(s *told, c *toldCandidate, m []string) string
}

var forms = []form{
	{known(`It breaks a tolerance: ROW may reach FIGURE, tolerance FIGURE`,
		`(?:, where the network as given reaches FIGURE)?\.`), "breaks_tolerance",
		(*told).breaksRow},
	{known(`It breaks more limits than the choice \((.+)\)\.`), "breaks_more_limits",
		(*told).breaksMore},
	{known(`It goes FIGURE beyond limits, the choice FIGURE\.`), "breaks_limits_further",
		(*told).breaksFurther},
	{known(`Rounding breaks a tolerance, see number INT, the nearest of INT ways\.`),
		"rounding_breaks_tolerance", (*told).roundingBreaks},
	{known(`In fixed point it costs (?:FIGURE more|the same(?:, but INT B more)?), `,
		`see number INT\.`),
		"rounded_costs_", (*told).roundedCosts},
	{known(`It takes FIGURE of the limit of (\S+), the choice FIGURE of any\.`),
		"takes_more_of_a_limit", (*told).takesMore},
	{known(`In fixed point it takes FIGURE of the limit of (\S+), the choice FIGURE of any, `,
		`see number INT\.`), "rounded_takes_more_of_a_limit",
		func(s *told, c *toldCandidate, m []string) string {
			r, wrong := s.rounded(c, m[4])
			if wrong == "" {
				wrong = s.takesMore(r, m)
			}
			return wrong
		}},
	{known(`It takes FIGURE more (\S+) than the uncut network in the same words\.`),
		"above_uncut", (*told).aboveUncut},
	{known(`In fixed point it takes FIGURE more (\S+) than the uncut network in the same words, `,
		`see number INT\.`), "rounded_above_uncut",
		func(s *told, c *toldCandidate, m []string) string {
			r, wrong := s.rounded(c, m[3])
			if wrong == "" {
				wrong = s.aboveUncut(r, m)
			}
			return wrong
		}},
	{known(`It was not rounded: (?:the time that the job gives was over`,
		`|after \d+ roundings with one number of units no more are tried)\.`), "not_rounded",
		(*told).notRounded},
	{known(`It is the cut of the choice before rounding, see number INT\.`), "cut_of_choice",
		(*told).cutOfChoice},
	{known(`It costs FIGURE more(?: although less is left: (.+/.+) grows by FIGURE)?\.`),
		"costs_more", (*told).costsMore},
	{known(`It costs the same, but INT B more\.`), "costs_same",
		func(s *told, c *toldCandidate, m []string) string { return s.costs(c, "", m[1]) }},
	{known(`It costs the same, and only what costs less is rounded\.`), "costs_same",
		func(s *told, c *toldCandidate, _ []string) string {
			if c.fixed() {
				return "it is rounded"
			}
			return s.costs(c, "", "")
		}},
	{known(`It costs the same and was found later\.`), "found_later",
		func(s *told, c *toldCandidate, _ []string) string {
			if !c.fixed() || c.ID < s.choice.ID {
				return "it was found before"
			}
			return s.costs(c, "", "")
		}},
}

func (s *told) breaksRow(c *toldCandidate, m []string) string {
	l := c.worst()
	switch {
	case c.within():
		return "it is within every tolerance"
	case m[1] != l.name() || !l.shows(m[2], m[3]):
		return fmt.Sprintf("the tightest row is %s, %v of %g",
			l.name(), l.MayReach, l.Tolerance)
	case number(m[2]) <= number(m[3]):
		return "as printed it breaks nothing"
	case l.given() != (m[4] != "") || l.given() && !l.near(m[4], *l.FloatMayReach):
		return fmt.Sprintf("the network as given may reach %g", *l.FloatMayReach)
	}
	return ""
}

func (s *told) breaksMore(c *toldCandidate, m []string) string {
	own, choice := s.broken(c), s.broken(s.choice)
	if !c.within() || len(own) <= len(choice) || m[1] != strings.Join(own, ", ") {
		return fmt.Sprintf("it breaks %q, the choice %q", own, choice)
	}
	return ""
}

func (s *told) breaksFurther(c *toldCandidate, m []string) string {
	own, choice := s.beyond(c), s.beyond(s.choice)
	if !c.within() || len(s.broken(c)) != len(s.broken(s.choice)) || own <= choice ||
		!near(m[1], 100*own, 3) || !near(m[2], 100*choice, 3) || number(m[1]) <= number(m[2]) {
		return fmt.Sprintf("it is %g beyond limits, the choice %g", own, choice)
	}
	return ""
}

// rounded is the candidate that a sentence names, which must be another one in fixed point.
func (s *told) rounded(c *toldCandidate, id string) (r *toldCandidate, wrong string) {
	n, _ := strconv.Atoi(id)
	if n >= len(s.Frontier.Candidates) {
		return nil, "there is no such number"
	}
	r = &s.Frontier.Candidates[n]
	switch {
	case !c.within():
		wrong = "it breaks a tolerance before rounding"
	case !r.fixed() || c.fixed() || r.From == nil || *r.From != c.ID || r.words() != c.words():
		wrong = "that number is another network"
	case s.compare(c, s.choice) > 0:
		wrong = "it costs more than the choice before rounding, too"
	}
	return r, wrong
}

func (s *told) roundingBreaks(c *toldCandidate, m []string) string {
	r, wrong := s.rounded(c, m[1])
	if wrong == "" && (r.within() || strconv.Itoa(r.Ways) != m[2]) {
		wrong = fmt.Sprintf("that is within every tolerance (%v), in %d ways", r.within(), r.Ways)
	}
	return wrong
}

func (s *told) roundedCosts(c *toldCandidate, m []string) string {
	r, wrong := s.rounded(c, m[3])
	if wrong == "" && !r.within() {
		wrong = "that breaks a tolerance"
	}
	if wrong == "" {
		wrong = s.costs(r, m[1], m[2])
	}
	return wrong
}

func (s *told) notRounded(c *toldCandidate, _ []string) string {
	if !s.mayLeave || c.fixed() || !c.within() || s.compare(c, s.choice) >= 0 {
		return "it had to be rounded, or need not be"
	}
	return ""
}

func (s *told) cutOfChoice(c *toldCandidate, m []string) string {
	same := slices.Equal(c.Removed, s.choice.Removed)
	if m[1] != strconv.Itoa(s.choice.ID) || c.fixed() || !c.within() || !same {
		return fmt.Sprintf("the choice is number %d without %q", s.choice.ID, s.choice.Removed)
	}
	return ""
}

func (s *told) takesMore(c *toldCandidate, m []string) string {
	share, of := s.largest(c)
	other, _ := s.largest(s.choice)
	switch {
	case !c.within() || len(s.broken(c)) != len(s.broken(s.choice)):
		return "it is a matter of tolerances or broken limits"
	case share <= room || share <= other || m[2] != of || !near(m[1], 100*share, 3) ||
		!near(m[3], 100*other, 3) || number(m[1]) <= number(m[3]):
		return fmt.Sprintf("it takes %g of %s, the choice %g", share, of, other)
	}
	return ""
}

// aboveUncut checks what is said of the uncut network. Where that was measured with the same words
// and shifts, its figures are among the candidates: the first one, before rounding.
func (s *told) aboveUncut(c *toldCandidate, m []string) string {
	most := struct {
		of    string
		share float64
	}{}
	for _, g := range c.AboveUncut {
		if g.Share > most.share {
			most.of, most.share = g.Target+"/"+g.Resource, g.Share
		}
		whole := &s.Frontier.Candidates[0]
		before, _ := whole.value(g.Target, g.Resource)
		after, _ := c.value(g.Target, g.Resource)
		if len(whole.Removed) == 0 && !c.fixed() && whole.words() == c.words() &&
			math.Abs(after/before-1-g.Share) > 1e-12 {
			return fmt.Sprintf("of %s it takes %g, the uncut network %g", g.Resource, after, before)
		}
	}
	a, _ := s.largest(c)
	b, _ := s.largest(s.choice)
	switch {
	case !c.within() || len(s.broken(c)) != len(s.broken(s.choice)) || max(a, room) > max(b, room):
		return "it is a matter of tolerances or limits"
	case len(c.AboveUncut) <= len(s.choice.AboveUncut) || m[2] != most.of ||
		!near(m[1], 100*most.share, 2):
		return fmt.Sprintf("it takes most more, %g, of %s", most.share, most.of)
	}
	return ""
}

func (s *told) costsMore(c *toldCandidate, m []string) string {
	target, resource, _ := strings.Cut(m[2], "/")
	before, _ := s.choice.value(target, resource)
	after, _ := c.value(target, resource)
	switch {
	case s.less(c) != (m[2] != ""):
		return fmt.Sprintf("it has the words of the choice, and less: %v", s.less(c))
	case m[2] != "" && !(after > before && near(m[3], 100*(after/before-1), 2)):
		return fmt.Sprintf("its %s is %g instead of %g", m[2], after, before)
	}
	for i, row := range c.Cost {
		for key, v := range row {
			one, isFigure := v.(float64)
			other, _ := s.choice.Cost[i][key].(float64)
			if m[2] != "" && !s.isNamed() && isFigure && one/other > after/before+1e-12 &&
				slices.Contains([]string{"flash", "ram", "cycles", "energy"}, key) {
				return fmt.Sprintf("%s of %s grows more", key, row["target"])
			}
		}
	}
	return s.costs(c, m[1], "")
}

// less tells whether a candidate is the choice, in its words, with less.
func (s *told) less(c *toldCandidate) bool {
	for _, name := range s.choice.Removed {
		if !slices.Contains(c.Removed, name) {
			return false
		}
	}
	return c.words() == s.choice.words() && len(c.Removed) > len(s.choice.Removed)
}

// costs checks what a sentence says of a candidate's cost beside that of the choice: a share more
// in percent, or bytes more, or the same.
func (s *told) costs(c *toldCandidate, share, bytes string) string {
	own, choice := c.ObjectiveUsed, s.choice.ObjectiveUsed
	more := c.Bytes - s.choice.Bytes
	limits, most := [2]float64{}, [2]float64{}
	for i, c := range []*toldCandidate{c, s.choice} {
		most[i], _ = s.largest(c)
		limits[i] = float64(len(s.broken(c))) + s.beyond(c)
	}
	switch {
	case !c.within():
		return "it breaks a tolerance"
	case limits[0] != limits[1],
		!s.isNamed() && max(most[0], room) != max(most[1], room):
		return "it is a matter of limits"
	case len(c.AboveUncut) != len(s.choice.AboveUncut):
		return "it is a matter of the uncut network"
	case share != "" && !(own > choice && near(share, 100*(own/choice-1), 2)):
		return fmt.Sprintf("it costs %g, the choice %g", own, choice)
	case share == "" && own != choice:
		return fmt.Sprintf("it costs %g, the choice %g", own, choice)
	case bytes != "" && !(more > 0 && near(bytes, more, 9)), share+bytes == "" && more != 0:
		return fmt.Sprintf("it takes %g B, the choice %g", c.Bytes, s.choice.Bytes)
	}
	return ""
}

// check goes through all candidates and notes.
func (s *told) check() {
	for i := range s.Frontier.Candidates {
		if c := &s.Frontier.Candidates[i]; c.Chosen {
			s.choice = c
		}
	}
	if s.choice == nil {
		s.t.Fatal("nothing is chosen")
	}
	left := 0
	for i := range s.Frontier.Candidates {
		c := &s.Frontier.Candidates[i]
		wrong := func(format string, args ...any) {
			s.t.Helper()
			what := fmt.Sprintf(format, args...)
			s.t.Errorf("number %d (%s) says %q: %s", c.ID, c.Change, c.Why, what)
		}
		s.figures(c, wrong)
		s.sentence(c, wrong)
		if s.untried(c) {
			left++
			if !s.mayLeave || c.fixed() {
				wrong("it costs %.5f, the choice %.5f, uses %.3f of a tolerance, and was not tried",
					c.ObjectiveUsed, s.choice.ObjectiveUsed, *c.ToleranceUsed)
			}
		}
	}
	if left != s.Frontier.NotRounded {
		s.t.Errorf("%d candidates are left, not_rounded is %d", left, s.Frontier.NotRounded)
	}
	for _, p := range s.Path {
		if !p.Taken && p.MayReach <= p.Tolerance {
			s.t.Errorf("the path has what was kept without need: %+v", p)
		}
	}
	s.notes(left)
}

// untried tells whether a candidate is within every tolerance, cheaper than the choice, and not
// known in fixed point; or known, and not chosen all the same.
func (s *told) untried(c *toldCandidate) bool {
	rounded := slices.ContainsFunc(s.Frontier.Candidates, func(r toldCandidate) bool {
		return r.fixed() && r.From != nil && *r.From == c.ID && r.words() == c.words()
	})
	return c.within() && s.compare(c, s.choice) < 0 && (c.fixed() || !rounded)
}

// figures checks what sentences are made of.
func (s *told) figures(c *toldCandidate, wrong func(string, ...any)) {
	worst := c.worst()
	u := worst.used()
	same := c.ToleranceUsed != nil && math.Abs(u-*c.ToleranceUsed) <= 1e-12*math.Abs(u)
	if !same || worst.name() != c.Tightest {
		wrong("its losses use %g (%s), it says %v (%s)",
			u, worst.name(), c.ToleranceUsed, c.Tightest)
	}
	for _, l := range c.Losses {
		value := l.Value
		if l.On == "rise" {
			value = l.Rise
		}
		if l.Sequences > 0 && (value == nil || l.MayReach == nil || *l.MayReach < *value) {
			wrong("%s is %v and may reach %v", l.name(), value, l.MayReach)
		}
	}
	if share := s.minimised(c); math.Abs(share-c.ObjectiveUsed) > 1e-12 {
		wrong("its figures give %g as what is minimised, it says %g", share, c.ObjectiveUsed)
	}
	verdict := "fits"
	switch {
	case !c.within():
		verdict = "breaks a tolerance"
	case len(s.broken(c)) > 0:
		verdict = "breaks a limit"
	case !c.fixed():
		verdict = "fits before rounding"
	}
	if c.Verdict != verdict {
		wrong("its verdict is %q, its figures give %q", c.Verdict, verdict)
	}
	var broken []string
	for _, row := range c.Cost {
		names, _ := row["broken"].([]any)
		for _, name := range names {
			broken = append(broken, fmt.Sprintf("%s/%s", row["target"], name))
		}
	}
	if !slices.Equal(broken, s.broken(c)) {
		wrong("it breaks %q, its figures %q", broken, s.broken(c))
	}
}

// sentence checks the one form that the sentence of a candidate has.
func (s *told) sentence(c *toldCandidate, wrong func(string, ...any)) {
	s.all += c.Why + "\n"
	if c.Chosen {
		if c.Why != "" || c.Reason != "" || !c.fixed() {
			wrong("it is the choice")
		}
		return
	}
	count := 0
	for _, f := range forms {
		m := f.pattern.FindStringSubmatch(c.Why)
		if m == nil {
			continue
		}
		count++
		if no := f.wrong(s, c, m); no != "" {
			wrong("%s", no)
		}
		if !strings.HasPrefix(c.Reason, f.reason) {
			wrong("its reason is %q", c.Reason)
		}
	}
	if count != 1 {
		wrong("it has %d known forms, want one", count)
	}
}

// note is a sentence about candidates or words among the notes.
type note struct {
	pattern *regexp.Regexp
	wrong   func(s *told, m []string) string
}

// aboutChoice finds the notes that must have a known form.
var aboutChoice = regexp.MustCompile(`to blame|forced by|more room|leaves a reserve|not rounded` +
	`|as given itself|no wider|the float network itself`)

var notes = []note{
	{known(`intINT (.+): with intINT, ROW may reach FIGURE, tolerance FIGURE\. It is forced by `,
		`(?:trained unit|output)s? (.+?)(?: and INT more)?`,
		`(?:: with int\d+ for INT of (these )?INT(?: units| outputs)? alone, `,
		`FIGURE of a tolerance may be used(?:, with INT of them FIGURE)?)?`), (*told).forcedBy},
	{known(`the (.+) are to blame( in part)?: with intINT for them, which costs INT bytes more, `,
		`ROW may reach FIGURE instead of FIGURE on the selection recordings, tolerance FIGURE`),
		func(s *told, m []string) string {
			return s.blamed(blamed{m[1], m[3], m[4], m[5], m[6], m[8], m[7]}, true, m[2] == "")
		}},
	{known(`a wider word leaves more room: with intINT for the (.+), which costs INT bytes more, `,
		`ROW may reach FIGURE instead of FIGURE on the selection recordings, tolerance FIGURE`),
		func(s *told, m []string) string {
			return s.blamed(blamed{m[2], m[1], m[3], m[4], m[5], m[7], m[6]}, false, true)
		}},
	{known(`no word is to blame: on the selection recordings the network as given itself may `,
		`reach FIGURE in ROW, tolerance FIGURE, and the choice FIGURE`),
		func(s *told, m []string) string {
			l := s.rowOf(m[2])
			if wrong := s.asGiven(l, m[1], m[3]); wrong != "" {
				return wrong
			}
			if !l.near(m[4], *l.MayReach) || s.Blame.Tightest != l.name() || s.Blame.What != "" {
				return fmt.Sprintf("the row is %+v, the blame %+v", l, s.Blame)
			}
			return ""
		}},
	{known(`the network as given itself may reach FIGURE on the selection recordings, `,
		`tolerance FIGURE \(ROW\): such a row may get 1 % worse, no more`),
		func(s *told, m []string) string { return s.asGiven(s.rowOf(m[3]), m[1], m[2]) }},
	{known(`the words are not to blame: no wider one lessens what ROW may reach on the selection `,
		`recordings \(FIGURE, tolerance FIGURE\)`),
		func(s *told, m []string) string {
			l := s.rowOf(m[1])
			if !l.shows(m[2], m[3]) || l.given() || s.Blame.Tightest != l.name() {
				return fmt.Sprintf("the row is %+v, the blame %+v", l, s.Blame)
			}
			for _, w := range s.Widening {
				if w.Blamed < *l.MayReach {
					return "a wider word lessens it: " + w.What
				}
			}
			return ""
		}},
	{known(`no network that was brought to fixed point, of INT, leaves a reserve for every `,
		`tolerance on the selection recordings; the one with the least cut and the widest words `,
		`goes to sign-off: ROW may reach FIGURE, tolerance FIGURE`,
		`(?:, where the network as given reaches FIGURE)?`), (*told).noneIsWithin},
	{known(`candidates that are cheaper than the choice and within every tolerance before `,
		`rounding, but were not rounded: INT \((?:the time that the job gives was over`,
		`|after \d+ roundings with one number of units no more are tried)\)`),
		func(s *told, m []string) string {
			if m[1] != strconv.Itoa(s.Frontier.NotRounded) {
				return fmt.Sprintf("%d were not", s.Frontier.NotRounded)
			}
			return ""
		}},
}

// notes checks the sentences among the notes, and that none is missing.
func (s *told) notes(left int) {
	forced, blames, uncounted := 0, 0, left
	for _, w := range s.Warnings {
		s.all += w + "\n"
		if !aboutChoice.MatchString(w) {
			continue
		}
		count := 0
		for _, n := range notes {
			if m := n.pattern.FindStringSubmatch(w); m != nil {
				count++
				if no := n.wrong(s, m); no != "" {
					s.t.Errorf("the note %q: %s", w, no)
				}
			}
		}
		if count != 1 {
			s.t.Errorf("the note %q has %d known forms, want one", w, count)
		}
		switch {
		case strings.Contains(w, "forced by"):
			forced++
		case strings.Contains(w, "to blame") || strings.Contains(w, "more room"):
			blames++
		case strings.Contains(w, "not rounded"):
			uncounted = 0
		}
	}
	if forced != len(s.Forced) || uncounted > 0 {
		s.t.Errorf("%d words are forced, notes say %d; %d candidates are left without a note",
			len(s.Forced), forced, uncounted)
	}
	if blames > 1 || (blames == 1) != (s.Blame != nil) {
		s.t.Errorf("%d notes blame words, for %+v", blames, s.Blame)
	}
}

// rowOf is the row of the choice that a sentence names.
func (s *told) rowOf(words string) *toldLoss {
	for i := range s.choice.Losses {
		if l := &s.choice.Losses[i]; l.name() == words {
			return l
		}
	}
	return &toldLoss{}
}

// asGiven checks what is said of the network as given, which breaks a tolerance.
func (s *told) asGiven(l *toldLoss, reach, tolerance string) string {
	given := l.given() && l.near(reach, *l.FloatMayReach) && l.near(tolerance, l.Tolerance)
	if !given || number(reach) <= number(tolerance) {
		return fmt.Sprintf("the row is %+v", l)
	}
	return ""
}

func (s *told) noneIsWithin(m []string) string {
	rounded := 0
	for _, c := range s.Frontier.Candidates {
		if c.fixed() && c.Change == "brought to fixed point" {
			rounded++
		}
		if c.fixed() && c.within() {
			return fmt.Sprintf("number %d does", c.ID)
		}
	}
	l := s.choice.worst()
	if strconv.Itoa(rounded) != m[1] || l.name() != m[2] || !l.shows(m[3], m[4]) {
		return fmt.Sprintf("%d were rounded, the tightest row is %+v", rounded, l)
	}
	return ""
}

// blamed are the parts of a sentence about a wider word.
type blamed struct{ what, bits, bytes, row, with, tolerance, now string }

// blamed checks what a sentence says of a wider word: which one, what it costs, and what the
// broken row may reach with it and without, as printed.
func (s *told) blamed(b blamed, broken, heals bool) string {
	l := s.rowOf(b.row)
	if s.Blame == nil || s.Blame.Tightest != l.name() || s.Blame.What != b.what || l.given() {
		return fmt.Sprintf("the row is %+v, the blame %+v", l, s.Blame)
	}
	least := math.Inf(1)
	for _, w := range s.Widening {
		least = min(least, w.Blamed)
		if w.What != b.what {
			continue
		}
		bits, bytes := strconv.Itoa(w.Bits), strconv.Itoa(-w.Saved)
		if bits != b.bits || bytes != b.bytes || heals != (w.Blamed <= l.Tolerance) {
			return fmt.Sprintf("that word gives %+v", w)
		}
	}
	shown := l.near(b.with, least) && l.shows(b.now, b.tolerance)
	if !shown || number(b.with) >= number(b.now) || broken != (*l.MayReach > l.Tolerance) {
		return fmt.Sprintf("now it may reach %g of %g, with the best wider word %g",
			*l.MayReach, l.Tolerance, least)
	}
	return ""
}

var unitInWords = regexp.MustCompile(`([^ ,]+) \(([^)]*)\)`)

// forcedBy checks the sentence about a word that stays wide, part by part.
func (s *told) forcedBy(m []string) string {
	at := slices.IndexFunc(s.Forced, func(f toldForced) bool {
		return f.What == m[2] && strconv.Itoa(f.Bits) == m[1] && strconv.Itoa(f.Refused) == m[3]
	})
	if at < 0 {
		return "no such word is forced"
	}
	f := s.Forced[at]
	// the choice in other words; that one may have been made in another order
	trial := slices.IndexFunc(s.Frontier.Candidates, func(c toldCandidate) bool {
		return slices.Equal(c.Removed, s.choice.Removed) && c.Formats != s.choice.Formats &&
			c.fixed() && !c.within() && *c.MayReach == f.MayReach
	})
	if trial < 0 {
		return "no candidate has that word and breaks a tolerance by it"
	}
	if l := s.Frontier.Candidates[trial].worst(); l.name() != m[4] || !l.shows(m[5], m[6]) {
		return fmt.Sprintf("it may reach %g of %g in %s", f.MayReach, f.Tolerance, l.name())
	}
	named := unitInWords.FindAllStringSubmatch(m[7], -1)
	more, _ := strconv.Atoi(m[8])
	if len(named)+more != len(f.Units) {
		return fmt.Sprintf("%d need it", len(f.Units))
	}
	for i, name := range named {
		u := f.Units[i]
		details := fmt.Sprintf("%.0f %%", 100*u.Share)
		if i == 0 {
			details += " of the error"
		}
		if u.Memory > 0 {
			details += fmt.Sprintf(", memory %.0f steps", u.Memory)
		}
		if u.Stalled > 0 {
			details += fmt.Sprintf(", stands still on %d of %d steps", u.Stalled, u.Steps)
		}
		if name[1] != u.Name || name[2] != details {
			return fmt.Sprintf("number %d is %+v", i, u)
		}
	}
	return f.fewest(m[9], m[10], m[11], m[12], m[13], m[14])
}

// fewest checks what is said of the units that alone keep the wide word, and of one less.
func (f *toldForced) fewest(alone, these, of, used, less, lessUsed string) string {
	n := len(f.Units)
	breaks := func(text string) bool {
		one := f.OneLess
		return one != nil && *one > 1 && near(text, 100**one, 3) && number(text) > 100
	}
	ok := false
	switch {
	case n == 1 && f.All == 1:
		ok = alone == ""
	case n == f.All:
		ok = alone == strconv.Itoa(n-1) && these != "" && of == strconv.Itoa(n) && breaks(used)
	default:
		ok = alone == strconv.Itoa(n) && these == "" && of == strconv.Itoa(f.All) &&
			f.RestUsed <= 1 && near(used, 100*f.RestUsed, 3) && number(used) <= 100 &&
			(n == 1) == (less == "") && (n == 1 || less == strconv.Itoa(n-1) && breaks(lessUsed))
	}
	if !ok {
		return fmt.Sprintf("of %d %d need it: %g is used, with one less %v",
			f.All, n, f.RestUsed, f.OneLess)
	}
	return ""
}
