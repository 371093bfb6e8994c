package measure

import (
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// tracer is the program that runs an image on simavr, compiled from board/trace_avr.c.
const tracer = "trace_avr"

// buildTracer compiles the tracer and adds simavr with its version to tools.
func (s *session) buildTracer(tools []Tool) ([]Tool, error) {
	_, err := s.output("compile the tracer of the simulator", "gcc", "-O2", "trace_avr.c", "-o",
		tracer, "-lsimavr")
	var failed *commandError
	if errors.As(err, &failed) && strings.Contains(failed.output, "simavr") {
		return nil, notInstalled("the library of simavr", s.emulatorPackage)
	}
	return append(tools, Tool{"simavr", simulatorVersion()}), err
}

// simulatorVersion returns the version in the description of the installed package, or "unknown".
// The library has no function for it.
func simulatorVersion() string {
	files, err := filepath.Glob("/usr/lib/*/pkgconfig/simavr.pc")
	if err != nil || len(files) == 0 {
		return "unknown"
	}
	text, err := os.ReadFile(files[0])
	if err != nil {
		return "unknown"
	}
	m := regexp.MustCompile(`(?m)^Version: *(\S+)`).FindSubmatch(text)
	if m == nil {
		return "unknown"
	}
	return string(m[1])
}

// runSimulator runs the program on simavr and takes the cycles from simavr's counter. It returns
// the text that the program wrote.
func (s *session) runSimulator(r *Result) (string, error) {
	hex := func(v uint64) string { return strconv.FormatUint(v, 16) }
	image, err := s.flatten()
	if err != nil {
		return "", err
	}
	var entries []string
	for _, name := range s.entries {
		at, err := s.function(name)
		if err != nil {
			return "", err
		}
		entries = append(entries, hex(at.start))
	}
	caller, err := s.function("main")
	if err != nil {
		return "", err
	}
	args := []string{image, strings.Join(entries, ","), hex(caller.start), hex(caller.end)}
	if s.options.Apart != nil {
		functions, err := functionsOf(filepath.Join(s.dir, runImage), s.options.Apart)
		if err != nil {
			return "", err
		}
		for _, name := range slices.Sorted(maps.Keys(functions)) {
			args = append(args, name, hex(functions[name].start), hex(functions[name].end))
		}
	}
	out, err := s.output("run the program to its end", filepath.Join(s.dir, tracer), args...)
	if err != nil {
		return "", err
	}
	return s.readSteps(r, out)
}

// take adds a call.
func (r *Result) take(c call) {
	r.calls = append(r.calls, c)
	r.Cycles = append(r.Cycles, c.Cycles)
	r.Instructions = append(r.Instructions, c.instructions)
}

// readSteps adds the lines "call ENTRY CYCLES INSTRUCTIONS" of the tracer to r, and the lines
// "function NAME CYCLES" behind them, which are about the call. It returns the other lines, which
// the program wrote.
func (s *session) readSteps(r *Result, out string) (string, error) {
	var rest strings.Builder
	for line := range strings.Lines(out) {
		if strings.HasPrefix(line, "function ") {
			var name string
			var cycles float64
			if _, err := fmt.Sscanf(line, "function %s %f", &name, &cycles); err != nil ||
				r.Functions[name] == nil || len(r.calls) == 0 {
				return "", fmt.Errorf("unexpected line of the tracer: %q", line)
			}
			r.Functions[name].Cycles += cycles / float64(s.options.Steps)
			r.calls[len(r.calls)-1].function(name).Cycles = cycles
			continue
		}
		if !strings.HasPrefix(line, "call ") {
			rest.WriteString(line)
			continue
		}
		var c call
		if _, err := fmt.Sscanf(line, "call %d %f %d", &c.entry, &c.Cycles,
			&c.instructions); err != nil {
			return "", fmt.Errorf("unexpected line of the tracer: %q", line)
		}
		r.take(c)
	}
	return rest.String(), nil
}
