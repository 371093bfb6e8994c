package exporter

import (
	"kerf/quant"
)

// Handoff is what firmware gets for one network.
type Handoff struct {
	Name        string // the job's name, prefix of every C identifier
	Version     string // of kerf
	JobHash     string // SHA-256 of the job file, hexadecimal
	VerdictLine string // one line for the head of every C file
	Net         *quant.Network
	KeptUnits   []int // index in the trained network of each unit
	Vectors     []VectorStep
}

// CFiles emits the C: file name to content.
func (h *Handoff) CFiles() (map[string][]byte, error) {
	if err := CheckPrefix(h.Name); err != nil {
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
