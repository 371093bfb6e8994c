package emit

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"kerf/dataset"

	"kerf/testdata/randomnet"
)

func TestCheckPrefix(t *testing.T) {
	for _, name := range []string{"leakair", "a", "net", "int", "leak_air2",
		"abcdefghijklmnopqrstuv"} {
		if err := CheckPrefix(name); err != nil {
			t.Errorf("%q is refused: %v", name, err)
		}
	}
	for name, part := range map[string]string{
		"": "not a lower-case C identifier", "Leak": "not a lower-case",
		"2leak": "not a lower-case", "leak-air": "not a lower-case",
		"leak air": "not a lower-case", "é": "not a lower-case", "_leak": "not a lower-case",
		"abcdefghijklmnopqrstuvw": "more than 22 characters", "math": "hides a standard header",
		"stdint": "hides a standard header",
		"string": "C or C++ reserves", "torque": "C or C++ reserves",
		"isolator": "C or C++ reserves", "leak__air": "C or C++ reserves",
		"leak_": "C or C++ reserves",
	} {
		if err := CheckPrefix(name); err == nil || !strings.Contains(err.Error(), part) {
			t.Errorf("%q: got %v, want an error with %q", name, err, part)
		}
	}
}

func TestCheckNamesFindsClashes(t *testing.T) {
	features := func(names ...string) (f []dataset.Feature) {
		for _, n := range names {
			f = append(f, dataset.Feature{Name: n})
		}
		return f
	}
	outputs := func(names ...string) (o []dataset.Output) {
		for _, n := range names {
			o = append(o, dataset.Output{Name: n})
		}
		return o
	}
	for _, c := range []struct {
		features []dataset.Feature
		outputs  []dataset.Output
		part     string // of the error; empty means none
	}{
		{features("a", "b"), outputs("a"), ""},
		{features("a b", "a-b"), outputs("o"), "JOB_X_A_B"},
		{features("Level", "level"), outputs("o"), "JOB_X_LEVEL"},
		{features("°", "é"), outputs("o"), "JOB_X__"},
		{features("fraction bits"), outputs("o"), "JOB_X_FRACTION_BITS"},
		{features("a"), outputs("o", "o_fraction_bits"), "JOB_Y_O_FRACTION_BITS"},
		{features("a"), outputs("o", "o_one"), "JOB_Y_O_ONE"},
		{features(strings.Repeat("f", 57)), outputs("o"), ""},
		{features(strings.Repeat("f", 58)), outputs("o"), "more than 63 characters"},
	} {
		err := CheckNames("job", c.features, c.outputs, nil)
		switch {
		case c.part == "" && err != nil:
			t.Errorf("%v %v: %v", c.features, c.outputs, err)
		case c.part != "" && (err == nil || !strings.Contains(err.Error(), c.part)):
			t.Errorf("%v %v: got %v, want a clash on %s", c.features, c.outputs, err, c.part)
		}
	}
}

// Channels and values get macros of their own, and the functions of a front end a longer name than
// others.
func TestNamesOfChannels(t *testing.T) {
	oil := []dataset.Feature{{Name: "oil"}, {Name: "oil_value_fraction_bits"}}
	for _, c := range []struct {
		job      string
		features []dataset.Feature
		channels []string
		want     string
	}{
		{"leakair", oil[:1], []string{"supply", "case drain"}, ""},
		{"leakair", oil, nil, "LEAKAIR_X_OIL_VALUE_FRACTION_BITS"},
		{"leakair", oil, []string{"supply"}, "LEAKAIR_X_OIL_VALUE_FRACTION_BITS"},
		{"leakair", oil[:1], []string{"case drain", "case_drain"}, "LEAKAIR_CODE_CASE_DRAIN"},
		{"leakair", oil[:1], []string{"bits"}, "LEAKAIR_CODE_BITS"},
		{"leakage_of_the_pump_", oil[:1], []string{"supply"}, "reserves"},
		{"leakage_of_the_pumps", oil[:1], []string{"supply"}, "19 characters"},
		{"leakage_of_the_pumps", oil[:1], nil, ""},
	} {
		err := CheckNames(c.job, c.features, nil, c.channels)
		if (err == nil) != (c.want == "") || err != nil && !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s, %v: %v, want %q", c.job, c.channels, err, c.want)
		}
	}
}

// hostile are texts that would do harm in C if they came through as they are.
var hostile = []string{
	"*/ int evil; /*", "/* open", "line\nbreak", "carriage\rreturn", "back\\slash at the end\\",
	"??/ trigraph", "tab\tinside",
	"quote\"inside", "net_step", "NET_N_UNITS", "net.c", "right\u202eto left", "nul\x00byte",
	"%s%n", "*\\\n/", "é°Ω",
}

// Names and units from files cannot leave their comments: the emitted C still
// compiles without a warning, passes its self-test, and holds no control or
// non-ASCII character.
func TestHostileTextsStayInComments(t *testing.T) {
	program := randomProgram(t, randomnet.Seeded(11), randomnet.OneGRU)
	program.Version, program.VerdictLine = hostile[0], hostile[2]
	for i := range program.Net.Features {
		program.Net.Features[i].Name = hostile[i%len(hostile)] + strings.Repeat("x", i)
		program.Net.Features[i].Unit = hostile[(i+1)%len(hostile)]
	}
	for i := range program.Net.Outputs {
		program.Net.Outputs[i].Name = hostile[(i+5)%len(hostile)] + strings.Repeat("y", i)
		program.Net.Outputs[i].Unit = hostile[i]
	}
	dir := t.TempDir()
	writeC(t, program, dir)
	for _, name := range []string{"leakair.h", "leakair.c", "leakair_weights.h"} {
		text, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		for i, c := range text {
			if c != '\n' && (c < ' ' || c > '~') {
				t.Fatalf("%s: byte %d is %#x", name, i, c)
			}
		}
	}
	compile(t, dir, append(append([]string{"gcc", "-std=c99"}, strict...), "leakair.c",
		"leakair_selftest.c", "-o", "selftest")...)
	compile(t, dir, "./selftest")
}

func TestCommentTextKeepsWhatIsHarmless(t *testing.T) {
	for text, want := range map[string]string{
		"supply_level": "supply_level", "L/min": "L/min", "% by volume": "% by volume",
		"°C": "<U+00B0>C", "*/": "*<U+002F>", "/*": "/<U+002A>", "a\\b": "a<U+005C>b",
		"??/":              "?<U+003F>/",
		"cabinet net_flow": "cabinet net_flow",
	} {
		if got := rename(commentText(text), "job"); got != want {
			t.Errorf("%q becomes %q, want %q", text, got, want)
		}
	}
}
