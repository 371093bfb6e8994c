package measure

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
)

// frames reads the compiler's account of the stack: the frame of every function of the network, in
// bytes.
func (s *session) frames(object string) (map[string]int64, error) {
	text, err := os.ReadFile(filepath.Join(s.dir, strings.TrimSuffix(object, ".o")+".su"))
	if err != nil {
		return nil, err
	}
	return parseFrames(string(text))
}

// parseFrames reads lines "file:line:column:function<tab>bytes<tab>static". A frame that is not
// static has no bound, which is an error.
func parseFrames(text string) (map[string]int64, error) {
	sizes := map[string]int64{}
	for line := range strings.Lines(text) {
		fields := strings.Split(strings.TrimSpace(line), "\t")
		if len(fields) != 3 {
			return nil, fmt.Errorf("unexpected line in the compiler's account of the stack: %q",
				line)
		}
		name := fields[0][strings.LastIndex(fields[0], ":")+1:]
		if fields[2] != "static" {
			return nil, unbounded(name, "its frame is "+fields[2])
		}
		size, err := strconv.ParseInt(fields[1], 10, 64)
		if err != nil {
			return nil, fmt.Errorf("unexpected line in the compiler's account of the stack: %q",
				line)
		}
		name = withoutClone(name)
		sizes[name] = max(sizes[name], size)
	}
	return sizes, nil
}

// withoutClone returns the name of a function without the suffix of a copy that the compiler made,
// such as ".constprop.0".
func withoutClone(name string) string {
	bare, _, _ := strings.Cut(name, ".")
	return bare
}

// callGraph holds the code and the frames of the functions of a program.
type callGraph struct {
	code   map[string][]*instruction // by function
	frames map[string]int64          // of the network's own functions, in bytes
	isAVR  bool
}

// newCallGraph sorts the instructions of a listing by function.
func newCallGraph(l *listing, frames map[string]int64, isAVR bool) *callGraph {
	g := &callGraph{code: map[string][]*instruction{}, frames: frames, isAVR: isAVR}
	for _, i := range l.order {
		g.code[i.function] = append(g.code[i.function], i)
	}
	return g
}

var (
	// indirect matches a call through a register: "blx r3", "jalr a5", "icall".
	indirect = regexp.MustCompile(`^(blx [a-z]|jalr |icall|eicall)`)
	// lowered matches the operands of an instruction that lowers the stack pointer by a constant.
	lowered = regexp.MustCompile(`^sp,\s*(?:sp,\s*)?(-|#)(\d+)$`)
)

// deepest returns the stack of the deepest chain of calls that begins with a function, in bytes.
// A chain without bound is an error.
func (g *callGraph) deepest(name string) (int64, error) {
	return g.below(name, map[string]bool{})
}

// below does the work of deepest; path holds the functions on the way to this one.
func (g *callGraph) below(name string, path map[string]bool) (int64, error) {
	path[name] = true
	defer delete(path, name)
	var most int64
	for _, i := range g.code[name] {
		if indirect.MatchString(i.text()) {
			return 0, unbounded(name, "it calls through a pointer")
		}
		if g.code[i.target] == nil || isReservation(i) {
			continue
		}
		if path[i.target] {
			switch {
			case !isCall(i.mnemonic):
				// A jump within the function, or to and fro between routines in assembler.
			case !g.isCompiled(i.target):
				// Routines in assembler that others jump into call themselves, and do not recurse.
				most = max(most, g.frame(i.target))
			default:
				return 0, unbounded(name, "it calls "+i.target+", which is on the way to it")
			}
			continue
		}
		size, err := g.below(i.target, path)
		if err != nil {
			return 0, err
		}
		most = max(most, size)
	}
	return g.frame(name) + most, nil
}

// isCall reports whether an instruction calls a function directly.
func isCall(mnemonic string) bool {
	switch mnemonic {
	case "bl", "blx", "jal", "call", "rcall":
		return true
	}
	return false
}

// isReservation reports whether a call goes to the next instruction: it does no more than take the
// stack of a return address.
func isReservation(i *instruction) bool { return i.mnemonic == "rcall" && i.operands == ".+0" }

// isCompiled reports whether the compiler's account of the stack has a function.
func (g *callGraph) isCompiled(name string) bool {
	_, ok := g.frames[withoutClone(name)]
	return ok
}

// frame returns the stack of one function without its calls, in bytes: the compiler's figure, or
// for a routine in assembler the bytes that it pushes and reserves. Of a function that consists of
// assembler the compiler says 0, or nothing.
func (g *callGraph) frame(name string) int64 {
	if size := g.frames[withoutClone(name)]; size > 0 {
		return size
	}
	var size int64
	if g.isAVR {
		size = 2 // return address
	}
	for _, i := range g.code[name] {
		size += g.taken(i)
	}
	return size
}

// taken returns the bytes by which an instruction of a library routine lowers the stack pointer.
func (g *callGraph) taken(i *instruction) int64 {
	mnemonic, _, _ := strings.Cut(i.mnemonic, ".")
	switch {
	case mnemonic == "push" && g.isAVR:
		return 1
	case isReservation(i):
		return 2
	case mnemonic == "sbiw" && strings.HasPrefix(i.operands, "r28"): // frame pointer
		// ParseInt returns 0 where the operand is no number.
		n, _ := strconv.ParseInt(strings.TrimSpace(strings.TrimPrefix(i.operands, "r28,")), 0, 64)
		return n
	case mnemonic == "push", mnemonic == "vpush",
		mnemonic == "stmdb" && strings.HasPrefix(i.operands, "sp!"):
		return 4 * int64(listedWords(i.operands))
	case strings.HasPrefix(mnemonic, "sub"), strings.HasPrefix(mnemonic, "add"):
		m := lowered.FindStringSubmatch(i.operands)
		if m == nil || strings.HasPrefix(mnemonic, "add") != (m[1] == "-") {
			return 0
		}
		n, _ := strconv.ParseInt(m[2], 10, 64) // digits, by the pattern
		return n
	}
	return 0
}
