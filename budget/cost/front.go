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
		FeaturesStack: figure(k.Stack, "features") + stackAligned(FrontArrays(n))}
}

// stackAligned rounds the size of arrays up to the alignment of a stack: 16 bytes on RISC-V (RISC-V
// ELF psABI, "Integer Calling Convention"), less elsewhere.
func stackAligned(bytes int) int {
	const align = 16
	return (bytes + align - 1) / align * align
}

// FrontArrays is the size of what name_features has on the stack for each feature, for the lines of
// the channel that has most, and for angles, in bytes.
func FrontArrays(n *frontend.Integer) int {
	const wordBytes = 4
	words, most := len(n.Features), 0
	lists, of := n.LineLists()
	for i := range n.Channels {
		most = max(most, len(n.Channels[i].Lines))
		if of[i] >= 0 {
			words += angles(lists[of[i]])
		}
	}
	return wordBytes * (words + most)
}

// angles returns how many angles are needed of lines.
func angles(lines []frontend.Listed) int {
	n := 0
	for _, line := range lines {
		if line.Angle {
			n++
		}
	}
	return n
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
	Within        string // the function that it stands in where the C does not keep it apart
	Kernels, Code FrontRuns
}

func newFrontFunction(name, within string) *FrontFunction {
	return &FrontFunction{name, within, FrontRuns{}, FrontRuns{}}
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

// frontCalls are functions of the C that several features or channels call.
type frontCalls struct {
	own, begin, polar, root, distortion, ratio, relative, product *FrontFunction
}

// countFeatures counts name_features and what it calls.
func (c *FrontCounts) countFeatures(n *frontend.Integer, given int) {
	calls := frontCalls{own: newFrontFunction("features", ""), begin: newFrontFunction("begin", ""),
		polar: newFrontFunction("polar", ""), root: newFrontFunction("root", ""),
		distortion: newFrontFunction("distortion", ""),
		ratio:      newFrontFunction("ratio", ""), relative: newFrontFunction("relative", ""),
		product: newFrontFunction("product", "")}
	calls.own.add("features", 1, 1)
	c.Code.add("other", 1)
	c.Code.add("given", float64(given))
	if n.MostSteps() > 0 {
		calls.own.add("steps", 1, 1)
	}
	c.countLines(&calls, n)
	c.countBegin(calls.begin, n)
	for i := range n.Channels {
		c.countKept(calls.own, &n.Channels[i])
	}
	for i := range n.Front.Features {
		c.countFeature(&calls, n, &n.Front.Features[i])
	}
	ratios := int(calls.ratio.Kernels["ratio"])
	lines := 0
	for i := range n.Channels {
		lines += len(n.Channels[i].Lines)
	}
	leading, shifted := newFrontFunction("leading", ""), newFrontFunction("shifted", "")
	if lines+ratios > 0 {
		leading.add("leading", lines+2*ratios+int(calls.distortion.Kernels["distortion"]), 1)
		shifted.add("shifted", lines+ratios, 1)
	}
	c.countScaled(n, given)
	c.Functions = append(c.Functions, leading, shifted, calls.polar, calls.ratio,
		calls.distortion, calls.relative, calls.product, calls.root, calls.begin, calls.own)
}

// countScaled counts what brings whole numbers to x.
func (c *FrontCounts) countScaled(n *frontend.Integer, given int) {
	all, one := newFrontFunction("scale_all", ""), newFrontFunction("scaled", "scale_all")
	features := len(n.Front.Features)
	all.add("scale_all", 1, 1)
	all.add("scale_each", features, 0)
	one.add("scaled", features, 0)
	one.add("scaled", 0, 1)
	if features+given == 1 {
		all.add("scale_single", 1, 1)
	}
	if c.isa == "avr" { // shifts go bit by bit
		down := 0
		for i := range n.Features {
			down += n.Features[i].Scaling.Down
		}
		one.add("scaled_bit", down, 0)
	}
	c.flashReads += scaleReads * features
	c.Functions = append(c.Functions, one, all)
}

// countBegin counts what begins a window.
func (c *FrontCounts) countBegin(begin *FrontFunction, n *frontend.Integer) {
	begin.add("begin", 1, 1)
	loops := map[int]bool{}
	for i := range n.Channels {
		channel := &n.Channels[i]
		words := 0 // that begin a window with a value, besides sums of a fold
		for _, is := range []bool{channel.KeepsSum(), channel.Squares, channel.Ramp, channel.Low,
			channel.High} {
			if is {
				words++
			}
		}
		begin.add("begin_word", words, words)
		if channel.Fold == nil {
			continue
		}
		length := channel.Fold.Length
		kernel := fmt.Sprint("begin_fold", channel.SumBits())
		begin.add(kernel, length, 0)
		begin.add(kernel, 0, 1)
		if !loops[length] { // two at a time, if the number is even
			loops[length] = true
			begin.add("begin_loop", length/(2-length%2), 0)
			begin.add("begin_loop", 0, 1)
		}
	}
	begin.add("begin_place", len(n.Places()), len(n.Places()))
}

// countKept counts what a channel keeps of windows.
func (c *FrontCounts) countKept(own *FrontFunction, channel *frontend.IntegerChannel) {
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

// countLines counts the functions that make lines.
func (c *FrontCounts) countLines(calls *frontCalls, n *frontend.Integer) {
	shapes, shapeOf := n.Shapes()
	listed, listOf := n.LineLists()
	plain, turned := 0, 0
	for _, list := range listed {
		turned += angles(list)
	}
	never := ""
	if turned == 0 { // no code for angles then
		never = "_never"
	}
	turned = 0
	lines, line := make([]*FrontFunction, len(shapes)), make([]*FrontFunction, len(shapes))
	for i, first := range shapes {
		channel := &n.Channels[first]
		lines[i] = newFrontFunction(fmt.Sprintf("fold%d_lines", i), "")
		lines[i].add(fmt.Sprint("lines", channel.SumBits(), never), 0, 1)
		line[i] = newFrontFunction(fmt.Sprintf("fold%d_line", i), lines[i].Name)
		line[i].add("line"+productsName(channel), 0, 1)
	}
	for i := range n.Channels {
		channel := &n.Channels[i]
		if channel.Fold == nil {
			continue
		}
		calls.own.add("fold", 1, 1)
		all, ofAngles := len(channel.Lines), angles(listed[listOf[i]])
		plain, turned = plain+all-ofAngles, turned+ofAngles
		shape := lines[shapeOf[i]]
		shape.add(fmt.Sprint("lines", channel.SumBits(), never), 1, 0)
		shape.add(fmt.Sprint("pair", pairName(channel)), pairs(channel.Fold), 0)
		shape.add("listed"+never, all, 0)
		shape.add("listed_angle", ofAngles, 0)
		countLine(line[shapeOf[i]], channel)
		c.flashReads += all * (2*products(channel.Fold) + turnReads)
	}
	if plain+turned == 1 { // compilers write the one harmonic into the function
		lines[0].add("single"+never, 1, 1)
	}
	if plain+turned > 0 {
		calls.polar.add("polar"+never, plain, 1)
		calls.polar.add("polar_angle", turned, 0)
		c.Code.add("lines", 1)
	}
	c.Functions = append(append(c.Functions, line...), lines...)
}

// countLine counts the function that makes a line of a channel.
func countLine(f *FrontFunction, channel *frontend.IntegerChannel) {
	name, lines := productsName(channel), len(channel.Lines)
	n := products(channel.Fold)
	if n == 1 { // compilers leave out the loop
		f.add("short_"+name, lines, 0)
		return
	}
	f.add("line"+name, lines, 0)
	f.add("products"+name, lines*n, 0)
}

// pairName says which sums are added and subtracted: two at a time, or four where halves of a turn
// differ in their sign.
func pairName(c *frontend.IntegerChannel) string {
	name := fmt.Sprint(c.SumBits())
	if c.Fold.Length%2 > 0 {
		name += "_odd"
	}
	return name
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

// pairs returns how often sums are added and subtracted before lines are made: those of which the
// factors differ in their sign alone.
func pairs(f *frontend.Fold) int { return (span(f) - 1) / 2 }

// products returns how many sums are multiplied by a cosine, and as many by a sine, to make a line.
func products(f *frontend.Fold) int { return span(f) / 2 }

// span returns the sums of a turn, or of half a turn where that is a whole number of them.
func span(f *frontend.Fold) int {
	if f.Length%2 == 0 {
		return f.Length / 2
	}
	return f.Length
}

const (
	turnReads  = 16 // angles that a line reads, and its harmonic
	scaleReads = 6  // constants that a feature reads
)

// countFeature counts what makes a whole number of the lines, sums and ends of a channel.
func (c *FrontCounts) countFeature(calls *frontCalls, n *frontend.Integer, f *frontend.Feature) {
	channel, d, own := &n.Channels[f.Channel], f.Definition, calls.own
	own.add("feature", 1, 1)
	switch d.Kind {
	case frontend.Trend:
		name := fmt.Sprint("trend", channel.RampBits(c.samples))
		own.add(name, 1, 1)
		c.Code[name] = 1
	case frontend.RMS, frontend.Ripple:
		own.add(string(d.Kind), 1, 1)
		calls.root.add(string(d.Kind)+"_root", 1, 0)
		calls.root.Code["root"] = 1
		c.Code[string(d.Kind)] = 1
		if d.Kind == frontend.Ripple && channel.SquaresBits(c.samples) == 32 {
			calls.product.Code["product"] = 1
			calls.product.add("product", 1+min(1, bits.OnesCount(uint(c.samples))-1), 0)
		}
	case frontend.Phase:
		own.add("phase", 1, 1)
		if d.Other != "" {
			own.add("phase_other", 1, 1)
		}
	case frontend.Relative:
		if channel.BaseSteps > 0 {
			own.add("relative", 1, 1)
			calls.relative.add(fmt.Sprint("relative", relativeBits(n)), 1, 0)
			calls.relative.Code[fmt.Sprint("relative", relativeBits(n))] = 1
			calls.ratio.add("ratio", 1, 0)
			calls.ratio.Code["ratio"] = 1
			c.Code[fmt.Sprint("relative", relativeBits(n))] = 1
		}
	case frontend.Distortion:
		own.add("distortion", 1, 1)
		calls.distortion.add("distortion", 1, 0)
		calls.distortion.add("distortion_line", d.Order-1, 0)
		calls.distortion.Code["distortion"] = 1
		calls.ratio.add("ratio", 1, 0)
		calls.ratio.Code["ratio"] = 1
	case frontend.Slope, frontend.Swing:
		own.add(string(d.Kind), 1, 1)
	}
}

// relativeBits returns how many bits the products of the one function have that serves all features
// relative to a baseline in seconds.
func relativeBits(n *frontend.Integer) int {
	most := 0
	for i := range n.Channels {
		if n.Channels[i].BaseSteps > 0 {
			most = max(most, n.Channels[i].RelativeBits(n.Front.Sampling.Samples))
		}
	}
	return most
}
