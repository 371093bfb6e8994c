package budget

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"kerf/targets"
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
		*job.Tolerances["leakage"].RMSERise != 0.05 || *job.Tolerances["air"].MaxError != 1.5 ||
		target.Clock != 64e6 || *target.Flash != 24*1024 || *target.StepTime != 1e-3 || *target.Period != 0.1 ||
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
		{`name = "leakair"`, "name = \"leakair\"\nformats = { weights = \"int5\" }", `weights = "int5" is not available`},
	} {
		_, err := readJob(t, strings.Replace(goodJob, c.old, c.fresh, 1))
		var at *targets.FileError
		if !errors.As(err, &at) {
			t.Errorf("%q for %q: got %v, want a FileError", c.fresh, c.old, err)
			continue
		}
		if !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q for %q: got %v, want %q", c.fresh, c.old, err, c.want)
		}
		if at.HintText() == "" {
			t.Errorf("%q for %q: no hint with %v", c.fresh, c.old, err)
		}
	}
}
