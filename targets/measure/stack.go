package measure

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
)

// frames reads the compiler's account of the stack: lines
// "file:line:column:function<tab>bytes<tab>static".
func (s *session) frames() (map[string]int64, error) {
	text, err := os.ReadFile(filepath.Join(s.dir, strings.TrimSuffix(networkObject, ".o")+".su"))
	if err != nil {
		return nil, err
	}
	return parseFrames(string(text))
}

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
			return nil, &StackError{name, "its frame is " + fields[2]}
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

// withoutClone takes off what the compiler puts behind the name of a copy: ".constprop.0".
func withoutClone(name string) string {
	bare, _, _ := strings.Cut(name, ".")
	return bare
}

// callGraph is what the listing says of each function.
type callGraph struct {
	code   map[string][]*instruction
	frames map[string]int64 // of the network's own functions
	isAVR  bool
}

func newCallGraph(l *listing, frames map[string]int64, isAVR bool) *callGraph {
	g := &callGraph{code: map[string][]*instruction{}, frames: frames, isAVR: isAVR}
	for _, i := range l.order {
		g.code[i.function] = append(g.code[i.function], i)
	}
	return g
}

var (
	// register behind a call: "blx r3", "jalr a5", "icall".
	indirect = regexp.MustCompile(`^(blx [a-z]|jalr |icall|eicall)`)
	lowered  = regexp.MustCompile(`^sp,\s*(?:sp,\s*)?(-|#)(\d+)$`)
)

// deepest is the most stack of a function and what it calls, in bytes. Errors are *StackError.
func (g *callGraph) deepest(name string) (int64, error) {
	return g.below(name, map[string]bool{})
}

func (g *callGraph) below(name string, path map[string]bool) (int64, error) {
	path[name] = true
	defer delete(path, name)
	var most int64
	for _, i := range g.code[name] {
		if indirect.MatchString(i.text()) {
			return 0, &StackError{name, "it calls through a pointer"}
		}
		if g.code[i.target] == nil || isReservation(i) {
			continue
		}
		if path[i.target] {
			switch {
			// within the function, or to and fro between routines in assembler
			case !isCall(i.mnemonic):
			case !g.isCompiled(i.target):
				// Routines in assembler that others jump into call themselves, and do not recurse.
				most = max(most, g.frame(i.target))
			default:
				return 0, &StackError{name, "it calls " + i.target + ", which is on the way to it"}
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

func isCall(mnemonic string) bool {
	switch mnemonic {
	case "bl", "blx", "jal", "call", "rcall":
		return true
	}
	return false
}

// isReservation tells that a call goes to the next instruction, to take the stack of a return
// address.
func isReservation(i *instruction) bool { return i.mnemonic == "rcall" && i.operands == ".+0" }

// isCompiled tells that the compiler gave an account of a function.
func (g *callGraph) isCompiled(name string) bool {
	_, ok := g.frames[withoutClone(name)]
	return ok
}

// frame is the stack of one function: the compiler's figure, or for a library routine what it
// pushes and reserves.
func (g *callGraph) frame(name string) int64 {
	if size, ok := g.frames[withoutClone(name)]; ok {
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

// taken is by how much an instruction of a library routine lowers the stack pointer, in bytes.
func (g *callGraph) taken(i *instruction) int64 {
	mnemonic, _, _ := strings.Cut(i.mnemonic, ".")
	switch {
	case mnemonic == "push" && g.isAVR:
		return 1
	case isReservation(i):
		return 2
	case mnemonic == "sbiw" && strings.HasPrefix(i.operands, "r28"): // frame pointer
		// 0 where it is no number
		n, _ := strconv.ParseInt(strings.TrimSpace(strings.TrimPrefix(i.operands, "r28,")), 0, 64)
		return n
	case mnemonic == "push", mnemonic == "vpush", mnemonic == "stmdb" &&
		strings.HasPrefix(i.operands, "sp!"):
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
