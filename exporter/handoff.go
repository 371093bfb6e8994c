package exporter

import (
	"crypto/sha256"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"kerf/budget"
	"kerf/quant"
)

// Handoff is the C side of what firmware gets for one network.
type Handoff struct {
	Name        string // the job's name, prefix of every C identifier
	Version     string // of kerf
	JobHash     string // SHA-256 of the job file, hexadecimal
	VerdictLine string // one line for the head of every C file
	Fits        bool   // the sign-off says that the network fits
	// after which the network has forgotten the state that it began with; nil: not known
	SettleSteps *int
	Net         *quant.Network
	Description string  // of the network, one line
	Period      float64 // s between two steps; 0 when the job does not say
	KeptUnits   [][]int // per layer: index in the trained network of each unit
	Vectors     []VectorStep
}

// CFiles emits the C: file name to content. The only error is a [*NameError].
func (h *Handoff) CFiles() (map[string][]byte, error) {
	if err := CheckNames(h.Name, h.Net.Features, h.Net.Outputs); err != nil {
		return nil, err
	}
	rom, err := h.template("rom.h", nil)
	if err != nil {
		return nil, err
	}
	header, err := h.header()
	if err != nil {
		return nil, err
	}
	layers, err := h.layerCode()
	if err != nil {
		return nil, err
	}
	source, err := h.template("net.c", map[string]string{
		"file": h.banner("integer inference, C99"), "rom": rom, "checks": h.sizeChecks(),
		"layers": layers, "step": h.stepCode(),
	})
	if err != nil {
		return nil, err
	}
	selftest, err := h.template("net_selftest.c", map[string]string{"file": h.banner("self-test")})
	if err != nil {
		return nil, err
	}
	network := fmt.Sprintf("#define NET_BOARD_NETWORK \"%s,0x@ID@,%s\"\n", guarded.Replace(h.Name),
		budget.ShapeText(h.Net.Shape()))
	board, err := h.template("net_board.c",
		map[string]string{"file": h.banner("times of steps on a board"), "line": network})
	if err != nil {
		return nil, err
	}
	return withID(map[string]string{
		h.Name + ".h":          header,
		h.Name + ".c":          source,
		h.Name + "_weights.h":  h.weightsHeader(),
		h.Name + "_vectors.h":  h.vectorsHeader(rom),
		h.Name + "_selftest.c": selftest,
		h.Name + "_board.c":    board,
	}), nil
}

// withID puts a number made from all files into each of them: files of
// different exports, or of one export and an object of another, are noticed.
func withID(files map[string]string) map[string][]byte {
	hash := sha256.New()
	for _, name := range slices.Sorted(maps.Keys(files)) {
		io.WriteString(hash, files[name]) // a hash takes everything
	}
	id := fmt.Sprintf("%X", hash.Sum(nil)[:4])
	done := make(map[string][]byte, len(files))
	for name, text := range files {
		done[name] = []byte(strings.ReplaceAll(text, "@ID@", id))
	}
	return done
}

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
