package measure

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"

	"kerf/fault"
	"kerf/targets"
)

// DefaultSteps is the default of Options.Steps.
const DefaultSteps = 16

// limit ends a measurement that hangs. Our choice: software floating point on the slowest core
// takes half a minute.
const limit = 10 * time.Minute

// Options say how a network is compiled and run. The zero value takes the defaults.
type Options struct {
	Optimise string   // GCC optimisation flags such as "-O2"; empty: those of the profile
	Flags    []string // further flags for the compiler, behind those of the profile
	Steps    int      // number of steps to run; 0: DefaultSteps
	// Apart matches the names of functions that are counted by themselves, see Function. The
	// compiler has to keep them apart. Nil counts the step as a whole only.
	Apart *regexp.Regexp
	// Float says that the step takes and gives float values, not the integers of a handoff: for
	// comparison with a float implementation of the same interface.
	Float bool
	// Search tries many more inputs for the longest step, see Result.Longest. Not with Float.
	Search bool
	// Front measures the front end of the handoff as well; nil: there is none.
	Front *Front
	// Progress is called after each program that was measured, with how many these are and how many
	// there are at most; at the end with all of them. It may be nil.
	Progress func(done, all int)
}

// Tool is a program that took part in a measurement, with its version.
type Tool struct {
	Name    string `json:"name"`
	Version string `json:"version"`
}

// Result holds the figures of one network on one core.
type Result struct {
	Flash     int64 // bytes that the network adds to a program, library routines included
	Constants int64 // bytes of Flash that are weights and tables of the network's own file
	RAM       int64 // static bytes, one state included
	// StackChain is the stack of the deepest chain of calls from the step; StackPainted is the
	// depth to which the deepest step changed the painted stack. Both are in bytes.
	StackChain, StackPainted int64
	Cycles                   []float64    // by step
	Longest                  *LongestStep // nil without Options.Search
	Instructions             []int64      // executed, by step
	// Counts are the instructions of a step by class of the profile, the mean over the steps; nil
	// where a simulator counted the cycles.
	Counts     map[string]float64
	Functions  map[string]*Function // functions that Options.Apart matches, by name
	CyclesFrom string               // the source of the cycles, for reports
	Tools      []Tool
	Front      *FrontResult `json:",omitempty"` // nil without Options.Front

	calls []call // of session.entries, in their order
}

// call is a call of a function that is counted.
type call struct {
	CallResult
	entry        int // of session.entries
	instructions int64
	functions    map[string]*CallResult // of Options.Apart, without those that they call
}

// function returns what a function takes in the call.
func (c *call) function(name string) *CallResult {
	if c.functions == nil {
		c.functions = map[string]*CallResult{}
	}
	if c.functions[name] == nil {
		c.functions[name] = &CallResult{}
	}
	return c.functions[name]
}

// Function holds the figures of one function. Cycles and Counts are those of one step, the mean
// over the steps. They include the functions that it calls, except those that Options.Apart
// matches.
type Function struct {
	Code   int64 // bytes of its own code, without that of functions that it calls
	Frame  int64 // bytes of stack of its own
	Chain  int64 // bytes of stack of the deepest chain of calls from it
	Cycles float64
	Counts map[string]float64 // as Result.Counts
}

// Code returns the bytes of flash without the constants of the network's own file.
func (r *Result) Code() int64 { return r.Flash - r.Constants }

// MinCycles returns the cycles of the shortest step on drawn inputs.
func (r *Result) MinCycles() float64 { return slices.Min(r.Cycles) }

// MaxCycles returns the cycles of the longest step on drawn inputs.
func (r *Result) MaxCycles() float64 { return slices.Max(r.Cycles) }

// IsConstantTime reports whether every step on drawn inputs took the same cycles.
func (r *Result) IsConstantTime() bool { return r.MinCycles() == r.MaxCycles() }

// MeanCycles returns the mean cycles of the steps on drawn inputs.
func (r *Result) MeanCycles() float64 {
	sum := 0.0
	for _, c := range r.Cycles {
		sum += c
	}
	return sum / float64(len(r.Cycles))
}

// Network compiles dir/name.c for the core of a profile and measures it. The C has the interface of
// a handoff: name.h with name_state, name_reset, name_step and the macros NAME_N_FEATURES and
// NAME_N_OUTPUTS.
//
// It is an error if a tool is not installed or fails, if an executed instruction has no cost, and
// if the stack has no bound; the hint says what to do. When ctx ends, so do the tools.
func Network(ctx context.Context, p *targets.Profile, dir, name string,
	o Options) (*Result, error) {
	return inScratch(ctx, p, dir, name, o, func(s *session, r *Result) error {
		if err := s.measureRun(r); err != nil {
			return err
		}
		s.measured()
		if o.Search {
			if err := s.searchLongest(r); err != nil {
				return err
			}
		}
		if o.Front == nil {
			return nil
		}
		var err error
		r.Front, err = s.measureFront()
		return err
	})
}

// FrontEnd is [Network] for what Options.Front is about alone: of the network it has the sizes.
func FrontEnd(ctx context.Context, p *targets.Profile, dir, name string,
	o Options) (*Result, error) {
	return inScratch(ctx, p, dir, name, o, func(s *session, r *Result) (err error) {
		r.Front, err = s.measureFront()
		return err
	})
}

// inScratch compiles a network, compares its sizes, and measures it further in a scratch folder.
func inScratch(ctx context.Context, p *targets.Profile, dir, name string, o Options,
	further func(*session, *Result) error) (*Result, error) {
	if o.Optimise == "" {
		o.Optimise = p.Optimise
	}
	if o.Steps == 0 {
		o.Steps = DefaultSteps
	}
	if err := checkOptions(o.Optimise); err != nil {
		return nil, err
	}
	tools, ok := toolchains[p.ISA]
	if !ok {
		return nil, noCompiler(p)
	}
	source, err := filepath.Abs(dir)
	if err != nil {
		return nil, err
	}
	scratch, err := os.MkdirTemp("", "kerf-measure-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(scratch)
	ctx, cancel := context.WithTimeout(ctx, limit)
	defer cancel()
	s := &session{ctx: ctx, profile: p, toolchain: tools, options: o, name: name, dir: scratch,
		source: source, entries: []string{name + "_step"}}
	r := &Result{}
	if err := s.unpack(); err != nil {
		return nil, err
	}
	if r.Tools, err = s.require(); err != nil {
		return nil, err
	}
	if err := s.measureSizes(r); err != nil {
		return nil, err
	}
	s.measured()
	err = further(s, r)
	s.programs = s.allPrograms() - 1
	s.measured()
	return r, err
}

// allPrograms returns how many programs are measured at most: of the sizes, of the drawn inputs,
// and those of the search.
func (s *session) allPrograms() int {
	if s.options.Search {
		return 2 + attackGenerations
	}
	return 2
}

// measured notes that one more program was measured.
func (s *session) measured() {
	if s.programs++; s.options.Progress != nil {
		s.options.Progress(s.programs, s.allPrograms())
	}
}

// Require checks that the compiler, the library and the emulator for a profile are installed, and
// returns the compiler. The hint of the error names the Debian package of one that is not.
func Require(ctx context.Context, p *targets.Profile) (compiler Tool, err error) {
	if err := checkOptions(p.Optimise); err != nil {
		return Tool{}, err
	}
	tools, ok := toolchains[p.ISA]
	if !ok {
		return Tool{}, noCompiler(p)
	}
	scratch, err := os.MkdirTemp("", "kerf-measure-")
	if err != nil {
		return Tool{}, err
	}
	defer os.RemoveAll(scratch)
	s := &session{ctx: ctx, profile: p, toolchain: tools, dir: scratch}
	if err := s.unpack(); err != nil {
		return Tool{}, err
	}
	all, err := s.require()
	if err != nil {
		return Tool{}, err
	}
	return all[0], nil
}

// checkOptions refuses options with which the network has no code of its own to be measured.
func checkOptions(optimise string) error {
	if slices.ContainsFunc(strings.Fields(optimise), func(option string) bool {
		return strings.HasPrefix(option, "-flto")
	}) {
		return fault.New("with -flto code is made when firmware is linked, so that of the network "+
			"cannot be measured by itself", "measure without -flto, or on the board")
	}
	return nil
}

// noCompiler returns the error of a profile whose instruction set has no toolchain.
func noCompiler(p *targets.Profile) error {
	return fmt.Errorf("no compiler is known for the instruction set %s of profile %s", p.ISA,
		p.Name)
}

// measureSizes compares a program with the network and one without, and sets Flash, RAM, Constants
// and the code of Functions.
func (s *session) measureSizes(r *Result) error {
	if err := s.compileNetwork(); err != nil {
		return err
	}
	if err := s.linkImage(emptyImage, "empty.c"); err != nil {
		return err
	}
	if err := s.linkImage(staticImage, "empty.c", "state.c", networkObject); err != nil {
		return err
	}
	without, err := imageSizes(filepath.Join(s.dir, emptyImage))
	if err != nil {
		return err
	}
	with, err := imageSizes(filepath.Join(s.dir, staticImage))
	if err != nil {
		return err
	}
	r.Flash, r.RAM = with.flash-without.flash, with.ram-without.ram
	if r.Constants, err = constantBytes(filepath.Join(s.dir, networkObject)); err != nil ||
		s.options.Apart == nil {
		return err
	}
	functions, err := functionsOf(filepath.Join(s.dir, staticImage), s.options.Apart)
	if err != nil {
		return err
	}
	r.Functions = map[string]*Function{}
	for name, at := range functions {
		r.Functions[name] = &Function{Code: int64(at.end - at.start)}
	}
	return nil
}
