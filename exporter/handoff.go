package exporter

import (
	"fmt"
	"maps"

	"kerf/budget"
)

// Files makes the whole handoff of a judged candidate: file name to content,
// the manifest included.
func Files(r *budget.Result, version string) (map[string][]byte, error) {
	s := NewSignoff(r, version)
	s.Pictures = NewPictures(r)
	h := &Handoff{
		Name: s.Name, Version: version, JobHash: s.Inputs[0].SHA256, VerdictLine: s.headLine(),
		Fits: s.Verdict == budget.Fits, SettleSteps: s.settleSteps(),
		Net: r.Chosen.Fixed, Period: r.Inputs.Period(), Description: r.Chosen.CutNet.Net.String(),
		KeptUnits: r.Chosen.Candidate.Units, Vectors: Vectors(r.Chosen.Fixed, r.Inputs.Selection),
	}
	files, err := h.CFiles()
	if err != nil {
		return nil, err
	}
	maps.Copy(files, buildFiles(s.Name, s.Build))
	if files[s.Name+networkSuffix], err = h.networkFile(); err != nil {
		return nil, err
	}
	reports, err := s.reports()
	if err != nil {
		return nil, err
	}
	maps.Copy(files, reports)
	files[ManifestFile], err = newManifest(s, r.ByHand, ownTables(r), files)
	return files, err
}

// reports are the renderings of the sign-off: file name to content.
func (s *Signoff) reports() (map[string][]byte, error) {
	files := map[string][]byte{"signoff.md": s.Markdown()}
	for name, render := range map[string]func() ([]byte, error){signoffFile: s.JSON,
		"signoff.csv": s.CSV, "signoff.html": s.HTML} {
		content, err := render()
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		files[name] = content
	}
	return files, nil
}
