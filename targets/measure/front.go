package measure

import (
	"fmt"
	"maps"
	"path/filepath"
	"slices"
	"strings"
)

// Front says how to run the front end of a handoff, NAME_front.c: name_front_reset, name_sample and
// name_features of NAME.h.
type Front struct {
	Bits    []int // of the converter of every channel, 1 to 16
	Samples int   // of a window
}

// FrontResult holds the figures of a front end on one core. Cycles are of calls of name_sample and
// name_features, and so are counts, which are as those of [Result].
type FrontResult struct {
	Flash       int64 // bytes that it adds to a program with the network
	Constants   int64 // bytes of Flash that are constants of its own file
	RAM         int64 // static bytes, one name_front included
	SampleChain int64 // bytes of stack of the deepest chain of calls from name_sample
	// bytes of stack of the deepest chain of calls from name_features
	FeaturesChain int64

	Sampling CallResult // all calls of a window, the mean of windows of waves with noise
	Last     CallResult // the longest of the last calls of a window
	Longest  CallResult // the longest call of name_sample
	Features CallResult // the longest call of name_features
	Mean     CallResult // the mean call of name_features, of windows of waves with noise
	Windows  int        // that were run

	// Of functions that Options.Apart matches: Code, and what they take in Features, as of
	// Function.
	Functions map[string]*Function `json:",omitempty"`
}

// CallResult is what a call takes, or several.
type CallResult struct {
	Cycles float64
	Counts map[string]float64 `json:",omitempty"` // nil where a simulator counted the cycles
}

// add counts what an instruction takes.
func (c *CallResult) add(cycles float64, spent []spend) {
	c.Cycles += cycles
	if c.Counts == nil {
		c.Counts = map[string]float64{}
	}
	for _, s := range spent {
		c.Counts[s.class] += s.n
	}
}

const (
	frontObject = "front.o"
	frontImage  = "front.elf" // the program without calls, with the front end
	// typicalWindows and drawnWindows are the windows of one program: of waves with noise, and of
	// all shapes. Our choice.
	typicalWindows = 4
	drawnWindows   = 8
	// frontPrograms is how many programs look for long calls, each with signals of its own. Our
	// choice.
	frontPrograms = 8
	// mostSamples bounds the samples of a program: the emulator logs some kilobytes for each. Our
	// choice.
	mostSamples = 4096
)

// frontHeader returns what board/front.c knows of a front end.
func (s *session) frontHeader(windows, seed int) string {
	if s.options.Front == nil {
		return ""
	}
	bits := strings.Trim(strings.ReplaceAll(fmt.Sprint(s.options.Front.Bits), " ", ", "), "[]")
	return fmt.Sprintf(`typedef %[1]s_front network_front;
#define network_front_reset %[1]s_front_reset
#define network_sample %[1]s_sample
#define network_features %[1]s_features
#define NETWORK_CHANNELS %[2]d
#define NETWORK_BITS {%[3]s}
#define NETWORK_WINDOW %[4]dU
#define NETWORK_TYPICAL %[5]d
#define NETWORK_WINDOWS %[6]dU
#define NETWORK_SEED UINT32_C(%[7]d)
`, s.name, len(s.options.Front.Bits), bits, s.options.Front.Samples, typicalWindows, windows, seed)
}

// measureFrontSizes compares a program with the front end and one without, and sets the sizes of f.
func (s *session) measureFrontSizes(f *FrontResult) error {
	if err := s.writeHeader(s.networkHeader(0) + s.frontHeader(0, 0)); err != nil {
		return err
	}
	args := append(strings.Fields(s.options.Optimise), "-fstack-usage", "-c",
		filepath.Join(s.source, s.name+"_front.c"), "-o", frontObject)
	if err := s.gcc("compile "+s.name+"_front.c", args...); err != nil {
		return err
	}
	if err := s.linkImage(frontImage, "empty.c", "state.c", "front_state.c", networkObject,
		frontObject); err != nil {
		return err
	}
	without, err := imageSizes(filepath.Join(s.dir, staticImage))
	if err != nil {
		return err
	}
	with, err := imageSizes(filepath.Join(s.dir, frontImage))
	if err != nil {
		return err
	}
	f.Flash, f.RAM = with.flash-without.flash, with.ram-without.ram
	if f.Constants, err = constantBytes(filepath.Join(s.dir, frontObject)); err != nil ||
		s.options.Apart == nil {
		return err
	}
	functions, err := functionsOf(filepath.Join(s.dir, frontImage), s.options.Apart)
	if err != nil {
		return err
	}
	f.Functions = map[string]*Function{}
	for name, at := range functions {
		f.Functions[name] = &Function{Code: int64(at.end - at.start)}
	}
	return nil
}

// measureFront measures the front end: bytes, stack, and the cycles of calls.
func (s *session) measureFront() (*FrontResult, error) {
	f := &FrontResult{}
	if err := s.measureFrontSizes(f); err != nil {
		return nil, err
	}
	frames, err := s.frames(frontObject)
	if err != nil {
		return nil, err
	}
	windows := typicalWindows + drawnWindows
	if most := mostSamples / s.options.Front.Samples; windows > most {
		windows = max(most, typicalWindows+2)
	}
	programs := 1
	if s.options.Search {
		programs = frontPrograms
	}
	var sampling, features []call // all of windows of waves with noise
	for seed := range programs {
		if err := s.writeHeader(s.networkHeader(0) + s.frontHeader(windows, seed)); err != nil {
			return nil, err
		}
		if err := s.linkImage(runImage, "front.c", networkObject, frontObject); err != nil {
			return nil, err
		}
		if seed == 0 {
			code, err := s.disassemble()
			if err != nil {
				return nil, err
			}
			calls := newCallGraph(code, frames, len(s.emulator) == 0)
			if f.SampleChain, err = calls.deepest(s.name + "_sample"); err != nil {
				return nil, err
			}
			if f.FeaturesChain, err = calls.deepest(s.name + "_features"); err != nil {
				return nil, err
			}
		}
		samples, filled, err := s.runFront(windows)
		if err != nil {
			return nil, err
		}
		n := s.options.Front.Samples
		sampling = append(sampling, samples[:typicalWindows*n]...)
		features = append(features, filled[:typicalWindows]...)
		for i, c := range samples {
			f.Longest = f.Longest.longer(c.CallResult)
			if i%n == n-1 {
				f.Last = f.Last.longer(c.CallResult)
			}
		}
		for _, c := range filled {
			if c.Cycles <= f.Features.Cycles {
				continue
			}
			f.Features = c.CallResult
			for name, function := range f.Functions {
				took := c.function(name)
				function.Cycles, function.Counts = took.Cycles, took.Counts
			}
		}
		f.Windows += windows
	}
	f.Sampling = meanOf(sampling, len(sampling)/s.options.Front.Samples)
	f.Mean = meanOf(features, len(features))
	return f, nil
}

// longer returns the longer of two calls.
func (c CallResult) longer(d CallResult) CallResult {
	if d.Cycles > c.Cycles {
		return d
	}
	return c
}

// meanOf adds up calls and divides by n.
func meanOf(calls []call, n int) CallResult {
	var sum CallResult
	for _, c := range calls {
		sum.Cycles += c.Cycles
		for _, class := range slices.Sorted(maps.Keys(c.Counts)) {
			if sum.Counts == nil {
				sum.Counts = map[string]float64{}
			}
			sum.Counts[class] += c.Counts[class]
		}
	}
	sum.Cycles /= float64(n)
	for class := range sum.Counts {
		sum.Counts[class] /= float64(n)
	}
	return sum
}

// runFront runs the linked program and returns what each call of name_sample and of name_features
// took.
func (s *session) runFront(windows int) (samples, features []call, err error) {
	one := *s
	one.entries, one.options.Steps = []string{s.name + "_sample", s.name + "_features"}, 1
	r := &Result{Functions: map[string]*Function{}}
	if s.options.Apart != nil {
		found, err := functionsOf(filepath.Join(s.dir, runImage), s.options.Apart)
		if err != nil {
			return nil, nil, err
		}
		for name := range found {
			r.Functions[name] = &Function{}
		}
	}
	if _, err := one.run(r); err != nil {
		return nil, nil, err
	}
	for _, c := range r.calls {
		if c.entry == 0 {
			samples = append(samples, c)
		} else {
			features = append(features, c)
		}
	}
	if len(samples) != windows*s.options.Front.Samples || len(features) != windows {
		return nil, nil, fmt.Errorf("%d samples and %d windows ran instead of %d windows",
			len(samples), len(features), windows)
	}
	return samples, features, nil
}
