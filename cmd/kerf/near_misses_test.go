package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A name that is nearly right gets the right one as a hint, whatever it names.
func TestNearMisses(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "demo")
	if err := writeDemo(dir); err != nil {
		t.Fatal(err)
	}
	job := filepath.Join(dir, "job.toml")
	for _, c := range []struct {
		what           string
		args           []string // behind it: the job, where a file is changed
		file, old, new string
		hint           string
	}{
		{"verb", []string{"exlpain"}, "", "", "", `did you mean "explain"?`},
		{"verb of a group", []string{"targets", "Show"}, "", "", "", `did you mean "show"?`},
		{"option", []string{"plan", job, "--mesure"}, "", "", "", `did you mean "--measure"?`},
		{"format", []string{"rank", job, "--format", "JSON"}, "", "", "", `did you mean "json"?`},
		{"feature", []string{"prune", job, "--keep-features", "return level"}, "", "", "",
			`did you mean "return_level"?`},
		{"former option", []string{"export", job, "--units", "10"}, "", "", "",
			"--keep-units names the units that stay, as kerf rank lists them; --units-count"},
		{"unit", []string{"prune", job, "--keep-units", "0,100"}, "", "", "", `did you mean "10"?`},
		{"word", []string{"quantize", job, "--weights", "Int8"}, "", "", "",
			`did you mean "int8"?`},
		{"target", []string{"measure", job, "--target", "Cortex-M4F"}, "", "", "",
			`did you mean "cortex-m4f"?`},
		{"profile", []string{"targets", "show", "cortex_m33"}, "", "", "",
			`did you mean "cortex-m33"?`},
		{"key of the job", []string{"rank"}, "job.toml", "[outputs]", "[output]",
			`did you mean "outputs"?`},
		{"profile of a target", []string{"rank"}, "job.toml", `profile = "rv32imc"`,
			`profile = "rv32im"`, `did you mean "rv32imc"?`},
		{"unit of a quantity", []string{"rank"}, "job.toml", `"64 MHz"`, `"64 mhz"`,
			`did you mean "MHz"?`},
		{"convention", []string{"rank"}, "job.toml", `"torch"`, `"Torch"`,
			`did you mean "torch"?`},
		{"output of a tolerance", []string{"rank"}, "job.toml", "\nleakage = {", "\nLeakage = {",
			`did you mean "leakage"?`},
		{"scenario of a tolerance", []string{"rank"}, "job.toml", `air = { rmse_rise = "5 %" }`,
			`air = { scenario.Warm_Up.rmse_rise = "5 %" }`, `did you mean "warm_up"?`},
		{"region of a tolerance", []string{"rank"}, "job.toml", `air = { rmse_rise = "5 %" }`,
			`air = { region."air mask leakage".rmse_rise = "5 %" }`,
			`did you mean "air masks leakage"?`},
		{"output of a region", []string{"rank"}, "job.toml", "where.leakage", "where.leakge",
			`did you mean "leakage"?`},
		{"output that bounds a region", []string{"rank"}, "job.toml", `below = "air"`,
			`below = "Air"`, `did you mean "air"?`},
		{"objective", []string{"rank"}, "job.toml", "[tolerance]",
			"[search]\nobjective = \"Flash\"\n[tolerance]", `did you mean "flash"?`},
		{"profile of a front end", []string{"rank"}, "job.toml", `"cortex-m4f" = 90`,
			`"cortex-m4" = 90`, `did you mean "cortex-m4f"?`},
		{"feature to keep", []string{"rank"}, "job.toml", `file = "features.csv"`,
			"file = \"features.csv\"\nkeep = [\"supply_levels\"]",
			`did you mean "supply_level"?`},
		{"word in the job", []string{"rank"}, "job.toml", "[tolerance]",
			"[formats]\nstate = \"INT16\"\n[tolerance]", `did you mean "int16"?`},
		{"front end of a feature", []string{"rank"}, "features.csv", ",thermometer,",
			",Thermometer,", `did you mean "thermometer"?`},
		{"column of features.csv", []string{"rank"}, "features.csv", ",std", ",Std",
			`did you mean "Std"?`},
		{"column of a recording", []string{"rank"}, "selection.csv", ",return_level,",
			",return level,", `did you mean "return level"?`},
		{"feature of a score", []string{"rank"}, "scores.csv", "return_level", "return_Level",
			`did you mean "return_level"?`},
		{"scenario of a score", []string{"rank"}, "scores.csv", "warm_up", "warmup",
			`did you mean "warm_up"?`},
		{"output of a score", []string{"rank"}, "scores.csv", ",leakage,", ",leakege,",
			`did you mean "leakage"?`},
	} {
		args := c.args
		restore := func() {}
		if c.file != "" {
			args = append(args, job)
			path := filepath.Join(dir, c.file)
			text, err := os.ReadFile(path)
			if err != nil || !strings.Contains(string(text), c.old) {
				t.Fatalf("%s: %v, no %q in %s", c.what, err, c.old, c.file)
			}
			rewrite(t, path, []byte(strings.Replace(string(text), c.old, c.new, 1)))
			restore = func() { rewrite(t, path, text) }
		}
		code, stdout, stderr := call(args...)
		if code != exitInput || stdout != "" || !strings.Contains(stderr, "\nkerf: hint: "+c.hint) {
			t.Errorf("%s: exit code %d, %s%s, want the hint %s", c.what, code, stdout, stderr,
				c.hint)
		}
		restore()
	}
}
