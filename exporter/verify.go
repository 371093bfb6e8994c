package exporter

import (
	"bytes"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"

	"kerf/budget"
	"kerf/exporter/emit"
	"kerf/exporter/report"
	"kerf/quant"
	"kerf/targets"
	"kerf/whole"
)

const signoffFile = "signoff.json"

// maxFolderBytes bounds what is read of a whole handoff, which has a few megabytes.
const maxFolderBytes = 64 << 20

// Verification says what was found out about a handoff.
type Verification struct {
	Name     string  `json:"name"`     // of the job
	Kerf     string  `json:"kerf"`     // version that made it
	Verdict  string  `json:"verdict"`  // of its sign-off
	Manifest string  `json:"manifest"` // SHA-256 of manifest.json: stands for the whole handoff
	Verified bool    `json:"verified"` // everything was checked, and nothing was found
	Checks   []Check `json:"checks"`

	manifest *Manifest
	files    map[string][]byte
	emitted  bool     // the C is exactly what kerf emits
	measured bool     // the sign-off has figures that were measured
	expected []string // files that a handoff of this network has
}

// Check is one thing that was looked into.
type Check struct {
	What     string    `json:"what"`
	Detail   string    `json:"detail"`  // how much, or why not
	Skipped  bool      `json:"skipped"` // it was not looked into
	Findings []Finding `json:"findings"`

	spared bool // what is skipped follows from the other checks
}

// Finding is one thing that is not as it should be.
type Finding struct {
	File    string `json:"file"`
	Problem string `json:"problem"`
}

// Add notes a check.
func (v *Verification) Add(c Check) {
	if c.Findings == nil {
		c.Findings = []Finding{}
	}
	v.Checks = append(v.Checks, c)
	v.Verified = !slices.ContainsFunc(v.Checks, func(c Check) bool {
		return len(c.Findings) > 0 || c.Skipped && !c.spared
	})
}

// Found tells whether a check found anything. Without, what is not verified could not be checked.
func (v *Verification) Found() bool {
	return slices.ContainsFunc(v.Checks, func(c Check) bool { return len(c.Findings) > 0 })
}

// Inputs are the input files that the manifest names.
func (v *Verification) Inputs() []report.InputRow { return v.manifest.Inputs }

// ByHand is what was chosen on the command line when the handoff was made.
func (v *Verification) ByHand() []string { return v.manifest.ByHand }

// Measured tells whether the sign-off has figures that were measured when the handoff was made.
func (v *Verification) Measured() bool { return v.measured }

// Emitted tells whether the C and the build files are exactly what this kerf writes for the
// network.
func (v *Verification) Emitted() bool { return v.emitted }

// Readable tells whether the manifest could be read, so that it can be compared with a job.
func (v *Verification) Readable() bool { return v.manifest != nil }

// Verify looks into the handoff in a folder: hashes, what follows from what, and
// the self-test through the integer engine. version is that of this kerf. The
// only error is a [*FolderError]: there is nothing to verify.
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

// readFolder reads every file of a handoff; odd lists what is no file.
func readFolder(dir string) (files map[string][]byte, odd []Finding, err error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		if aside := whole.Aside(dir); aside != "" {
			return nil, nil,
				&FolderError{dir, "the folder was being replaced when kerf was stopped; what " +
					"stood there is in " + aside, "rename it, or make the handoff again: that " +
					"puts it back first"}
		}
		return nil, nil, &FolderError{dir, "the folder cannot be read: " + reasonOf(err).Error(),
			"give a handoff folder, as kerf plan writes it"}
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
			odd = append(odd, Finding{e.Name(), "cannot be read: " + reasonOf(err).Error()})
			continue
		}
		files[e.Name()] = content
		left -= int64(len(content))
	}
	if !slices.ContainsFunc(entries, func(e os.DirEntry) bool {
		return e.Name() == ManifestFile || e.Name() == signoffFile
	}) {
		return nil, nil,
			&FolderError{dir, "the folder holds no handoff: there is neither manifest.json nor " +
				"signoff.json", "give a handoff folder, as kerf plan writes it"}
	}
	return files, odd, nil
}

// checkFiles compares the files with the manifest.
func (v *Verification) checkFiles(odd []Finding) {
	c := Check{What: "files", Findings: odd}
	found := func(file, problem string, values ...any) {
		c.Findings = append(c.Findings, Finding{file, fmt.Sprintf(problem, values...)})
	}
	text := v.files[ManifestFile]
	v.Manifest = sha(text)
	m, whole, err := readManifest(text)
	switch {
	case text == nil:
		found(ManifestFile, "is missing")
	case err != nil:
		found(ManifestFile, "cannot be read: %v", err)
	default:
		v.manifest = m
		v.Name, v.Kerf, v.Verdict = m.Job, m.Kerf, m.Verdict
		if !whole {
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

// checkReports renders the sign-off anew and compares it with the manifest.
func (v *Verification) checkReports(version string) *report.Signoff {
	c := Check{What: "reports", Detail: "Markdown, CSV and HTML follow from signoff.json, the " +
		"manifest agrees"}
	defer func() { v.Add(c) }()
	s, err := report.Read(v.files[signoffFile])
	if err != nil {
		c.Findings = append(c.Findings, Finding{signoffFile, err.Error()})
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
		c.Skipped, c.Detail = true, fmt.Sprintf("made by kerf %s, this is %s", s.Kerf, version)
		return s
	}
	reports, err := Reports(s)
	if err != nil {
		c.Findings = append(c.Findings, Finding{signoffFile, err.Error()})
		return s
	}
	c.Findings = append(c.Findings, v.differing(reports, "does not follow from signoff.json")...)
	return s
}

// differing compares files with what they should be. One that is missing is found here only where
// the manifest does not name it.
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

// foreign finds what the manifest names although kerf writes no such file.
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

// checkNetwork rebuilds the integer network, emits the C from it and runs the
// steps of the self-test.
func (v *Verification) checkNetwork(s *report.Signoff, version string) {
	file := s.Name + emit.NetworkSuffix
	c := Check{What: "network"}
	h, err := v.handoff(s)
	if err != nil {
		c.Findings = []Finding{{file, err.Error()}}
		v.Add(c)
		return
	}
	rows := 0
	for _, m := range h.Net.Matrices() {
		rows += m.Rows
	}
	c.Detail = fmt.Sprintf("the accumulators of %s cannot overflow, formats as in signoff.json",
		report.Plural(rows, "row"))
	if err := sameNetwork(h, s); err != nil {
		c.Findings = []Finding{{signoffFile, err.Error()}}
	}
	v.Add(c)

	c = Check{What: "C", Detail: "header, source, weights, vectors, self-test, board and build " +
		"files follow from " + file + " and signoff.json"}
	if s.Kerf != version {
		c.Skipped, c.Detail = true, fmt.Sprintf("made by kerf %s, this is %s", s.Kerf, version)
	} else if files, err := v.emittedAgain(h, s); err != nil {
		c.Findings = []Finding{{signoffFile, err.Error()}}
	} else {
		c.Findings = v.differing(files, "does not follow from "+file+" and signoff.json")
		v.emitted = len(c.Findings) == 0
		c.Findings = append(c.Findings, v.foreign()...)
	}
	v.Add(c)

	c = Check{What: "self-test in Go", Detail: report.Plural(len(h.Vectors), "step") +
		", every integer"}
	if err := h.Replay(); err != nil {
		c.Findings = []Finding{{file, err.Error()}}
	}
	v.Add(c)
}

// emittedAgain are the C, the build files and the network file, as kerf writes them.
func (v *Verification) emittedAgain(h *emit.Program, s *report.Signoff) (map[string][]byte, error) {
	for _, t := range s.Build {
		if !targets.AreCoreFlags(t.Core) || !targets.AreOptimisationFlags(t.Optimise) {
			return nil, fmt.Errorf("gives target %s compiler options that no profile can have",
				report.Visible(t.Name))
		}
	}
	files, err := h.CFiles()
	if err != nil {
		return nil, err
	}
	maps.Copy(files, emit.BuildFiles(s.Name, s.Build))
	files[s.Name+emit.NetworkSuffix], err = h.NetworkJSON()
	return files, err
}

// handoff is what the C is emitted from, out of the files of the folder.
func (v *Verification) handoff(s *report.Signoff) (*emit.Program, error) {
	text, there := v.files[s.Name+emit.NetworkSuffix]
	if !there {
		return nil, fmt.Errorf("is missing")
	}
	f, err := emit.ReadNetworkFile(text)
	if err != nil {
		return nil, err
	}
	h := &emit.Program{Name: s.Name, Version: s.Kerf, JobHash: s.Inputs[0].SHA256,
		VerdictLine: s.HeadLine(), Fits: s.Verdict == budget.Fits, SettleSteps: s.SettleSteps(),
		Period: f.Period, Description: s.Network.Kept, KeptUnits: s.Kept.Units}
	if h.Net, err = f.Network(); err != nil {
		return nil, err
	}
	h.Vectors, err = f.Vectors()
	return h, err
}

// sameNetwork compares the network with what signoff.json says of it.
func sameNetwork(h *emit.Program, s *report.Signoff) error {
	var names []string
	for _, f := range h.Net.Features {
		names = append(names, f.Name)
	}
	if !slices.Equal(names, s.Kept.Features) {
		return fmt.Errorf("keeps other features than the network has")
	}
	if !slices.EqualFunc(h.Net.Layers, s.Kept.Units, func(l *quant.Layer, kept []int) bool {
		return l.Units == len(kept)
	}) {
		return fmt.Errorf("keeps another number of units than the network has")
	}
	matrices := h.Net.Matrices()
	if len(matrices) != len(s.Formats) {
		return fmt.Errorf("has %d formats for %d matrices", len(s.Formats), len(matrices))
	}
	for i, m := range matrices {
		f := s.Formats[i]
		// An offset that is added behind the sum enters the bound before it is rounded: one more at
		// most.
		bound := m.MaxBound()
		if f.Layer+"."+f.Tensor != m.Name || f.WordBits != m.WordBits ||
			!slices.Equal(f.FractionBits, m.Fraction) || f.Limit != quant.AccumulatorLimit ||
			f.Bound < bound || f.Bound > bound+1 {
			return fmt.Errorf("states other formats or another bound of %s than the network has",
				m.Name)
		}
	}
	return nil
}
