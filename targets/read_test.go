package targets

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"kerf/fault"
	"kerf/testdata/hardinput"
)

// ownProfile is a user's profile, built from a built-in one as the notes of the profiles advise.
func ownProfile(t testing.TB) string {
	t.Helper()
	data, err := builtin.ReadFile("profiles/cortex-m0plus.toml")
	if err != nil {
		t.Fatal(err)
	}
	return strings.NewReplacer(
		`name = "cortex-m0plus"`, `name = "own-core-32"`,
		`"official"`, `"own measurement"`,
		`mul = { cycles = 1,`, `mul = { cycles = 32,`,
		`mul_acc = { cycles = 2,`, `mul_acc = { cycles = 33,`,
	).Replace(string(data))
}

func TestReadFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "own.toml")
	if err := os.WriteFile(path, []byte(ownProfile(t)), 0o666); err != nil {
		t.Fatal(err)
	}
	got, err := ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	want := load(t, "cortex-m0plus")
	if got.Name != "own-core-32" || got.TimingKind != "own measurement" {
		t.Errorf("name %q, timing kind %q", got.Name, got.TimingKind)
	}
	// The short loop with the 32-cycle multiplier takes 41 cycles: Cortex-M0+ Technical Reference
	// Manual DDI 0484C, Table 3.1: ldrsh 2, ldrsh 2, adds 1, muls 32, adds 1, cmp 1, bne 2.
	if got := sum(got,
		count{"load": 1, "load_next": 1, "alu": 3, "mul": 1, "branch_taken": 1}); got != 41 {
		t.Errorf("loop takes %v cycles, want 41", got)
	}
	for _, class := range []string{"mul", "mul_acc"} {
		c := got.Costs[class]
		c.Cycles = want.Costs[class].Cycles
		got.Costs[class] = c
	}
	if !reflect.DeepEqual(got.Costs, want.Costs) {
		t.Errorf("costs differ beyond the multiplier:\n got %+v\nwant %+v", got.Costs, want.Costs)
	}
}

func TestReadFileErrors(t *testing.T) {
	for path, want := range map[string]string{
		"no/such.toml": "no/such.toml: cannot read the profile: no such file or directory",
		".":            ".: cannot read the profile: it is no regular file",
	} {
		_, err := ReadFile(path)
		var e *fault.Error
		if !errors.As(err, &e) || e.Error() != want || !strings.Contains(e.Hint, "avr8") {
			t.Errorf("error %v, want %s", err, want)
		}
	}
}

func TestParseErrors(t *testing.T) {
	own := ownProfile(t)
	// place returns "line:column" of a piece of the changed text.
	place := func(text, piece string) (int, int) {
		i := strings.Index(text, piece)
		if i < 0 || strings.Count(text, piece) != 1 {
			t.Fatalf("%q is not there exactly once", piece)
		}
		return strings.Count(text[:i], "\n") + 1, i - strings.LastIndex(text[:i], "\n")
	}
	for _, tt := range []struct {
		name, old, new string // one replacement
		at             string // the mistake starts here in the changed text
		msg, hint      string
	}{
		{"set", `isa = "armv6m"`, `isa = "armv6"`, `"armv6"`, `unknown isa "armv6"`,
			`did you mean "armv6m"?`},
		{"no set", `isa = "armv6m"`, ``, `# Cortex`, `isa is missing`,
			"write one of: armv6m, armv7m, armv7em, armv8m, rv32imc, avr"},
		{"name", `"own-core-32"`, `"Own core"`, `"Own core"`, `profile name "Own core" is not ` +
			`allowed`, `use lower-case letters, digits and hyphens, such as "cortex-m4f"`},
		{"title", `title = "Arm Cortex-M0+, single-cycle multiplier"`, `title = ""`, `""`,
			"title is missing", "write the name of the core for reports"},
		{"no flags", `compiler_flags = "-mcpu=cortex-m0plus -mthumb"`, ``, `# Cortex`,
			"compiler_flags is missing", "write the compiler options that select the core"},
		{"flags that name a program", `"-mcpu=cortex-m0plus -mthumb"`, `"-mcpu=cortex-m0plus ` +
			`-wrapper ./evil"`, `"-mcpu`, `compiler_flags "-mcpu=cortex-m0plus -wrapper ./evil" ` +
			`do more than select a core`, `write options that begin with -m only, such as ` +
			`"-mcpu=cortex-m4 -mthumb"`},
		{"flags that name a file", `"-mcpu=cortex-m0plus -mthumb"`, `"-mcpu=../../evil"`, `"-mcpu`,
			`compiler_flags "-mcpu=../../evil" do more than select a core`,
			`write options that begin with -m only, such as "-mcpu=cortex-m4 -mthumb"`},
		{"absurd cycles", `cycles = 32,`, `cycles = 1e300,`, `1e300,`, "1e+300 cycles of mul " +
			"are more than one instruction takes", "write the cycles that one instruction " +
			"takes, at most 100"},
		{"too many cycles", `cycles = 32,`, `cycles = 100.5,`, `100.5,`, "100.5 cycles of mul " +
			"are more than one instruction takes", "write the cycles that one instruction " +
			"takes, at most 100"},
		{"kind", `"own measurement"`, `"guess"`, `"guess"`, `unknown timing_kind "guess"`,
			"known here: official, measured by third parties, own measurement"},
		{"word", `word_bits = 32`, `word_bits = 16`, `16`, "armv6m has words of 32 bits, not 16",
			"write word_bits = 32"},
		{"dual", `dual_mac = false`, `dual_mac = true`, `true`,
			"armv6m has no dual 16-bit multiply-accumulate", "write dual_mac = false"},
		{"key", `dual_mac`, `dual_mca`, `dual_mca`, `unknown key "dual_mca"`,
			`did you mean "dual_mac"?`},
		{"cost key", `mul = { cycles = 32, source`, `mul = { cycles = 32, sauce`, `sauce`,
			`unknown key "sauce" in cost.mul`, `did you mean "source"?`},
		{"class", `shift = {`, `shfit = {`, `{ cycles = 1, source = "Arm Cortex-M0+ Technical ` +
			`Reference Manual DDI 0484C, section 3.3, Table 3.1", quality = "manual" }` +
			"\nmul = ",
			`unknown instruction class "shfit"`, `did you mean "shift"?`},
		{"class missing", "store =", "mul_long =", "cost]", "cost of store is missing",
			`add store = { cycles = ..., source = "...", quality = "..." }`},
		{"zero", `cycles = 32,`, `cycles = 0,`, `0, source`, "cycles of mul must be above zero " +
			"and finite, not 0", "write the cycles that one instruction takes"},
		{"no cycles", `cycles = 32, `, ``, `{ source`, "cycles of mul must be above zero and " +
			"finite, not 0", "write the cycles that one instruction takes"},
		{"negative", `cycles = 32,`, `cycles = -32,`, `-32,`, "cycles of mul must be above zero " +
			"and finite, not -32", "write the cycles that one instruction takes"},
		{"infinite", `cycles = 32,`, `cycles = inf,`, `inf,`, "cycles of mul must be above zero " +
			"and finite, not +Inf", "write the cycles that one instruction takes"},
		{"no number", `cycles = 32,`, `cycles = nan,`, `nan,`, "cycles of mul must be above " +
			"zero and finite, not NaN", "write the cycles that one instruction takes"},
		{"text", `cycles = 32,`, `cycles = "32",`, `"32",`, "cost.mul.cycles must be a number, " +
			"not a text", ""},
		{"no source", `"mul + alu"`, `" "`, `" "`, "cost of mul_acc has no source",
			"name the document and table, or the measurement"},
		{"quality", `quality = "derived"`, `quality = "mnual"`, `"mnual"`,
			`unknown quality "mnual"`, `did you mean "manual"?`},
		{"negative base", `push_pop_base = { cycles = 1`, `push_pop_base = { cycles = -1`, `-1,`,
			"cycles of push_pop_base must be zero or more and finite, not -1",
			"write the cycles that one instruction takes"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if strings.Count(own, tt.old) != 1 {
				t.Fatalf("%q is there %d times", tt.old, strings.Count(own, tt.old))
			}
			text := strings.Replace(own, tt.old, tt.new, 1)
			line, col := place(text, tt.at)
			_, err := Parse([]byte(text), "own.toml")
			want := &fault.Error{File: "own.toml", Line: line, Column: col, Msg: tt.msg,
				Hint: tt.hint}
			if !reflect.DeepEqual(err, error(want)) {
				t.Errorf("\n got %#v\nwant %#v", err, want)
			}
		})
	}
}

// A profile leaves out what its instruction set does not have, and nothing that it has.
func TestLongMultiplyIsRequiredWhereTheSetHasIt(t *testing.T) {
	lacks := map[string]bool{"armv6m": true, "avr": true}
	for _, isa := range isas {
		text := strings.Replace(ownProfile(t), `isa = "armv6m"`, fmt.Sprintf("isa = %q", isa.name),
			1)
		text = strings.Replace(text, "word_bits = 32", fmt.Sprint("word_bits = ", isa.wordBits), 1)
		_, err := Parse([]byte(text), "own.toml")
		if lacks[isa.name] {
			if err != nil {
				t.Errorf("%s: %v", isa.name, err)
			}
			continue
		}
		line := 1 + strings.Count(text[:strings.Index(text, "[cost]")], "\n")
		want := &fault.Error{File: "own.toml", Line: line, Column: 2,
			Msg: "cost of mul_long is missing", Hint: `add mul_long = { cycles = ..., source = ` +
				`"...", quality = "..." }`}
		if !reflect.DeepEqual(err, error(want)) {
			t.Errorf("%s:\n got %#v\nwant %#v", isa.name, err, want)
		}
	}
}

// tomlLimits is what a text may allocate: it is decoded twice, each key and table with its name and
// place.
var tomlLimits = hardinput.Limits{PerByte: 1500, Spare: 1 << 20}

func FuzzParse(f *testing.F) {
	f.Add([]byte(ownProfile(f)))
	f.Add([]byte("name = 'a'\n[cost]\nalu.cycles = 1"))
	f.Fuzz(func(t *testing.T, data []byte) {
		var p *Profile
		var err error
		tomlLimits.Check(t, len(data), "f", func() error {
			p, err = Parse(data, "f")
			return err
		})
		if err != nil {
			var e *fault.Error
			if !errors.As(err, &e) || e.Msg == "" {
				t.Fatalf("%q: error %#v", data, err)
			}
			return
		}
		if back, err := Parse(p.TOML(), "f"); err != nil || !reflect.DeepEqual(back, p) {
			t.Fatalf("%q: written %s, which reads as %+v, %v", data, p.TOML(), back, err)
		}
		for _, c := range classes {
			if !c.isOptional && !(p.Cycles(c.name) >= 0) {
				t.Fatalf("%q: %s takes %v", data, c.name, p.Cycles(c.name))
			}
		}
	})
}
