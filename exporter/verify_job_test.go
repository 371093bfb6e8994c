package exporter

import (
	"testing"

	"kerf/budget"
)

// The files that a job loaded are those of the manifest, no more and no fewer.
func TestLoadedInputsAreThoseOfTheManifest(t *testing.T) {
	job := budget.InputFile{Role: "job", File: "job.toml", SHA256: "1"}
	model := budget.InputFile{Role: "model", File: "m.npz", SHA256: "2"}
	retrained := budget.InputFile{Role: "model", File: "m.npz", SHA256: "9"}
	for name, c := range map[string]struct {
		files    []budget.InputFile
		findings int
	}{
		"the same":  {[]budget.InputFile{job, model}, 0},
		"one fewer": {[]budget.InputFile{job}, 1},
		"one more": {[]budget.InputFile{job, model,
			{Role: "signoff", File: "s.csv", SHA256: "3"}}, 1},
		// one that is not loaded, and one that is
		"another is": {[]budget.InputFile{job, retrained}, 2},
	} {
		v := &Verification{manifest: &Manifest{Inputs: []budget.InputFile{{Role: "job",
			File: "job.toml", SHA256: "1"},
			{Role: "model", File: "m.npz", SHA256: "2"}}}}
		same := v.CheckLoaded(&budget.Inputs{Files: c.files})
		if want := c.findings == 0; same != want || v.Verified != want ||
			len(v.Checks[0].Findings) != c.findings {
			t.Errorf("%s: same %v, verified %v, found %v", name, same, v.Verified,
				v.Checks[0].Findings)
		}
	}
}
