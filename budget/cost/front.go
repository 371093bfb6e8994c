package cost

import (
	_ "embed"
	"fmt"
	"maps"
	"math"
	"slices"
	"sync"

	"kerf/frontend"
	"kerf/targets"
)

// FrontKernelsText is the file front.toml: what was measured on the emitted C of front ends and
// fitted. Its head says how to read it.
//
//go:embed front.toml
var FrontKernelsText []byte

// frontSets reads front.toml, once. It panics on a mistake in it.
var frontSets = sync.OnceValue(func() map[string]*kernelSet {
	sets := map[string]*kernelSet{}
	if err := targets.StrictDecode(FrontKernelsText, "front.toml", &sets); err != nil {
		panic(fmt.Sprintf("cost: %v", err))
	}
	return sets
})

// FrontEnd is what a front end in integers is expected to take on a core.
type FrontEnd struct {
	Sample   Call // of name_sample: the mean of a window
	Last     Call // of name_sample: the last one of a window
	Longest  Call // of name_sample
	Features Call // of name_features

	Code          int // bytes, without tables
	SampleStack   int // bytes of a call of name_sample, a bound
	FeaturesStack int // bytes of a call of name_features, a bound
}

// Call is what a call of a function takes.
type Call struct {
	Cycles float64 // without waiting for flash
	Wait   float64 // cycles that waiting for flash adds
}

// Total returns the cycles with those of waiting.
func (c Call) Total() float64 { return c.Cycles + c.Wait }

// OfFrontEnd estimates what a front end takes on a core. wait and inRAM are those of [Of]. It
// panics on an instruction set without kernels, which no profile has.
func OfFrontEnd(s frontend.Shape, core *targets.Profile, wait targets.FlashWait,
	inRAM bool) FrontEnd {
	k, ok := frontSets()[core.ISA]
	if !ok {
		panic(fmt.Sprintf("cost: no kernels of front ends for instruction set %q", core.ISA))
	}
	f := FrontFunctions(s)
	call := func(r FrontRuns, reads int) Call {
		c := Call{Cycles: max(k.frontCycles(r, core.WithMemory(targets.FlashWait{}, inRAM)), 0)}
		if wait.Fetch+wait.Jump+wait.Data > 0 {
			c.Wait = max(k.frontCycles(r, core.WithMemory(wait, inRAM))-c.Cycles, 0)
			if !inRAM {
				c.Wait += float64(float64(reads) * wait.Data)
			}
		}
		return c
	}
	return FrontEnd{Sample: call(f.Sample, 0), Last: call(f.Last, 0), Longest: call(f.Longest, 0),
		Features:    call(f.Features, f.flashReads),
		Code:        int(math.Round(max(k.frontCode(f.Code), 0))),
		SampleStack: figure(k.Stack, "sample"), FeaturesStack: figure(k.Stack, "features")}
}

// frontCycles adds up the cycles of kernels, in the order of their names.
func (k *kernelSet) frontCycles(r FrontRuns, core *targets.Profile) float64 {
	sum := 0.0
	for _, name := range slices.Sorted(maps.Keys(r)) {
		counts := k.Kernel[name]
		for _, class := range slices.Sorted(maps.Keys(counts)) {
			cycles := 1.0
			if class != simulated {
				cycles = core.Cycles(class)
			}
			sum += float64(float64(r[name]*counts[class]) * cycles)
		}
	}
	return sum
}

// frontCode adds up the bytes of kernels, in the order of their names.
func (k *kernelSet) frontCode(r FrontRuns) float64 {
	sum := 0.0
	for _, name := range slices.Sorted(maps.Keys(r)) {
		sum += float64(r[name] * k.Code[name])
	}
	return sum
}

// FrontRuns is how often each kernel of front.toml runs, or its code stands, by name.
type FrontRuns map[string]float64

func (r FrontRuns) add(name string, n float64) {
	if n != 0 {
		r[name] += n
	}
}

// FrontCounts is how often the kernels of front.toml run in the functions of a front end. The
// command that fits front.toml (testdata/kernels) reads them.
type FrontCounts struct {
	Sample, Last, Longest, Features FrontRuns
	Code                            FrontRuns
	flashReads                      int // constants that name_features reads
}

// FrontFunctions counts the kernels of a front end.
func FrontFunctions(s frontend.Shape) FrontCounts {
	c := FrontCounts{Sample: FrontRuns{}, Features: FrontRuns{}, Code: FrontRuns{}}
	countSample(c.Sample, s)
	c.Last, c.Longest = maps.Clone(c.Sample), maps.Clone(c.Sample)
	turns := map[int]bool{} // numbers of folded sums
	for _, channel := range s.Channels {
		if channel.Folded > 0 {
			turns[channel.Folded] = true
		}
	}
	for folded := range turns {
		c.Sample.add("wrap", 1/float64(folded))
	}
	c.Sample.add("window", 1/float64(s.Samples))
	for _, r := range []FrontRuns{c.Last, c.Longest} {
		r.add("wrap", float64(len(turns)))
		r.add("window", 1)
	}
	for _, channel := range s.Channels {
		if channel.Low {
			c.Longest.add("low_new", 1)
		}
		if channel.High {
			c.Longest.add("high_new", 1)
		}
	}
	countFeatures(c.Features, s)
	return c
}

// countSample counts what every call of name_sample does.
func countSample(r FrontRuns, s frontend.Shape) {
	r.add("call", 1)
	for _, c := range s.Channels {
		r.add("channel", 1)
		for name, does := range map[string]bool{"sum": c.Sum && c.Folded == 0, "ramp": c.Ramp,
			"squares": c.Squares, "low": c.Low, "high": c.High,
			"fold16": c.Folded > 0 && !c.WideSums, "fold32": c.WideSums} {
			if does {
				r.add(name, 1)
			}
		}
	}
}

// countFeatures counts name_features.
func countFeatures(r FrontRuns, s frontend.Shape) {
	r.add("features", 1)
	for _, c := range s.Channels {
		words := ""
		if c.WideLine {
			words = "_wide"
		}
		r.add("line"+words, float64(len(c.Lines)))
		r.add("product"+words, float64(len(c.Lines)*c.Folded))
		r.add("clear", float64(c.Folded))
		if c.Sum {
			r.add("folded_sum", float64(c.Folded))
		}
		if c.Base {
			r.add("base", 1)
		}
	}
	for _, kind := range s.Features {
		r.add(string(kind), 1)
	}
}
