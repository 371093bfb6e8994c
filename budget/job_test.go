package budget

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"kerf/dataset"
	"kerf/fault"
)

const goodJob = `name = "leakair"
model = { file = "model.npz", convention = "torch" }
features = { file = "features.csv" }
outputs = { file = "outputs.csv" }

[recordings]
selection = ["a.csv", "b.csv"]
signoff = "c.csv"

[[region]]
name = "air masks leakage"
where.air = { min = 4.0 }
where.leakage = { below = "air" }

[tolerance]
leakage = { rmse_rise = "5 %" }
air = { rmse = 0.20, max_error = 1.5 }

[[target]]
profile = "cortex-m4f"
clock = "64 MHz"
flash = "24 KiB"
ram = "2 KiB"
step_time = "1 ms"
period = "100 ms"
`

func readJob(t *testing.T, text string) (*Job, error) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "job.toml")
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	return ReadJob(path)
}

func TestReadJob(t *testing.T) {
	job, err := readJob(t, goodJob)
	if err != nil {
		t.Fatal(err)
	}
	target := job.Targets[0]
	if len(job.Recordings.Selection) != 2 || job.Recordings.Signoff[0] != "c.csv" ||
		job.Tolerances["leakage"].RMSERise.Value != 0.05 || job.Tolerances["air"].MaxError.Value !=
		1.5 ||
		target.Clock != 64e6 || *target.Flash != 24*1024 || *target.StepTime != 1e-3 ||
		*target.Period != 0.1 ||
		*job.Regions[0].Where["air"].Min != 4 || *job.Regions[0].Where["leakage"].Below != "air" {
		t.Errorf("read as %+v", job)
	}
}

func TestJobErrorsHavePlaceAndHint(t *testing.T) {
	for _, c := range []struct{ old, fresh, want string }{
		{`name = "leakair"`, ``, ":1:1: name is missing"},
		{`signoff = "c.csv"`, ``, ":6:2: recordings.signoff is missing"},
		{`signoff = "c.csv"`, `signoff = 3`, ":8:11: "},
		{`clock = "64 MHz"`, ``, ": the target has no clock"},
		{`clock = "64 MHz"`, `clock = "0 MHz"`, ": the target has no clock, or a clock of 0"},
		{`clock = "64 MHz"`, `clock = 64`, ":21:9: target.clock: \"64\": the unit is missing"},
		{`"64 MHz"`, `"64 MHzz"`, ":21:9: "},
		{`flash = "24 KiB"`, `flush = "24 KiB"`, `:22:1: unknown key "flush" in target`},
		{`{ rmse_rise = "5 %" }`, `{ rmse_rise = 5 }`, ":16:25: "},
		{`profile = "cortex-m4f"`, ``, "a target needs a profile or a profile_file"},
		{`name = "leakair"`, "name = \"leakair\"\nformats = { weights = \"int5\" }",
			`weights = "int5" is not available`},
		{`ram = "2 KiB"`, "ram = \"2 KiB\"\ncycles = nan", ":24:10: NaN cycles are no limit"},
		{`ram = "2 KiB"`, "ram = \"2 KiB\"\ncycles = 1e300", ":24:10: 1e+300 cycles are no limit"},
		{`[tolerance]`, "[[front_end]]\nname = \"a\"\ncycles = { avr8 = inf }\n[tolerance]",
			":17:19: +Inf cycles make no sense"},
		{`[tolerance]`, "[[front_end]]\nname = \"\\u202Ea\"\n[tolerance]",
			":16:8: the text holds the character U+202E"},
		{`[tolerance]`, "[[front_end]]\nname = \"spectrum \"\n[tolerance]",
			":16:8: the text ends with a blank"},
		{`outputs = { file = "outputs.csv" }`,
			`outputs = { classes = ["a", "b"], column = "\tstate" }`,
			":4:44: the text holds the character U+0009"},
	} {
		_, err := readJob(t, strings.Replace(goodJob, c.old, c.fresh, 1))
		var at *fault.Error
		if !errors.As(err, &at) {
			t.Errorf("%q for %q: got %v, want a fault.Error", c.fresh, c.old, err)
			continue
		}
		if !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q for %q: got %v, want %q", c.fresh, c.old, err, c.want)
		}
		if at.Hint == "" {
			t.Errorf("%q for %q: no hint with %v", c.fresh, c.old, err)
		}
	}
}

// Names and bounds of regions are checked with the outputs.
func TestRegionsThatAreRefused(t *testing.T) {
	for _, c := range []struct{ old, fresh, want string }{
		{`min = 4.0`, `min = nan`, ":12:21: NaN bounds nothing"},
		{`min = 4.0`, `max = -inf`, ":12:21: -Inf bounds nothing"},
		{`"air masks leakage"`, `"air\nmasks"`, ":11:8: the text holds the character U+000A"},
		{`"air masks leakage"`, `" air"`, ":11:8: the text begins with a blank"},
		{`"air masks leakage"`, `"all"`, `:11:8: "all" cannot name a region`},
		{`"air masks leakage"`, `"` + strings.Repeat("a", 10_000) + `"`,
			":11:8: the text has 10000 characters"},
		{`{ below = "air" }`, `{ below = "oil" }`, `unknown output "oil"`},
	} {
		job, err := readJob(t, strings.Replace(goodJob, c.old, c.fresh, 1))
		if err != nil {
			t.Fatal(err)
		}
		if _, err = job.regions([]dataset.Output{{Name: "leakage"}, {Name: "air"}}); err == nil ||
			!strings.Contains(err.Error(), c.want) {
			t.Errorf("%.40s: got %v, want %q", c.fresh, err, c.want)
		}
	}
}

// Names of classes are names like others, each another one.
func TestClassesThatAreRefused(t *testing.T) {
	const classifier = `name = "leakair"
model = { file = "model.npz" }
features = { file = "features.csv" }
recordings = { selection = "a.csv", signoff = "b.csv" }
[outputs]
column = "state"
classes = ["calm, or not", CLASS]
`
	for class, want := range map[string]string{
		`"worn "`:        ":7:28: the text ends with a blank",
		`"all"`:          `:7:28: "all" cannot name a class`,
		`""`:             ":7:28: class 1 has no name",
		`"calm, or not"`: ":7:28: class 1 has no name, or that of another one",
	} {
		job, err := readJob(t, strings.Replace(classifier, "CLASS", class, 1))
		if err != nil {
			t.Fatal(err)
		}
		_, err = loader{&Inputs{Job: job}}.loadOutputs()
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: got %v, want %q", class, err, want)
		}
	}
}

// zeros has no end.
type zeros struct{}

func (zeros) Read(p []byte) (int, error) {
	clear(p)
	return len(p), nil
}

// Files that have no end, or that nobody writes to, are refused before they are opened; a link to a
// file is the file.
func TestFilesWithoutEnd(t *testing.T) {
	path, _ := graphJob(t, "onnx_form_sub_div", make([]float64, 5), []float64{1, 1, 1, 1, 1},
		`file = "outputs.csv"`)
	dir := filepath.Dir(path)
	for _, name := range []string{"model.onnx", "features.csv", "outputs.csv", "all.csv"} {
		file := filepath.Join(dir, name)
		if err := os.Rename(file, file+".kept"); err != nil {
			t.Fatal(err)
		}
		for _, other := range []string{"/dev/zero", dir} {
			if err := os.Symlink(other, file); err != nil {
				t.Fatal(err)
			}
			_, err := Load(path)
			var at *fault.Error
			if !errors.As(err, &at) ||
				!strings.Contains(err.Error(), name+" cannot be read: it is no regular file") {
				t.Errorf("%s is %s: got %v", name, other, err)
			}
			if err := os.Remove(file); err != nil {
				t.Fatal(err)
			}
		}
		if err := os.Symlink(file+".kept", file); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := Load(path); err != nil {
		t.Errorf("links to files: %v", err)
	}
	endless := filepath.Join(dir, "endless.toml")
	if err := os.Symlink("/dev/zero", endless); err != nil {
		t.Fatal(err)
	}
	if _, err := ReadJob(endless); err == nil ||
		!strings.Contains(err.Error(), "it is no regular file") {
		t.Errorf("a job without end: got %v", err)
	}
	if _, err := LoadFrom(zeros{}, "stdin"); err == nil ||
		!strings.Contains(err.Error(), "more than the 262144 allowed") {
		t.Errorf("a job without end on stdin: got %v", err)
	}
}

// Scenarios that differ in spelling alone are a slip in one of the recordings, others are not.
func TestOtherCase(t *testing.T) {
	there := []string{"surge", "warm_up", "valve 1"}
	for name, want := range map[string]string{"Surge": `; did you mean "surge"?`,
		"warm up": `; did you mean "warm_up"?`, "valve 2": "", "calm": ""} {
		if got := otherCase(name, there); got != want {
			t.Errorf("%s: %q, want %q", name, got, want)
		}
	}
}

// A version is a text in one line; what is none is refused with the place and a way out.
func TestModelVersion(t *testing.T) {
	with := func(value string) string {
		return strings.Replace(goodJob, `convention = "torch" }`,
			`convention = "torch", version = `+value+` }`, 1)
	}
	job, err := readJob(t, with(`"2.1.0 \"pump\""`))
	if err != nil || job.Model.Version != `2.1.0 "pump"` {
		t.Errorf("got %v", err)
	}
	for value, want := range map[string]string{
		"2.1":                               "the version is no text",
		`" "`:                               "the version is empty",
		`"` + strings.Repeat("v", 41) + `"`: "more than 40 characters",
		`"a\nb"`:                            "not shown or moves others",
	} {
		_, err := readJob(t, with(value))
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: got %v, want an error with %q", value, err, want)
		}
	}
}
