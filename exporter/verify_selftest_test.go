package exporter

import (
	"path/filepath"
	"strings"
	"testing"
)

// The self-test in C is run where the C is what kerf emits: what it says is noted, and that it
// fails is found. Without a place to compile in there is an error.
func TestRunSelftest(t *testing.T) {
	selftest := func(program string, emitted bool) *Verification {
		return &Verification{Name: "a", emitted: emitted,
			files: map[string][]byte{"a.c": []byte("int answer(void);\nint answer(void) { " +
				"return 42; }\n"), "a_selftest.c": []byte(program)}}
	}
	const passes = "int answer(void);\nint puts(const char *line);\nint main(void) { puts(\"all " +
		"equal\\nmore\"); return answer() != 42; }\n"
	for name, c := range map[string]struct {
		program  string
		emitted  bool
		skipped  bool
		detail   string // its end
		findings int
	}{
		"passes":      {passes, true, false, ": all equal", 0},
		"fails":       {"int main(void) { return 1; }\n", true, false, "", 1},
		"not emitted": {passes, false, true, "the C is not what this kerf emits", 0},
	} {
		v := selftest(c.program, c.emitted)
		if err := v.RunSelftest(t.Context()); err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if got := v.Checks[0]; got.Skipped != c.skipped ||
			!strings.HasSuffix(got.Detail, c.detail) || len(got.Findings) != c.findings {
			t.Errorf("%s: %+v", name, got)
		}
	}
	t.Setenv("TMPDIR", filepath.Join(t.TempDir(), "none"))
	if v := selftest(passes, true); v.RunSelftest(t.Context()) == nil {
		t.Errorf("it ran without a folder for temporary files: %+v", v.Checks)
	}
}
