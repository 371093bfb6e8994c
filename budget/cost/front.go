package cost

import (
	_ "embed"
	"fmt"
	"maps"
	"math"
	"math/bits"
	"slices"
	"strings"
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

// OfFrontEnd estimates what a front end takes on a core; so many features of the network are given.
// wait and inRAM are those of [Of]. It
// panics on an instruction set without kernels, which no profile has.
func OfFrontEnd(n *frontend.Integer, given int, core *targets.Profile, wait targets.FlashWait,
	inRAM bool) FrontEnd {
	k, ok := frontSets()[core.ISA]
	if !ok {
		panic(fmt.Sprintf("cost: no kernels of front ends for instruction set %q", core.ISA))
	}
	f := FrontFunctions(n, given, core.ISA)
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
		Features:      call(f.Features(), f.flashReads),
		Code:          int(math.Round(max(k.frontCode(f.AllCode()), 0))),
		SampleStack:   figure(k.Stack, "sample"),
		FeaturesStack: figure(k.Stack, "features") + stackAligned(FrontArrays(n)) + stackMargin}
}

// stackMargin is added to the deepest stack of the fit. Our choice: one more step of alignment. Of
// the front ends that judge one was 12 bytes deeper than the deepest of the fit.
const stackMargin = 16

// stackAligned rounds the size of arrays up to the alignment of a stack: 16 bytes on RISC-V (RISC-V
// ELF psABI, "Integer Calling Convention"), less elsewhere.
func stackAligned(bytes int) int {
	const align = 16
	return (bytes + align - 1) / align * align
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

// FrontFunction is a function of the emitted C of a front end, with those that stand in it.
type FrontFunction struct {
	Name          string // in the emitted C, behind the name of the job
	Kernels, Code FrontRuns
}

func newFrontFunction(name string) *FrontFunction {
	return &FrontFunction{name, FrontRuns{}, FrontRuns{}}
}

// add counts a kernel that runs some times in a window, and whose code stands so often.
func (f *FrontFunction) add(kernel string, times, stands int) {
	f.Kernels.add(kernel, float64(times))
	f.Code.add(kernel, float64(stands))
}

// FrontCounts is how often the kernels of front.toml run in calls of the functions of a front end.
// The command that fits front.toml (testdata/kernels) reads them.
type FrontCounts struct {
	Sample, Last, Longest FrontRuns        // name_sample
	Functions             []*FrontFunction // name_features and what it calls
	Code                  FrontRuns        // outside of these, and of name_sample
	SampleCode            FrontRuns

	isa        string
	samples    int // of a window
	flashReads int // constants that name_features reads
}

// Features adds up the kernels of name_features and what it calls.
func (c *FrontCounts) Features() FrontRuns {
	sum := FrontRuns{}
	for _, f := range c.Functions {
		for name, n := range f.Kernels {
			sum.add(name, n)
		}
	}
	return sum
}

// AllCode adds up the kernels of the code.
func (c *FrontCounts) AllCode() FrontRuns {
	sum := maps.Clone(c.Code)
	for name, n := range c.SampleCode {
		sum.add(name, n)
	}
	for _, f := range c.Functions {
		for name, n := range f.Code {
			sum.add(name, n)
		}
	}
	return sum
}

// FrontFunctions counts the kernels of a front end on an instruction set. So many features of the
// network are given: name_encode_one scales them.
func FrontFunctions(n *frontend.Integer, given int, isa string) FrontCounts {
	c := FrontCounts{Sample: FrontRuns{}, Code: FrontRuns{}, samples: n.Front.Sampling.Samples,
		isa: isa}
	c.countSample(n)
	c.SampleCode = maps.Clone(c.Sample)
	c.Last, c.Longest = maps.Clone(c.Sample), maps.Clone(c.Sample)
	for _, length := range n.Places() {
		c.Sample.add("turn", 1/float64(length))
		c.Last.add("turn", 1)
		c.Longest.add("turn", 1)
	}
	c.Last.add("full", 1)
	c.Longest.add("full", 1)
	for i := range n.Channels {
		if n.Channels[i].Low || n.Channels[i].High {
			c.Longest.add("new_end", 1)
		}
	}
	c.countFeatures(n, given)
	return c
}

// reach is how far from the beginning of name_front one instruction reaches a member of so many
// bytes. Sources: Armv6-M Architecture Reference Manual, A6.7 (five bits, times the bytes); AVR
// Instruction Set Manual, LDD (six bits, for every byte); elsewhere members are in reach.
func reach(isa string, bytes int) int {
	switch isa {
	case "armv6m":
		return 31 * min(bytes, 4)
	case "avr":
		return 64 - bytes
	}
	return math.MaxInt
}

// countSample counts what every call of name_sample does, by the members that it reads and writes.
func (c *FrontCounts) countSample(n *frontend.Integer) {
	r := c.Sample
	at := 0
	indexed, masked := map[[2]int]bool{}, map[int]bool{}
	for _, m := range n.Members() {
		bytes := m.Bits / 8
		name := ""
		switch m.Kind {
		case frontend.KeptTaken:
			r.add(fmt.Sprint("sample", m.Bits), 1)
		case frontend.KeptPlace:
			name = fmt.Sprint("place", m.Bits)
		case frontend.KeptFold:
			r.add(fmt.Sprint("fold", m.Bits), 1)
			masked[m.Count] = masked[m.Count] || bits.OnesCount(uint(m.Count)) == 1
			indexed[[2]int{m.Count, m.Bits}] = true
			if at > reach(c.isa, 1) {
				r.add("far_fold", 1)
			}
		case frontend.KeptLow, frontend.KeptHigh:
			name = "end"
		case frontend.KeptSum:
			name = "sum"
		case frontend.KeptSquares, frontend.KeptRamp:
			name = fmt.Sprint(m.Kind, m.Bits)
		}
		if name != "" {
			r.add(name, 1)
			if at > reach(c.isa, bytes) {
				r.add(fmt.Sprint("far", m.Bits), 1)
			}
		}
		at += bytes * m.Count
	}
	for _, is := range masked {
		if is {
			r.add("mask", 1)
		}
	}
	for of := range indexed {
		r.add(fmt.Sprint("index", of[1]), 1)
	}
	for i := range n.Channels {
		if n.Channels[i].Bits < 16 { // codes beyond the bits are limited
			r.add("limit", 1)
		}
	}
	channels := len(n.Channels)
	r.add("channels", float64(channels-1))
	if channels > 2 {
		r.add("many", 1)
	}
}

// countFeatures counts name_features and what it calls.
func (c *FrontCounts) countFeatures(n *frontend.Integer, given int) {
	own, polar := newFrontFunction("features"), newFrontFunction("polar")
	scaled, root := newFrontFunction("scaled"), newFrontFunction("root")
	own.add("features", 1, 1)
	c.Code.add("other", 1)
	shapes, shapeOf := n.Shapes()
	listed, listOf := n.LineLists()
	lines, plain, turned := make([]*FrontFunction, len(shapes)), 0, 0
	for i, first := range shapes {
		lines[i] = newFrontFunction(fmt.Sprintf("fold%d_line", i))
		lines[i].add("line"+productsName(&n.Channels[first]), 0, 1)
		c.Code.add(fmt.Sprint("pairs", n.Channels[first].SumBits()), 1)
	}
	for i := range n.Channels {
		channel := &n.Channels[i]
		c.countKept(own, channel)
		if channel.Fold == nil {
			continue
		}
		all := len(channel.Lines)
		for _, line := range listed[listOf[i]] {
			if line.Angle {
				turned++
			} else {
				plain++
			}
		}
		c.countFold(own, channel)
		countLines(lines[shapeOf[i]], channel)
		products, _ := products(channel.Fold)
		c.flashReads += all * (2*products + turnReads)
	}
	for _, line := range lines { // compilers write the harmonic into the function
		for name, times := range maps.Clone(line.Kernels) {
			if strings.HasPrefix(name, "line") && times == 1 {
				line.add("single"+strings.TrimPrefix(name, "line"), 1, 1)
			}
		}
	}
	switch { // where no call needs an angle, or all do, the function does not look
	case turned > 0 && plain > 0:
		polar.add("polar", plain, 1)
		polar.add("polar_angle", turned, 0)
	case turned > 0:
		polar.add("polar_always", turned, 1)
	default:
		polar.add("polar_never", plain, min(plain, 1))
	}
	if n.MostSteps() > 0 {
		own.add("steps", 1, 1)
	}
	own.add("place_begin", len(n.Places()), len(n.Places()))
	for i := range n.Front.Features {
		c.countFeature(own, root, n, &n.Front.Features[i])
	}
	scaled.add("scaled", len(n.Front.Features), 0)
	scaled.add("scaled", 0, 1)
	if len(n.Front.Features)+given == 1 {
		scaled.add("scaled_single", 1, 1)
	}
	if c.isa == "avr" { // shifts go bit by bit
		down := 0
		for i := range n.Features {
			down += n.Features[i].Scaling.Down
		}
		scaled.add("scaled_bit", down, 0)
	}
	c.flashReads += scaleReads * len(n.Front.Features)
	if len(root.Kernels) > 0 {
		root.add("root", 0, 1)
	}
	c.Functions = append(lines, polar, scaled, root, own)
}

// countKept counts what a channel does when a window begins, and what it keeps of windows.
func (c *FrontCounts) countKept(own *FrontFunction, channel *frontend.IntegerChannel) {
	words := 0 // that begin a window with a value, besides sums of a fold
	for _, is := range []bool{channel.KeepsSum(), channel.Squares, channel.Ramp, channel.Low,
		channel.High} {
		if is {
			words++
		}
	}
	own.add("begin", words, words)
	if channel.Squares {
		own.add(fmt.Sprint("squares_of", channel.SquaresBits(c.samples)), 1, 1)
	}
	if channel.Before {
		own.add("before", 1, 1)
	}
	if channel.BaseSteps > 0 {
		own.add(fmt.Sprint("base", channel.BaseBits(c.samples)), 1, 1)
	}
}

// countFold counts what name_features itself makes of the folded sums of a channel.
func (c *FrontCounts) countFold(own *FrontFunction, channel *frontend.IntegerChannel) {
	f, word := channel.Fold, fmt.Sprint(channel.SumBits())
	own.add("fold", 1, 1)
	own.add("line_looped", len(channel.Lines), 0)
	own.add("begin_fold"+word, f.Length, 0)
	own.add("pair"+word, pairs(f), 0)
	c.Code.add("begin_fold", 1)
	if channel.Sum && !channel.KeepsSum() {
		own.add("sum_of"+word, f.Length, 0)
		own.add("sum_of", 1, 1)
	}
}

// countLines counts the function that makes the lines of a channel.
func countLines(f *FrontFunction, channel *frontend.IntegerChannel) {
	name, lines := productsName(channel), len(channel.Lines)
	products, hasCentre := products(channel.Fold)
	if products <= 1 { // compilers leave out the loop
		f.add(fmt.Sprint("short", products, "_", name), lines, 0)
		return
	}
	f.add("line"+name, lines, 0)
	f.add("products"+name, lines*products, 0)
	if hasCentre {
		f.add("centre"+name, lines, 0)
	}
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
	scaleReads = 5  // constants that a feature reads
)

// countFeature counts what makes x of the lines, sums and ends of a channel.
func (c *FrontCounts) countFeature(own, root *FrontFunction, n *frontend.Integer,
	f *frontend.Feature) {
	channel, d := &n.Channels[f.Channel], f.Definition
	own.add("feature", 1, 1)
	switch d.Kind {
	case frontend.Trend:
		own.add(fmt.Sprint("trend", channel.RampBits(c.samples)), 1, 1)
	case frontend.RMS, frontend.Ripple:
		own.add(string(d.Kind), 1, 1)
		root.add(string(d.Kind)+"_root", 1, 0)
		c.Code["root"] = 1
	case frontend.Phase:
		own.add("phase", 1, 1)
		if d.Other != "" {
			own.add("phase_other", 1, 1)
		}
	case frontend.Relative:
		if channel.BaseSteps > 0 {
			own.add("relative", 1, 1)
			c.Code["relative"], c.Code["ratio"] = 1, 1
		}
	case frontend.Distortion:
		own.add("distortion", 1, 1)
		own.add("distortion_line", d.Order-1, 0)
		c.Code["length_of"], c.Code["ratio"] = 1, 1
	case frontend.Slope, frontend.Swing:
		own.add(string(d.Kind), 1, 1)
	}
}
