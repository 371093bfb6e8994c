package exporter

import (
	"bytes"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"

	"kerf/exporter/report"
	"kerf/fault"
	"kerf/whole"
)

// maxFolderBytes bounds what is read of a whole handoff, which has a few megabytes.
const maxFolderBytes = 64 << 20

// Verify checks the handoff in a folder: the hashes of the manifest, what follows from what, and
// the self-test by the integer network in Go. version is that of this kerf. The only error is a
// [*fault.Error] about the folder: there is nothing to verify.
func Verify(dir, version string) (*Verification, error) {
	files, odd, err := readFolder(dir)
	if err != nil {
		return nil, err
	}
	v := &Verification{files: files}
	v.checkFiles(odd)
	s := v.checkReports(version)
	if s != nil {
		v.checkNetwork(s, version)
	}
	return v, nil
}

// readFolder reads every file of a handoff. odd lists what is no regular file or cannot be read.
func readFolder(dir string) (files map[string][]byte, odd []Finding, err error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		if aside := whole.Aside(dir); aside != "" {
			return nil, nil,
				&fault.Error{File: dir, Msg: "the folder was being replaced when kerf was " +
					"stopped; what stood there is in " + aside, Hint: "rename it, or make the " +
					"handoff again: that puts it back first", Cause: err}
		}
		return nil, nil, fault.OfFile(dir, "the folder cannot be read", err,
			"give a handoff folder, as kerf plan writes it")
	}
	files = map[string][]byte{}
	left := int64(maxFolderBytes)
	for _, e := range entries {
		if !e.Type().IsRegular() {
			odd = append(odd, Finding{e.Name(), "is no file of a handoff"})
			continue
		}
		limit := left
		if filepath.Ext(e.Name()) == ".json" {
			limit = min(limit, report.MaxJSONBytes)
		}
		content, err := whole.ReadRegular(filepath.Join(dir, e.Name()), limit)
		if err != nil {
			odd = append(odd, Finding{e.Name(), "cannot be read: " + fault.Reason(err)})
			continue
		}
		files[e.Name()] = content
		left -= int64(len(content))
	}
	if !slices.ContainsFunc(entries, func(e os.DirEntry) bool {
		return e.Name() == ManifestFile || e.Name() == SignoffFile
	}) {
		return nil, nil,
			&fault.Error{File: dir, Msg: "the folder holds no handoff: there is neither " +
				"manifest.json nor signoff.json", Hint: "give a handoff folder, as kerf plan " +
				"writes it"}
	}
	return files, odd, nil
}

// checkFiles compares the files with the manifest, name by name and hash by hash.
func (v *Verification) checkFiles(odd []Finding) {
	c := Check{What: "files", Findings: odd}
	found := func(file, problem string, values ...any) {
		c.Findings = append(c.Findings, Finding{file, fmt.Sprintf(problem, values...)})
	}
	text := v.files[ManifestFile]
	v.Manifest = sha(text)
	m, intact, err := readManifest(text)
	switch {
	case text == nil:
		found(ManifestFile, "is missing")
	case err != nil:
		found(ManifestFile, "cannot be read: %v", err)
	default:
		v.manifest = m
		v.Name, v.Kerf, v.Verdict = m.Job, m.Kerf, m.Verdict
		if !intact {
			found(ManifestFile, "was changed: its own SHA-256 is another")
			break // whose entry differs is then not the file that was changed
		}
		for _, out := range m.Outputs {
			content, there := v.files[out.File]
			switch {
			case !there:
				found(out.File, "is missing")
			case sha(content) != out.SHA256:
				found(out.File, "was changed: SHA-256 %.16s..., the manifest has %.16s...",
					sha(content), out.SHA256)
			}
		}
		for _, name := range slices.Sorted(maps.Keys(v.files)) {
			if name != ManifestFile && !m.names(name) {
				found(name, "is no part of the handoff")
			}
		}
		c.Detail = report.Plural(len(m.Outputs), "file") +
			", SHA-256 and names, and the manifest's own"
	}
	v.Add(c)
}

// madeByOther says why what kerf writes is not compared: another version may write it otherwise.
func madeByOther(made, version string) string {
	return fmt.Sprintf("made by kerf %s, this is %s", made, version)
}

// checkReports reads the sign-off, compares it with the manifest and renders it again. It returns
// the sign-off, nil where it cannot be read. version is that of this kerf.
func (v *Verification) checkReports(version string) *report.Signoff {
	c := Check{What: "reports", Detail: "Markdown, CSV and HTML follow from signoff.json, the " +
		"manifest agrees"}
	defer func() { v.Add(c) }()
	s, err := report.Read(v.files[SignoffFile])
	if err != nil {
		c.Findings = append(c.Findings, Finding{SignoffFile, err.Error()})
		return nil
	}
	v.measured = len(s.Measured) > 0
	v.Name, v.Kerf, v.Verdict = s.Name, s.Kerf, s.Verdict // also where the manifest cannot be read
	if m := v.manifest; m != nil &&
		(m.Kerf != s.Kerf || m.Job != s.Name || m.Verdict != s.Verdict ||
			!slices.Equal(m.Inputs, s.Inputs)) {
		c.Findings = append(c.Findings, Finding{ManifestFile, "names another kerf, job, verdict " +
			"or other inputs than signoff.json"})
	}
	if s.Kerf != version {
		c.skip(madeByOther(s.Kerf, version))
		return s
	}
	reports, err := Reports(s)
	if err != nil {
		c.Findings = append(c.Findings, Finding{SignoffFile, err.Error()})
		return s
	}
	c.Findings = append(c.Findings, v.differing(reports, "does not follow from signoff.json")...)
	return s
}

// differing returns the files that are not what they should be; problem says what they are then. A
// file that is missing is found here only where the manifest does not name it: checkFiles finds the
// others.
func (v *Verification) differing(want map[string][]byte, problem string) []Finding {
	var all []Finding
	for _, name := range slices.Sorted(maps.Keys(want)) {
		have, there := v.files[name]
		switch {
		case there && !bytes.Equal(have, want[name]):
			all = append(all,
				Finding{name, problem + ": " + report.FirstDifference(have, want[name])})
		case !there && (v.manifest == nil || !v.manifest.names(name)):
			all = append(all, Finding{name, "is missing, and the manifest does not name it"})
		}
		v.expected = append(v.expected, name)
	}
	return all
}

// foreign returns the files that the manifest names although kerf writes no such file.
func (v *Verification) foreign() []Finding {
	var all []Finding
	for _, name := range slices.Sorted(maps.Keys(v.files)) {
		if name != ManifestFile && !slices.Contains(v.expected, name) && v.manifest != nil &&
			v.manifest.names(name) {
			all = append(all,
				Finding{name, "is named by the manifest, but kerf writes no such file"})
		}
	}
	return all
}
