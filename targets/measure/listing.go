package measure

import (
	"bufio"
	"path/filepath"
	"regexp"
	"sort"
	"strconv"
	"strings"
)

// instruction is one line of a disassembly.
type instruction struct {
	address  uint64
	next     uint64 // address of the instruction behind it
	mnemonic string
	operands string // without comments
	function string // function that has the instruction
	target   string // function that a jump or call goes to; empty for other instructions
}

// text returns mnemonic and operands.
func (i *instruction) text() string { return strings.TrimSpace(i.mnemonic + " " + i.operands) }

// listing holds the instructions of a program.
type listing struct {
	order []*instruction          // by rising address
	at    map[uint64]*instruction // by address
}

var (
	functionLine    = regexp.MustCompile(`^[0-9a-f]+ <(.+)>:$`)
	instructionLine = regexp.MustCompile(`^\s*([0-9a-f]+):\t(\S+)\s*(.*)$`)
	// comment begins with ";" or "@", in listings of RISC-V with "#", behind a blank or a tab.
	comment = regexp.MustCompile(`\s+[;@#]\s.*$`)
	// named and avrComment match the function that a jump goes to, which listings of AVR have in
	// the comment.
	named      = regexp.MustCompile(`^[^;@#<]*<([^+>]+)(?:\+0x[0-9a-f]+)?>`)
	avrComment = regexp.MustCompile(`;\s+0x[0-9a-f]+ <([^+>]+)(?:\+0x[0-9a-f]+)?>`)
)

// parseListing reads the output of objdump -d -w --no-show-raw-insn.
func parseListing(text string) *listing {
	l := &listing{at: map[uint64]*instruction{}}
	function := ""
	for lines := bufio.NewScanner(strings.NewReader(text)); lines.Scan(); {
		if m := functionLine.FindStringSubmatch(lines.Text()); m != nil {
			function = m[1]
		} else if m := instructionLine.FindStringSubmatch(lines.Text()); m != nil {
			address, err := strconv.ParseUint(m[1], 16, 64)
			if err != nil {
				continue // the pattern admits more digits than an address has
			}
			i := &instruction{address: address, mnemonic: m[2],
				operands: comment.ReplaceAllString(m[3], ""), function: function}
			for _, pattern := range []*regexp.Regexp{named, avrComment} {
				if to := pattern.FindStringSubmatch(m[3]); to != nil {
					i.target = to[1]
				}
			}
			l.order = append(l.order, i)
			l.at[address] = i
		}
	}
	sort.Slice(l.order, func(a, b int) bool { return l.order[a].address < l.order[b].address })
	for k := 1; k < len(l.order); k++ {
		l.order[k-1].next = l.order[k].address
	}
	return l
}

// disassemble lists the program that runs steps.
func (s *session) disassemble() (*listing, error) {
	out, err := s.output("disassemble "+runImage, s.prefix+"objdump", "-d", "-w",
		"--no-show-raw-insn", filepath.Join(s.dir, runImage))
	if err != nil {
		return nil, err
	}
	return parseListing(out), nil
}
