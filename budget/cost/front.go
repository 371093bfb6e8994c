package cost

import (
	_ "embed"
	"fmt"
	"maps"
	"math"
	"math/bits"
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

// addWord counts a kernel that is named with the width of its words; 0: it does not run.
func (r FrontRuns) addWord(name string, bits int) {
	if bits > 0 {
		r.add(fmt.Sprint(name, bits), 1)
	}
}

// addAll counts kernels under names with something in front.
func (r FrontRuns) addAll(front string, all FrontRuns) {
	for name, n := range all {
		r.add(front+name, n)
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
	c.Code.addAll("code_", c.Sample)
	c.Last, c.Longest = maps.Clone(c.Sample), maps.Clone(c.Sample)
	for _, length := range s.Places() {
		c.Sample.add("turn", 1/float64(length))
		c.Last.add("turn", 1)
		c.Longest.add("turn", 1)
	}
	c.Sample.add("full", 1/float64(s.Samples))
	c.Last.add("full", 1)
	c.Longest.add("full", 1)
	for _, channel := range s.Channels {
		if channel.Ends {
			c.Longest.add("new_end", 1)
		}
	}
	c.countFeatures(s)
	return c
}

// countSample counts what every call of name_sample does.
func countSample(r FrontRuns, s frontend.Shape) {
	r.add(fmt.Sprint("sample", s.CounterWord()), 1)
	for _, c := range s.Channels {
		if c.Fold.Length > 0 || c.SumWord > 0 || c.Squares > 0 || c.Ramp > 0 {
			r.add("difference", 1)
		}
		if c.Fold.Length > 0 {
			r.add(fmt.Sprint("fold", c.Fold.SumWord), 1)
		}
		r.addWord("sum", c.SumWord)
		r.addWord("squares", c.Squares)
		r.addWord("ramp", c.Ramp)
		if c.Ends {
			r.add("ends", 1)
		}
	}
	r.add("place", float64(len(s.Places())))
}

// countFeatures counts name_features and what it calls.
func (c *FrontCounts) countFeatures(s frontend.Shape) {
	r, code := c.Features, c.Code
	r.add("features", 1)
	code.add("features", 1)
	both := func(name string, times, n int) {
		r.add(name, float64(times))
		code.add("code_"+name, float64(n))
	}
	for i := range s.Channels {
		channel := &s.Channels[i]
		both("begin", channelWords(channel), channelWords(channel))
		if channel.Before {
			both("before", 1, 1)
		}
		if channel.Base > 0 {
			both(fmt.Sprint("base", channel.Base), 1, 1)
		}
		f := &channel.Fold
		if f.Length == 0 {
			continue
		}
		word := fmt.Sprint(f.SumWord)
		both("clear"+word, f.Length, 1)
		if channel.Sum && channel.SumWord == 0 {
			both("sum_of"+word, f.Length, 1)
		}
		both("pair"+word, f.Pairs(), 0)
		both("fold", 1, 1)
		both("line", len(f.Lines), len(f.Lines))
		both("polar", len(f.Lines), 0)
		c.countLines(f)
	}
	folds := s.Folds()
	for i := range folds {
		code.add("code_fold_shape"+productsName(&folds[i]), 1)
	}
	if len(folds) > 0 {
		code.add("code_polar", 1)
	}
	if s.MostSteps > 0 {
		both("steps", 1, 1)
	}
	both("place_clear", len(s.Places()), len(s.Places()))
	for _, feature := range s.Features {
		countFeature(feature, &s.Channels[feature.Channel], both)
	}
	c.flashReads += 6 * len(s.Features)
	for name, does := range routinesOf(s) {
		if does {
			code.add("code_"+name, 1)
		}
	}
}

// routinesOf reports which routines features need.
func routinesOf(s frontend.Shape) map[string]bool {
	needs := map[string]bool{}
	for _, f := range s.Features {
		switch f.Kind {
		case frontend.RMS, frontend.Ripple:
			needs["root"] = true
		case frontend.Distortion:
			needs["length_of"], needs["ratio"] = true, true
		case frontend.Relative:
			needs["mean"], needs["ratio"] = needs["mean"] || f.IsMean, needs["ratio"] || f.IsMean
		}
	}
	for i := range s.Channels {
		needs["polar_wide"] = needs["polar_wide"] || s.Channels[i].Fold.Wide
	}
	return needs
}

// channelWords is how many words of a channel begin a window with a value, besides sums of a fold.
func channelWords(c *frontend.ChannelShape) int {
	words := (c.SumWord + c.Squares + c.Ramp) / 32
	if c.Ends {
		words += 2
	}
	return words
}

// productsName says which words the products of a line have, and how a place of the table follows
// from the one before.
func productsName(f *frontend.FoldShape) string {
	name := fmt.Sprint(f.SumWord)
	if f.Wide {
		name += "_wide"
	}
	if bits.OnesCount(uint(f.Length)) > 1 {
		name += "_turned"
	}
	return name
}

// countLines counts the functions that make lines of a fold.
func (c *FrontCounts) countLines(f *frontend.FoldShape) {
	name := productsName(f)
	for range len(f.Lines) {
		products, centre := f.Products()
		c.Features.add("products"+name, float64(products))
		c.Features.add("line"+name, 1)
		if centre {
			c.Features.add("centre"+name, 1)
		}
		c.flashReads += 2*products + turnReads
	}
}

// turnReads is how many angles a polar reads.
const turnReads = 15

// countFeature counts what makes x of what the lines, sums and ends of a channel are.
func countFeature(f frontend.FeatureShape, c *frontend.ChannelShape,
	both func(name string, times, n int)) {
	both("scaled", 1, 1)
	switch {
	case f.Kind == frontend.Trend:
		both(fmt.Sprint("trend", c.Ramp), 1, 1)
	case f.Kind == frontend.RMS || f.Kind == frontend.Ripple:
		both(fmt.Sprint(string(f.Kind), c.Squares), 1, 1)
	case f.IsPair:
		both("phase_pair", 1, 1)
	case f.IsMean:
		both("relative_mean", 1, 1)
	case f.Kind == frontend.Distortion:
		both("distortion", 1, 1)
		both("distortion_line", f.Lines, 0)
	case f.Kind == frontend.Phase || f.Kind == frontend.Slope || f.Kind == frontend.Swing:
		both(string(f.Kind), 1, 1)
	}
}
