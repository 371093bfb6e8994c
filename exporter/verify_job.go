package exporter

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"

	"kerf/budget"
	"kerf/exporter/report"
	"kerf/whole"
)

// CheckInputs compares the files beside a job file with the hashes in the manifest, before any of
// them is read as what it should be, and reports whether all are the same. A file that lies
// elsewhere is left to [Verification.CheckLoaded]. The manifest must be readable.
func (v *Verification) CheckInputs(job string) bool {
	c := Check{What: "inputs", Detail: report.Plural(len(v.manifest.Inputs), "file") + ", SHA-256"}
	for _, row := range v.manifest.Inputs {
		path := filepath.Join(filepath.Dir(job), filepath.FromSlash(row.File))
		if row.Role == "job" {
			path = job
		}
		if sum, err := shaOfFile(path); err == nil && sum != row.SHA256 {
			c.Findings = append(c.Findings,
				Finding{row.File, fmt.Sprintf("is another %s file: SHA-256 %.16s..., the "+
					"handoff was made from %.16s...", row.Role, sum, row.SHA256)})
		}
	}
	if len(c.Findings) > 0 {
		v.Add(c)
		return false
	}
	return true
}

// shaOfFile returns the SHA-256 of a regular file, hexadecimal. It reads a piece at a time: the
// path comes from the handoff and may lead anywhere.
func shaOfFile(path string) (string, error) {
	file, _, err := whole.OpenRegular(path)
	if err != nil {
		return "", err
	}
	defer file.Close()
	hash := sha256.New()
	_, err = io.Copy(hash, file)
	return hex.EncodeToString(hash.Sum(nil)), err
}

// CheckLoaded compares the files that a job read with the manifest and reports whether they are the
// same. The manifest must be readable.
func (v *Verification) CheckLoaded(in *budget.Inputs) bool {
	c := Check{What: "inputs", Detail: report.Plural(len(in.Files), "file") + ", SHA-256"}
	for _, row := range v.manifest.Inputs {
		if !slices.Contains(in.Files, row) {
			c.Findings = append(c.Findings,
				Finding{row.File, fmt.Sprintf("the handoff was made from a %s file with SHA-256 "+
					"%.16s..., which the job does not name", row.Role, row.SHA256)})
		}
	}
	for _, row := range in.Files {
		if !slices.Contains(v.manifest.Inputs, row) {
			c.Findings = append(c.Findings,
				Finding{row.File,
					fmt.Sprintf("the handoff was not made from this %s file", row.Role)})
		}
	}
	v.Add(c)
	return len(c.Findings) == 0
}

// CheckAgain compares the handoff with one that was made again from its job: file name to content.
func (v *Verification) CheckAgain(again map[string][]byte) {
	c := Check{What: "made again", Detail: report.Plural(len(again), "file") +
		" from the job, byte " +
		"for byte"}
	c.Findings = v.differing(again, "is not what the job gives")
	for name := range v.files {
		if _, there := again[name]; !there {
			c.Findings = append(c.Findings,
				Finding{name, "is none of the files that the job gives"})
		}
	}
	slices.SortStableFunc(c.Findings, func(a, b Finding) int {
		return strings.Compare(a.File, b.File)
	})
	v.Add(c)
}
