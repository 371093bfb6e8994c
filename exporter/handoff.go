package exporter

import (
	"fmt"
	"maps"

	"kerf/budget"
	"kerf/exporter/emit"
	"kerf/exporter/report"
	"kerf/exporter/report/page"
)

// Files makes the whole handoff of a judged candidate: file name to content,
// the manifest included.
func Files(r *budget.Result, version string) (map[string][]byte, error) {
	s := report.NewSignoff(r, version)
	s.Pictures = report.NewPictures(r)
	h := &emit.Program{
		Name: s.Name, Version: version, JobHash: s.Inputs[0].SHA256, VerdictLine: s.HeadLine(),
		Fits: s.Verdict == budget.Fits, SettleSteps: s.SettleSteps(),
		Net: r.Chosen.Fixed, Period: r.Inputs.Period(), Description: r.Chosen.CutNet.Net.String(),
		KeptUnits: r.Chosen.Candidate.Units,
		Vectors:   emit.Vectors(r.Chosen.Fixed, r.Inputs.Selection),
	}
	files, err := h.CFiles()
	if err != nil {
		return nil, err
	}
	maps.Copy(files, emit.BuildFiles(s.Name, s.Build))
	if files[s.Name+emit.NetworkSuffix], err = h.NetworkJSON(); err != nil {
		return nil, err
	}
	reports, err := Reports(s)
	if err != nil {
		return nil, err
	}
	maps.Copy(files, reports)
	files[ManifestFile], err = newManifest(s, r.ByHand, ownTables(r), files)
	return files, err
}

// Reports renders a sign-off: file name to content.
func Reports(s *report.Signoff) (map[string][]byte, error) {
	html := func() ([]byte, error) { return page.HTML(s) }
	files := map[string][]byte{"signoff.md": s.Markdown()}
	for name, render := range map[string]func() ([]byte, error){signoffFile: s.JSON,
		"signoff.csv": s.CSV, "signoff.html": html} {
		content, err := render()
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		files[name] = content
	}
	return files, nil
}
