package dataset

import (
	"slices"
	"strings"
	"testing"
)

// Source of the characters: Unicode Character Database, categories Zs (blanks), M (marks that
// join), and the properties Other_Default_Ignorable_Code_Point and Noncharacter_Code_Point.
func TestNamesThatAreRefused(t *testing.T) {
	for text, want := range map[string]string{
		" level":         "begins with a blank",
		"level ":         "ends with a blank",
		" ":              "begins with a blank",
		"oil  level":     "two blanks in a row",
		"oil\u00a0level": "U+00A0, which looks like a blank",
		"oil\u2003level": "U+2003, which looks like a blank",
		"oil\u3000level": "U+3000, which looks like a blank",
		"\u0301level":    "begins with U+0301, which joins",
		"lev\ufffdel":    "U+FFFD, which stands for a character that was lost",
		"lev\tel":        "U+0009, which is not shown",
		"lev\nel":        "U+000A, which is not shown",
		"lev\u200del":    "U+200D, which is not shown",
		"lev\u2028el":    "U+2028, which is not shown",
		"lev\u3164el":    "U+3164, which is not shown",
		"lev\ufdd0el":    "U+FDD0, which is not shown",
		"lev\uffffel":    "U+FFFF, which is not shown",
		"lev\xe9l":       "not UTF-8",

		strings.Repeat("é", LongestName+1): "201 characters",
	} {
		if got := NameFault(text); !strings.Contains(got, want) {
			t.Errorf("%q: %q, want %q", text, got, want)
		}
	}
}

// A name may hold characters that have a meaning in a list, a row of the sign-off, C, HTML,
// Markdown or a spreadsheet.
func TestNamesThatAreAllowed(t *testing.T) {
	for _, text := range []string{
		"", "return, slope", "a;b", "a=b", "a|b", "a/b", `a\b`, "`a`", `"a"`, "'a'", "<b>a</b>",
		"*/", "=1+1", "@a", "a b c", "% by volume", "°C", "压力", "e\u0301", "\U0001F321\uFE0F",
		strings.Repeat("é", LongestName),
	} {
		if fault := NameFault(text); fault != "" {
			t.Errorf("%q: %s", text, fault)
		}
	}
}

// A list of names gives back the same names, whatever characters they hold.
func TestListsOfNames(t *testing.T) {
	for want, names := range map[string][]string{
		"":                         nil,
		"supply_level, oil":        {"supply_level", "oil"},
		`"return, slope", oil`:     {"return, slope", "oil"},
		`"5"" bore", "a, ""b"", "`: {`5" bore`, `a, "b", `},
		`a;b, c=d, 'e', f\g`:       {"a;b", "c=d", "'e'", `f\g`},
	} {
		if got := ListNames(names); got != want {
			t.Errorf("%q: %s, want %s", names, got, want)
		}
	}
	for _, names := range [][]string{
		{"return, slope"}, {"a", `"`, `""`, `,`, `","`}, {`a"b,c"`, "d|e", "f;g"},
	} {
		if got, err := ParseNames(ListNames(names)); err != nil || !slices.Equal(got, names) {
			t.Errorf("%q comes back as %q, %v", names, got, err)
		}
	}
	for text, want := range map[string][]string{
		"": nil, "a,b": {"a", "b"}, " a ,  b c ": {"a", "b c"}, `a, "b, c",d`: {"a", "b, c", "d"},
		"a,,b": {"a", "", "b"},
	} {
		if got, err := ParseNames(text); err != nil || !slices.Equal(got, want) {
			t.Errorf("%q is read as %q, %v; want %q", text, got, err, want)
		}
	}
	for _, text := range []string{`a"b`, `"a`, `"a"b`, "a\nb"} {
		if got, err := ParseNames(text); err == nil {
			t.Errorf("%q is read as %q", text, got)
		}
	}
}
