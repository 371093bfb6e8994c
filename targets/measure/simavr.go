package measure

import (
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
)

const tracer = "trace_avr"

// buildTracer compiles the program that runs the simulator and adds the versions to tools.
func (s *session) buildTracer(tools []Tool) ([]Tool, error) {
	if _, err := os.Stat("/usr/include/simavr/sim_avr.h"); err != nil {
		return nil, &ToolError{"libsimavr", s.emulatorPackage}
	}
	if _, err := s.output("compile the tracer of the simulator", "gcc", "-O2", "trace_avr.c", "-o", tracer, "-lsimavr"); err != nil {
		return nil, err
	}
	version, err := s.output("tell the version of simavr", "pkg-config", "--modversion", "simavr")
	if err != nil {
		version = "of unknown version"
	}
	return append(tools, Tool{"simavr", strings.TrimSpace(version)}), nil
}

// runSimulator runs the program on simavr and takes its cycle counter. It returns what the program wrote.
func (s *session) runSimulator(r *Result) (string, error) {
	image, err := s.flatten()
	if err != nil {
		return "", err
	}
	step, err := s.function(s.name + "_step")
	if err != nil {
		return "", err
	}
	caller, err := s.function("main")
	if err != nil {
		return "", err
	}
	hex := func(v uint64) string { return strconv.FormatUint(v, 16) }
	out, err := s.output("run the program to its end", filepath.Join(s.dir, tracer), image, hex(step.start), hex(caller.start), hex(caller.end))
	if err != nil {
		return "", err
	}
	return s.readSteps(r, out)
}

// readSteps takes the lines "step CYCLES INSTRUCTIONS" out of what the tracer wrote.
func (s *session) readSteps(r *Result, out string) (string, error) {
	var rest strings.Builder
	for line := range strings.Lines(out) {
		if !strings.HasPrefix(line, "step ") {
			rest.WriteString(line)
			continue
		}
		var cycles float64
		var instructions int64
		if _, err := fmt.Sscanf(line, "step %f %d", &cycles, &instructions); err != nil {
			return "", fmt.Errorf("unexpected line of the tracer: %q", line)
		}
		r.Cycles = append(r.Cycles, cycles)
		r.Instructions = append(r.Instructions, instructions)
	}
	return rest.String(), nil
}
