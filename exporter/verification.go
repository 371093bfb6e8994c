package exporter

import (
	"slices"

	"kerf/budget"
)

// Verification is what was found out about a handoff, check by check.
type Verification struct {
	Name    string         `json:"name"`    // of the job
	Kerf    string         `json:"kerf"`    // the version that made the handoff
	Verdict budget.Verdict `json:"verdict"` // of the sign-off
	// SHA-256 of manifest.json, which stands for the whole handoff
	Manifest string  `json:"manifest"`
	Verified bool    `json:"verified"` // everything was checked, and nothing was found
	Checks   []Check `json:"checks"`   // in the order in which they were made

	files    map[string][]byte // the handoff: file name to content
	manifest *Manifest         // nil where it cannot be read
	measured bool              // the sign-off has figures that were measured
	emitted  bool              // the C is exactly what this kerf emits
	expected []string          // files that a handoff of this network has
}

// Check is one thing that was looked into.
type Check struct {
	What     string    `json:"what"`     // in a word or two
	Detail   string    `json:"detail"`   // how much was looked into, or why nothing was
	Skipped  bool      `json:"skipped"`  // the check was not made
	Findings []Finding `json:"findings"` // none: the check holds

	spared bool // what was skipped follows from the other checks
}

// skip notes why a check is not made.
func (c *Check) skip(why string) { c.Skipped, c.Detail = true, why }

// Finding is one thing that is not as it should be.
type Finding struct {
	File    string `json:"file"`
	Problem string `json:"problem"` // the rest of a sentence that begins with the file
}

// Add adds a check, and judges the whole anew.
func (v *Verification) Add(c Check) {
	if c.Findings == nil {
		c.Findings = []Finding{}
	}
	v.Checks = append(v.Checks, c)
	v.Verified = !slices.ContainsFunc(v.Checks, func(c Check) bool {
		return len(c.Findings) > 0 || c.Skipped && !c.spared
	})
}

// Found reports whether a check found anything. A handoff that is not verified although nothing was
// found could not be checked in full.
func (v *Verification) Found() bool {
	return slices.ContainsFunc(v.Checks, func(c Check) bool { return len(c.Findings) > 0 })
}

// Readable reports whether the manifest could be read, so that it can be compared with a job.
func (v *Verification) Readable() bool { return v.manifest != nil }

// Inputs returns the input files that the manifest names. The manifest must be readable.
func (v *Verification) Inputs() []budget.InputFile { return v.manifest.Inputs }

// ByHand returns what was chosen on the command line when the handoff was made, option=value. The
// manifest must be readable.
func (v *Verification) ByHand() []string { return v.manifest.ByHand }

// Measured reports whether the sign-off has figures that were measured when the handoff was made.
func (v *Verification) Measured() bool { return v.measured }

// Emitted reports whether the C and the build files are exactly what this kerf writes for the
// network.
func (v *Verification) Emitted() bool { return v.emitted }
