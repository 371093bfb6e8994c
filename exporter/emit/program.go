package emit

import (
	"crypto/sha256"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"kerf/budget/cost"
	"kerf/quant"
)

// Handoff is the C side of what firmware gets for one network.
type Program struct {
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
func (h *Program) CFiles() (map[string][]byte, error) {
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
		cost.ShapeText(h.Net.Shape()))
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

// Replay runs the steps of the self-test through the integer engine. The error names the first
// step that gives other outputs.
func (h *Program) Replay() error {
	state := h.Net.NewState()
	y := make([]int32, len(h.Net.Outputs))
	for i, step := range h.Vectors {
		if step.Reset {
			state.Reset()
		}
		h.Net.Step(state, step.X, y)
		if !slices.Equal(y, step.Y) {
			return fmt.Errorf("step %d gives %v, the self-test expects %v", i, y, step.Y)
		}
	}
	return nil
}
