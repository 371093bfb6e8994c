package targets

import (
	"bytes"
	"errors"
	"fmt"
	"reflect"
	"strings"
	"testing"
	"unicode/utf8"

	"kerf/fault"

	"github.com/BurntSushi/toml"
)

// pressure reads itself from a text.
type pressure float64

func (p *pressure) UnmarshalText(text []byte) error {
	_, err := fmt.Sscanf(string(text), "%g bar", (*float64)(p))
	if err != nil {
		return BadValue(string(text), "not a pressure", "write it in bar")
	}
	return nil
}

// oneOrMore reads itself from a text or a list of texts.
type oneOrMore []string

func (o *oneOrMore) UnmarshalTOML(v any) error {
	switch v := v.(type) {
	case string:
		*o = oneOrMore{v}
	case []any:
		*o = nil
		for _, e := range v {
			*o = append(*o, fmt.Sprint(e))
		}
	default:
		return errors.New("neither a text nor a list")
	}
	return nil
}

// job has every shape of value that files of this project use.
type job struct {
	Name    string
	Network struct {
		File string `toml:"file"`
		Deep bool   `toml:"deep"`
	} `toml:"network"`
	Parts []struct {
		Clock  string             `toml:"clock"`
		Cycles map[string]float64 `toml:"cycles"`
		Count  int                `toml:"count"`
		Small  []struct {
			Label string `toml:"label"`
		} `toml:"small"`
	} `toml:"part"`
	Where map[string]struct {
		Min   *float64 `toml:"min"`
		Below string   `toml:"below"`
	} `toml:"where"`
	Names  []string  `toml:"names"`
	Inlet  pressure  `toml:"inlet"`
	Files  oneOrMore `toml:"files"`
	Extra  any       `toml:"extra"`
	Hidden string    `toml:"-"`
}

func TestStrictDecode(t *testing.T) {
	text := "\ufeff" + `Name = "saw"
names = ["a", 'b', """c""""]
inlet = "3.5 bar"
files = "one.csv"
extra = { anything = [1, "x"] }
where.air = { min = 4.0 }
where.leak = { below = "air" }
[network]
file = "n.npz"
deep = true
[[part]]
clock = "64 MHz"
cycles = { "core a" = 5200, b-b = 0.5 }
[[part]]
count = 7
[[part.small]]
label = "x"
`
	var got job
	if err := StrictDecode([]byte(text), "job.toml", &got); err != nil {
		t.Fatal(err)
	}
	var want job
	if _, err := toml.Decode(text, &want); err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("strict decoding differs from the library's:\n got %+v\nwant %+v", got, want)
	}
	if got.Names[2] != `c"` || got.Inlet != 3.5 || got.Files[0] != "one.csv" ||
		*got.Where["air"].Min != 4 ||
		got.Parts[0].Cycles["core a"] != 5200 || got.Parts[1].Small[0].Label != "x" {
		t.Errorf("decoded %+v", got)
	}
}

func TestStrictDecodeErrors(t *testing.T) {
	const inQuotes = `write texts in double quotes, quantities with a unit too: "64 MHz"`
	for _, tt := range []struct{ name, text, want, hint string }{
		{"unknown at the top", "Name = \"a\"\nnane = 1\n", `2:1: unknown key "nane"`,
			`did you mean "Name"?`},
		{"upper and lower case", "name = \"a\"\n", `1:1: unknown key "name"`,
			`did you mean "Name"?`},
		{"not a slip", "zzzzzz = 1", `1:1: unknown key "zzzzzz"`,
			"known here: Name, extra, files, inlet, names, network, part, where"},
		{"of another table", "deep = 1", `1:1: unknown key "deep"`,
			"known here: Name, extra, files, inlet, names, network, part, where; deep is a key " +
				"of [network]"},
		{"in a table", "[network]\n  fil = 'x'\n", `2:3: unknown key "fil" in network`,
			`did you mean "file"?`},
		{"unknown table", "[network]\n[ netwrok . sub ]\n", `2:3: unknown key "netwrok"`,
			`did you mean "network"?`},
		{"unknown subtable", "[network.sub]\n", `1:10: unknown key "sub" in network`,
			"known here: deep, file"},
		{"in the second of a list of tables", "[[part]]\ncount = 1\n[[part]]\ncuont = 1\n",
			`4:1: unknown key "cuont" in part`, `did you mean "count"?`},
		{"in a list of tables of the second",
			"[[part]]\n[[part]]\n[[part.small]]\n[[part.small]]\nlabel = 'x'\nl = 1",
			`6:1: unknown key "l" in part.small`, "known here: label"},
		{"in an inline table", `network = { file = "x", dep = true }`,
			`1:25: unknown key "dep" in network`, `did you mean "deep"?`},
		{"dotted key", "network.dep = true", `1:9: unknown key "dep" in network`,
			`did you mean "deep"?`},
		{"quoted dotted key", `where."a.b".mn = 4`, `1:13: unknown key "mn" in where.a.b`,
			`did you mean "min"?`},
		{"inline in dotted", `where.air = { min = 4.0, max = 5 }`,
			`1:26: unknown key "max" in where.air`, "known here: below, min"},
		{"inline in a list", "part = [\n  { clock = 'a' }, # {\n  { clok = 'a' },\n]",
			`3:5: unknown key "clok" in part`, `did you mean "clock"?`},
		{"behind a long text", "names = ['''\n[part]\n''', \"]\\\"\"]\nx = 1",
			`4:1: unknown key "x"`, "known here: Name, extra, files, inlet, names, network, " +
				"part, where"},
		{"column counts characters", `network = { file = "ĺøñg", dep = true }`,
			`1:28: unknown key "dep" in network`, `did you mean "deep"?`},
		{"CRLF", "Name = 'a'\r\n  x = 1\r\n", `2:3: unknown key "x"`,
			"known here: Name, extra, files, inlet, names, network, part, where"},
		{"byte-order mark", "\ufeffx = 1", `1:1: unknown key "x"`,
			"known here: Name, extra, files, inlet, names, network, part, where"},
		{"field that is not for files", "Hidden = 'a'", `1:1: unknown key "Hidden"`,
			"known here: Name, extra, files, inlet, names, network, part, where"},
		{"first in the file wins", "[network]\ndeep = 1\nzz = 1",
			"2:8: network.deep must be true or false, not a whole number", ""},

		{"text", "Name = 3", "1:8: Name must be a text in quotes, not a whole number", ""},
		{"number", "[[part]]\n[[part]]\ncycles.b = 'x'\n[[part]]",
			"3:12: part.cycles.b must be a number, not a text", ""},
		{"whole number", "[[part]]\ncount = 1.5", "2:9: part.count must be a whole number, not " +
			"a number with a fraction", ""},
		{"infinite", "[[part]]\ncount = inf", "2:9: part.count must be a whole number, not +Inf",
			""},
		{"too many digits", "[[part]]\ncycles.b = 9007199254740993", "2:12: part.cycles.b: " +
			"9007199254740993 has too many digits", "write it with a decimal point"},
		{"list element", "names = [\"a\",\n  true]",
			"2:3: names must be a text in quotes, not true", ""},
		{"list for text", "Name = ['a']", "1:8: Name must be a text in quotes, not a list", ""},
		{"text for list", "names = 'a'", "1:9: names must be a list, not a text", ""},
		{"date", "Name = 2020-01-01 10:00:00", "1:8: Name must be a text in quotes, not a date " +
			"or time", ""},
		{"list of tables for table", "\n[[network]]", "2:3: network must be a table, not a list",
			"write [network], not [[network]]"},
		{"table for list of tables", "[part]", "1:2: part must be a list, not a table",
			"write [[part]], not [part]"},
		{"own text type", "\ninlet = '3 psi'", `2:9: inlet: "3 psi": not a pressure`,
			"write it in bar"},
		{"own text type, no text", "inlet = 3", "1:9: inlet must be a text in quotes, not a " +
			"whole number", ""},
		{"own type", "files = 3", "1:9: files: neither a text nor a list", ""},

		{"no quotes", "Name = saw", "1:8: expected value but found \"saw\" instead", inQuotes},
		{"quantity without quotes", "Name = 'x'\n[[part]]\nclock = 64 MHz",
			`3:11: expected a top-level item to end with a newline, comment, or EOF, but got ` +
				`'M' instead`, inQuotes},
		{"twice", "Name = 'a'\nName = 'b'", "2:1: key 'Name' has already been defined",
			"remove one of the two"},
		{"open text", "Name = 'a\n", "1:10: strings cannot contain newlines", ""},
		{"open list", "names = ['a'\n", "1:13: expected a comma (',') or array terminator " +
			"(']'), but got end of file", inQuotes},
		{"no UTF-8", "Name = '\xff'", "1:8: invalid UTF-8 byte: 0xff", ""},
		{"UTF-16", "\xff\xfeN\x00a\x00", "1:1: file is UTF-16, not UTF-8", "save it as UTF-8"},
		{"two byte-order marks", "\ufeff\ufeffx = 1", `1:1: unknown key "x"`,
			"known here: Name, extra, files, inlet, names, network, part, where"},
		{"whole number out of range", "[[part]]\ncount = 99999999999999999999",
			"2:9: 99999999999999999999 is out of range for int64", ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			into := job{Name: "before"}
			err := StrictDecode([]byte(tt.text), "job.toml", &into)
			var e *fault.Error
			if !errors.As(err, &e) {
				t.Fatalf("error %v", err)
			}
			if e.Error() != "job.toml:"+tt.want {
				t.Errorf("\n got %s\nwant job.toml:%s", e, tt.want)
			}
			if e.Hint != tt.hint {
				t.Errorf("\n got hint %q\nwant hint %q", e.Hint, tt.hint)
			}
			if !reflect.DeepEqual(into, job{Name: "before"}) {
				t.Errorf("changed by a failed read: %+v", into)
			}
		})
	}
}

func TestStrictDecodeSize(t *testing.T) {
	err := StrictDecode(bytes.Repeat([]byte("#"), MaxFileBytes+1), "deep.toml", &job{})
	if want := "deep.toml: file has 262145 bytes, more than the 262144 allowed"; err == nil ||
		err.Error() != want {
		t.Errorf("error %v, want %s", err, want)
	}
}

func TestLocate(t *testing.T) {
	data := []byte("a = 1\n[t]\n  b.c = { d = [1,\n 22] }\n[[u]]\n[[u]]\n\"x y\" = " +
		"3\n[u.v]\nw = 4\n")
	for _, tt := range []struct {
		path      []any
		line, col int
	}{
		{nil, 1, 1}, {[]any{"a"}, 1, 5}, {[]any{"t"}, 2, 2}, {[]any{"t", "b"}, 3, 3},
		{[]any{"t", "b", "c"}, 3, 9},
		{[]any{"t", "b", "c", "d", 1}, 4, 2}, {[]any{"u", 0}, 5, 3}, {[]any{"u", 1}, 6, 3},
		{[]any{"u", 1, "x y"}, 7, 9},
		{[]any{"u", 1, "v", "w"}, 9, 5},
		// A missing key is reported at its table.
		{[]any{"t", "nothing", "at", "all"}, 2, 2}, {[]any{"u", 2}, 5, 3}, {[]any{"nothing"}, 1, 1},
	} {
		if line, col := Locate(data, tt.path...); line != tt.line || col != tt.col {
			t.Errorf("%v: %d:%d, want %d:%d", tt.path, line, col, tt.line, tt.col)
		}
	}
}

// sameShape reports the first place where the tree of positions and the decoded value differ.
func sameShape(v any, n *node, path string) string {
	if n == nil {
		return path + " has no position"
	}
	switch v := v.(type) {
	case map[string]any:
		if len(v) != len(n.children) || len(n.elems) > 0 {
			return fmt.Sprintf("%s: %d keys, %d positions, %d elements", path, len(v),
				len(n.children), len(n.elems))
		}
		for k, e := range v {
			if s := sameShape(e, n.children[k], path+"."+k); s != "" {
				return s
			}
		}
		return ""
	case []any, []map[string]any:
		list := reflect.ValueOf(v)
		if list.Len() != len(n.elems) || len(n.children) > 0 {
			return fmt.Sprintf("%s: %d elements, %d positions, %d keys", path, list.Len(),
				len(n.elems), len(n.children))
		}
		for i := range list.Len() {
			if s := sameShape(list.Index(i).Interface(), n.elems[i],
				fmt.Sprintf("%s[%d]", path, i)); s != "" {
				return s
			}
		}
		return ""
	}
	if len(n.children)+len(n.elems) > 0 {
		return path + " is no table or list"
	}
	return ""
}

func TestDeepTextsAreRefused(t *testing.T) {
	for name, text := range map[string]string{
		"lists":         "a=" + strings.Repeat("[", 100_000),
		"closed lists":  "a=" + strings.Repeat("[", 100_000) + strings.Repeat("]", 100_000),
		"tables":        "a=" + strings.Repeat("{a=", 60_000),
		"closed tables": "a=" + strings.Repeat("{a=", 40_000) + "1" + strings.Repeat("}", 40_000),
		"dotted key":    strings.Repeat("a.", 100_000) + "a=1",
		"quoted parts":  strings.Repeat("\"a\" . ", 30_000) + "a=1",
		"header":        "[" + strings.Repeat("a.", 100_000) + "a]\nb=1",
	} {
		tomlLimits.Check(t, len(text), "f", func() error {
			var v map[string]any
			err := StrictDecode([]byte(text), "f", &v)
			if err == nil ||
				!strings.Contains(err.Error(), "more than 32 tables or lists stand in each "+
					"other here") {
				t.Fatalf("%s: got %v", name, err)
			}
			return err
		})
	}
	for _, text := range []string{
		"a = [" + strings.Repeat("1.5, ", 1000) + "]", "a = '" + strings.Repeat("[.", 1000) + "'",
		"# " + strings.Repeat("[.", 1000) + "\na = 1",
		"a = \"\"\"" + strings.Repeat("[\n.", 1000) + "\"\"\"",
		strings.Repeat("[[a]]\nb.c = 1.5\n", 1000),
	} {
		var v map[string]any
		if err := StrictDecode([]byte(text), "f", &v); err != nil {
			t.Errorf("%.20s...: %v", text, err)
		}
	}
}

// Whatever the library accepts, the positions have the shape of what it decoded.
func FuzzStrictDecode(f *testing.F) {
	for _, s := range []string{
		"a.b = 1\n[c.d]\ne = { f = [1, {g.h = 2}], i = \"x\\\"\" } # " +
			"}\n[[j]]\n[[j.k]]\n[j.l]\nm = '''\n'''\n[[j]]\n[a.z]\n",
		"names = [ # c\n \"\"\"a\\\n  \"\"b\"\"\"\"\", 'c' , ]\n",
		"[ 'a . b' . \"c\\u0041\" ]\n\"\" = 1979-05-27 07:32:00Z\n",
		"Name = 1\n", "where.x.min = 3\nwhere.y = {min = 1}\n",
		"x = [[], [[]], [{}]]\r\n[t]\r\nq=-inf#c\r\n", "\ufeffa=1", "[a]\n[[a.b]]\n[a.b.c]\n",
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		var raw map[string]any
		if tooDeep(withoutMark(data)) >= 0 {
			raw = nil // the library has no limit
		} else if _, err := toml.Decode(withoutMark(data), &raw); err == nil && utf8.Valid(data) {
			if s := sameShape(raw, scanTOML(withoutMark(data)), ""); s != "" {
				t.Fatalf("%q: %s", data, s)
			}
		}
		var v job
		var err error
		tomlLimits.Check(t, len(data), "f", func() error {
			err = StrictDecode(data, "f", &v)
			return err
		})
		var e *fault.Error
		if err != nil && (!errors.As(err, &e) || e.Line < 1 || e.Column < 1 || e.Msg == "") {
			t.Fatalf("%q: error %#v", data, err)
		}
	})
}
