package exporter

import (
	"fmt"

	"kerf/budget"
	"kerf/quant"
)

// Handoff is the C side of what firmware gets for one network.
type Handoff struct {
	Name        string // the job's name, prefix of every C identifier
	Version     string // of kerf
	JobHash     string // SHA-256 of the job file, hexadecimal
	VerdictLine string // one line for the head of every C file
	Net         *quant.Network
	KeptUnits   []int // index in the trained network of each unit
	Vectors     []VectorStep
}

// CFiles emits the C: file name to content. The only error is a [*NameError].
func (h *Handoff) CFiles() (map[string][]byte, error) {
	if err := CheckNames(h.Name, h.Net.Features, h.Net.Outputs); err != nil {
		return nil, err
	}
	arrays := h.weightArrays()
	id := weightID(arrays)
	header, err := h.header(id)
	if err != nil {
		return nil, err
	}
	source, err := h.template("net.c", map[string]string{"file": h.banner("integer inference, C99")})
	if err != nil {
		return nil, err
	}
	selftest, err := h.template("net_selftest.c", map[string]string{"file": h.banner("self-test")})
	if err != nil {
		return nil, err
	}
	return map[string][]byte{
		h.Name + ".h":          []byte(header),
		h.Name + ".c":          []byte(source),
		h.Name + "_weights.h":  []byte(h.weightsHeader(arrays, id)),
		h.Name + "_vectors.h":  []byte(h.vectorsHeader()),
		h.Name + "_selftest.c": []byte(selftest),
	}, nil
}

// Files makes the whole handoff of a judged candidate: file name to content,
// the manifest included.
func Files(r *budget.Result, version string) (map[string][]byte, error) {
	s := NewSignoff(r, version)
	h := &Handoff{
		Name: s.Name, Version: version, JobHash: s.Inputs[0].SHA256, VerdictLine: s.VerdictLine(),
		Net: r.Chosen.Fixed, KeptUnits: r.Chosen.Candidate.Units, Vectors: Vectors(r.Chosen.Fixed, r.Inputs.Selection),
	}
	files, err := h.CFiles()
	if err != nil {
		return nil, err
	}
	files["signoff.md"] = s.Markdown()
	for name, render := range map[string]func() ([]byte, error){"signoff.json": s.JSON, "signoff.csv": s.CSV, "signoff.html": s.HTML} {
		if files[name], err = render(); err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
	}
	files[ManifestFile], err = newManifest(s, files)
	return files, err
}
