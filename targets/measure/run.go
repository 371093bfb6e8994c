package measure

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
)

// measureRun runs steps on the emulated core and sets the stack, cycles and counts of r.
func (s *session) measureRun(r *Result) error {
	frames, err := s.frames(networkObject)
	if err != nil {
		return err
	}
	// The depth of the paint follows from the chain of calls, which is known once the program has
	// been linked.
	if err := s.linkImage(runImage, "main.c", networkObject); err != nil {
		return err
	}
	code, err := s.disassemble()
	if err != nil {
		return err
	}
	calls := newCallGraph(code, frames, len(s.emulator) == 0)
	if r.StackChain, err = calls.deepest(s.name + "_step"); err != nil {
		return err
	}
	for name, f := range r.Functions {
		f.Frame = calls.frame(name)
		if f.Chain, err = calls.deepest(name); err != nil {
			return err
		}
	}
	paint := r.StackChain + paintSlack
	if paint > math.MaxInt16 {
		return unbounded(s.name+"_step",
			fmt.Sprintf("it takes %d bytes, too many to paint", r.StackChain))
	}
	if err := s.writeHeader(s.networkHeader(int(paint))); err != nil {
		return err
	}
	if err := s.linkImage(runImage, "main.c", networkObject); err != nil {
		return err
	}
	reported, err := s.run(r)
	if err != nil {
		return err
	}
	if err := s.checkSteps(r); err != nil {
		return err
	}
	if r.StackPainted, err = painted(reported); err != nil {
		return err
	}
	if r.StackPainted > r.StackChain {
		return unbounded(s.name+"_step", fmt.Sprintf("it changed %d bytes below the stack, "+
			"its chain of calls takes %d", r.StackPainted, r.StackChain))
	}
	return nil
}

// checkSteps returns an error if a run had not all of its steps.
func (s *session) checkSteps(r *Result) error {
	if len(r.Cycles) != s.options.Steps {
		return fmt.Errorf("%d steps ran instead of %d", len(r.Cycles), s.options.Steps)
	}
	return nil
}

// run runs the linked program, adds cycles and instructions to r and returns the text that the
// program wrote.
func (s *session) run(r *Result) (reported string, err error) {
	if len(s.emulator) == 0 {
		r.CyclesFrom = "cycle counter of simavr, ATmega1284P"
		return s.runSimulator(r)
	}
	r.CyclesFrom = fmt.Sprintf("instructions executed by QEMU, each with the cycles of profile %s",
		s.profile.Name)
	return s.runEmulator(r)
}

var reportLine = regexp.MustCompile(`(?m)^([0-9a-f]{4})\r?$`)

// painted reads the bytes of stack that board/main.c reports, in four hexadecimal digits.
func painted(reported string) (int64, error) {
	m := reportLine.FindStringSubmatch(reported)
	if m == nil {
		return 0, fmt.Errorf("the program did not report its stack; it wrote %q", tail(reported))
	}
	return strconv.ParseInt(m[1], 16, 64)
}
