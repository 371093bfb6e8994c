package emit

import (
	"crypto/sha256"
	"fmt"
	"io"
	"maps"
	"regexp"
	"slices"
	"strings"

	"kerf/budget/cost"
	"kerf/quant"
)

// Program is a network with all that its C files say. [Program.CFiles] emits them.
type Program struct {
	Name         string // the job's name, prefix of every C identifier
	Version      string // of kerf
	ModelVersion string // as the job has it; empty: it has none
	JobHash      string // SHA-256 of the job file, hexadecimal
	VerdictLine  string // one line for the head of every C file
	Fits         bool   // the sign-off says that the network fits
	SettleSteps  *int   // after which the network has forgotten its first state; nil: not known
	Net          *quant.Network
	Description  string       // of the network, one line
	Period       float64      // s between two steps; 0: the job does not say
	KeptUnits    [][]int      // per layer: index in the trained network of each unit
	Ranges       []Range      // of the features in recordings; nil: not known
	Vectors      []VectorStep // the steps of the self-test
	Front        *FrontEnd    // computes features from samples; nil: firmware does it

	FrontVectors FrontVectors // the self-test of Front
}

// CFiles returns the C files by name. The error is about a name that C cannot
// carry.
func (p *Program) CFiles() (map[string][]byte, error) {
	if err := CheckNames(p.Name, p.Net.Features, p.Net.Outputs, p.channelNames()); err != nil {
		return nil, err
	}
	rom, err := p.part("rom.h")
	if err != nil {
		return nil, err
	}
	header, err := p.header()
	if err != nil {
		return nil, err
	}
	format, err := p.formatHash()
	if err != nil {
		return nil, err
	}
	layers, err := p.layerCode()
	if err != nil {
		return nil, err
	}
	check, err := p.checkCode()
	if err != nil {
		return nil, err
	}
	lie, err := p.part("rows.c")
	if err != nil {
		return nil, err
	}
	marks, err := p.encodeMarks(map[string]string{
		"file": p.banner("integer inference, C99"), "rom": rom, "lie": lie,
		"checks": p.sizeChecks(),
		"layers": layers, "step": p.stepCode(), "scales": p.valueScales(), "check": check,
	})
	if err != nil {
		return nil, err
	}
	source, err := p.template("net.c", marks)
	if err != nil {
		return nil, err
	}
	selftest, err := p.template("net_selftest.c", map[string]string{"file": p.banner("self-test")})
	if err != nil {
		return nil, err
	}
	network := fmt.Sprintf("#define NET_BOARD_NETWORK \"%s,0x@ID@,%s\"\n", guarded.Replace(p.Name),
		cost.ShapeText(p.Net.Shape()))
	board, err := p.template("net_board.c",
		map[string]string{"file": p.banner("times of steps on a board"), "line": network})
	if err != nil {
		return nil, err
	}
	boardHeader, err := p.template("net_board.h",
		map[string]string{"file": p.banner("times of steps on a board, for kerf targets fit")})
	if err != nil {
		return nil, err
	}
	vectorsROM, err := p.part("vectors_rom.h")
	if err != nil {
		return nil, err
	}
	files := map[string]string{
		p.Name + ".h":          header,
		p.Name + ".c":          p.inSection(source),
		p.Name + "_weights.h":  p.weightsHeader(format),
		p.Name + "_vectors.h":  p.vectorsHeader(vectorsROM),
		p.Name + "_selftest.c": selftest,
		p.Name + "_board.c":    board,
		p.Name + "_board.h":    boardHeader,
	}
	if front := p.newFront(); front != nil {
		text, err := front.source(rom)
		if err != nil {
			return nil, err
		}
		files[p.Name+"_front.c"] = p.inSection(text)
	}
	return withID(files, format, valuesCRC(p.Net)), nil
}

// functionHead matches the head of a function definition, which begins a line.
var functionHead = regexp.MustCompile(`(?m)^(\w[\w \t*]*\([^(){};]*\)\n\{)`)

// inSection puts the macro for a section of code in front of every function of a C file.
func (p *Program) inSection(text string) string {
	return functionHead.ReplaceAllString(text, strings.ToUpper(p.Name)+"_TEXT ${1}")
}

// withID puts the number of the export, a hash of all files, in place of @ID@ in each of them. The
// compiler and the linker notice by it when files of two exports are mixed. In place of @SEAL@ it
// puts the number that ties the id to the format hash and the CRC of the values.
func withID(files map[string]string, format, values uint32) map[string][]byte {
	hash := sha256.New()
	for _, name := range slices.Sorted(maps.Keys(files)) {
		io.WriteString(hash, files[name]) // a hash takes everything
	}
	id := fmt.Sprintf("%X", hash.Sum(nil)[:4])
	done := make(map[string][]byte, len(files))
	numbers := strings.NewReplacer("@ID@", id, "@SEAL@",
		fmt.Sprintf("%08X", seal(id, format, values)))
	for name, text := range files {
		done[name] = []byte(numbers.Replace(text))
	}
	return done
}

// Replay runs the steps of the self-test through the integer network. The error names the first
// step that gives other outputs than the self-test expects.
func (p *Program) Replay() error {
	if err := p.replayWindows(); err != nil {
		return err
	}
	state := p.Net.NewState()
	y := make([]int32, len(p.Net.Outputs))
	for i, step := range p.Vectors {
		if step.Reset {
			state.Reset()
		}
		p.Net.Step(state, step.X, y)
		if !slices.Equal(y, step.Y) {
			return fmt.Errorf("step %d gives %v, the self-test expects %v", i, y, step.Y)
		}
	}
	return nil
}
