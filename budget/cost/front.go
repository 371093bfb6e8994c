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
func OfFrontEnd(n *frontend.Integer, core *targets.Profile, wait targets.FlashWait,
	inRAM bool) FrontEnd {
	k, ok := frontSets()[core.ISA]
	if !ok {
		panic(fmt.Sprintf("cost: no kernels of front ends for instruction set %q", core.ISA))
	}
	f := FrontFunctions(n)
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
		Features:      call(f.Features, f.flashReads),
		Code:          int(math.Round(max(k.frontCode(f.Code), 0))),
		SampleStack:   figure(k.Stack, "sample"),
		FeaturesStack: figure(k.Stack, "features") + FrontArrays(n)}
}

// FrontArrays is the size of what name_features has on the stack for each line, in bytes.
func FrontArrays(n *frontend.Integer) int {
	const lineBytes = 4 // its length
	sum := 0
	for i := range n.Channels {
		sum += lineBytes * len(n.Channels[i].Lines)
	}
	return sum
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

	samples    int // of a window
	flashReads int // constants that name_features reads
}

// FrontFunctions counts the kernels of a front end.
func FrontFunctions(n *frontend.Integer) FrontCounts {
	c := FrontCounts{Sample: FrontRuns{}, Features: FrontRuns{}, Code: FrontRuns{},
		samples: n.Front.Sampling.Samples}
	c.countSample(n)
	for name, times := range c.Sample {
		c.Code.add("code_"+name, times)
	}
	c.Last, c.Longest = maps.Clone(c.Sample), maps.Clone(c.Sample)
	for _, length := range n.Places() {
		c.Sample.add("turn", 1/float64(length))
		c.Last.add("turn", 1)
		c.Longest.add("turn", 1)
	}
	c.Sample.add("full", 1/float64(c.samples))
	c.Last.add("full", 1)
	c.Longest.add("full", 1)
	for i := range n.Channels {
		if n.Channels[i].Low || n.Channels[i].High {
			c.Longest.add("new_end", 1)
		}
	}
	c.countFeatures(n)
	return c
}

// countSample counts what every call of name_sample does.
func (c *FrontCounts) countSample(n *frontend.Integer) {
	r := c.Sample
	if c.samples > 255 {
		r.add("sample16", 1)
	} else {
		r.add("sample8", 1)
	}
	for i := range n.Channels {
		channel := &n.Channels[i]
		r.add("channel", 1)
		if channel.Fold != nil {
			r.add(fmt.Sprint("fold", channel.SumBits()), 1)
		}
		if channel.KeepsSum() {
			r.add("sum", 1)
		}
		if channel.Squares {
			r.add(fmt.Sprint("squares", channel.SquaresBits(c.samples)), 1)
		}
		if channel.Ramp {
			r.add(fmt.Sprint("ramp", channel.RampBits(c.samples)), 1)
		}
		if channel.Low {
			r.add("end", 1)
		}
		if channel.High {
			r.add("end", 1)
		}
	}
	r.add("place", float64(len(n.Places())))
}

// both counts a kernel of name_features that runs some times, and stands so often in the code.
func (c *FrontCounts) both(name string, times, stands int) {
	c.Features.add(name, float64(times))
	c.Code.add("code_"+name, float64(stands))
}

// countFeatures counts name_features and what it calls.
func (c *FrontCounts) countFeatures(n *frontend.Integer) {
	c.both("features", 1, 1)
	routines := map[string]bool{}
	for i := range n.Channels {
		channel := &n.Channels[i]
		words := 0 // that begin a window with a value, besides sums of a fold
		for _, is := range []bool{channel.KeepsSum(), channel.Squares, channel.Ramp, channel.Low,
			channel.High} {
			if is {
				words++
			}
		}
		c.both("begin", words, words)
		if channel.Before {
			c.both("before", 1, 1)
		}
		if channel.BaseSteps > 0 {
			c.both(fmt.Sprint("base", channel.BaseBits(c.samples)), 1, 1)
		}
		if channel.Fold != nil {
			c.countFold(channel)
			angles := len(angles(n, i))
			c.both("angle", angles, angles)
			routines["polar"] = true
			routines["polar_wide"] = routines["polar_wide"] || channel.Fold.Wide
		}
	}
	shapes, _ := n.Shapes()
	for _, i := range shapes {
		c.Code.add("code_lines"+productsName(&n.Channels[i]), 1)
	}
	if n.MostSteps() > 0 {
		c.both("steps", 1, 1)
	}
	c.both("place_begin", len(n.Places()), len(n.Places()))
	for i := range n.Front.Features {
		c.countFeature(n, &n.Front.Features[i], routines)
	}
	for name := range routines {
		c.Code.add("code_"+name, 1)
	}
}

// countFold counts what is made of the folded sums of a channel.
func (c *FrontCounts) countFold(channel *frontend.IntegerChannel) {
	f, word := channel.Fold, fmt.Sprint(channel.SumBits())
	lines := len(channel.Lines)
	c.both("begin_fold"+word, f.Length, 1)
	if channel.Sum && !channel.KeepsSum() {
		c.both("sum_of"+word, f.Length, 1)
	}
	c.both("pair"+word, pairs(f), 0)
	c.both("fold", 1, 1)
	c.both("line", lines, lines)
	name := productsName(channel)
	products, hasCentre := products(f)
	c.both("line"+name, lines, 0)
	c.both("products"+name, lines*products, 0)
	if hasCentre {
		c.both("centre"+name, lines, 0)
	}
	c.flashReads += lines * (2*products + turnReads)
}

// angles lists the harmonics of a channel whose angle a feature needs.
func angles(n *frontend.Integer, channel int) map[int]bool {
	needs := map[int]bool{}
	for i := range n.Front.Features {
		f := &n.Front.Features[i]
		if d := f.Definition; d.Kind == frontend.Phase && (f.Channel == channel ||
			d.Other != "" && f.Other == channel) {
			needs[d.Order] = true
		}
	}
	return needs
}

// productsName says which words the products of a line have, and how a place of the table follows
// from the one before.
func productsName(c *frontend.IntegerChannel) string {
	name := fmt.Sprint(c.SumBits())
	if c.Fold.Wide {
		name += "_wide"
	}
	if bits.OnesCount(uint(c.Fold.Length)) > 1 {
		name += "_turned"
	}
	return name
}

// pairs returns how many sums are added and subtracted before lines are made: those of which the
// factors differ in their sign alone.
func pairs(f *frontend.Fold) int {
	if f.Length%2 > 0 {
		return (f.Length - 1) / 2
	}
	span := f.Length / 2
	return span + 2*((span-1)/2)
}

// products returns how many sums are multiplied by a cosine, and as many by a sine, to make a line,
// and whether one more is by one of them.
func products(f *frontend.Fold) (n int, hasCentre bool) {
	span := f.Length
	if f.Length%2 == 0 {
		span /= 2
	}
	return (span+1)/2 - 1, f.Length%2 == 0 && span%2 == 0
}

const (
	turnReads  = 15 // angles that a line reads
	scaleReads = 6  // constants that a feature reads
)

// countFeature counts what makes x of the lines, sums and ends of a channel.
func (c *FrontCounts) countFeature(n *frontend.Integer, f *frontend.Feature,
	routines map[string]bool) {
	channel, d := &n.Channels[f.Channel], f.Definition
	c.both("scaled", 1, 1)
	c.flashReads += scaleReads
	switch d.Kind {
	case frontend.Trend:
		c.both(fmt.Sprint("trend", channel.RampBits(c.samples)), 1, 1)
	case frontend.RMS, frontend.Ripple:
		c.both(fmt.Sprint(string(d.Kind), channel.SquaresBits(c.samples)), 1, 1)
		routines["root"] = true
	case frontend.Phase:
		c.both("phase", 1, 1)
		if d.Other != "" {
			c.both("phase_other", 1, 1)
		}
	case frontend.Relative:
		if channel.BaseSteps > 0 {
			c.both("relative", 1, 1)
			routines["relative"], routines["ratio"] = true, true
		}
	case frontend.Distortion:
		c.both("distortion", 1, 1)
		c.both("distortion_line", d.Order-1, 0)
		routines["length_of"], routines["ratio"] = true, true
	case frontend.Slope, frontend.Swing:
		c.both(string(d.Kind), 1, 1)
	}
}
