package budget

import (
	"math"
	"slices"
	"strings"
	"testing"

	"kerf/quant"
	"kerf/targets"
)

// kernelNames are the kernels that every instruction set must have.
var kernelNames = []string{"step", "row", "unit", "mac8", "mac16", "logistic", "tanh", "blend16", "blend32", "copy16",
	"narrow32", "head_row", "head_mac8", "head_mac16"}

func core(t *testing.T, name string) *targets.Profile {
	t.Helper()
	p, err := targets.Load(name)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func TestEveryProfileHasAllKernels(t *testing.T) {
	for _, name := range targets.Names() {
		p := core(t, name)
		k := kernelsFor(p.ISA)
		for _, kernel := range kernelNames {
			if c := k.cycles(kernel, p); !(c > 0) {
				t.Errorf("%s: kernel %s takes %v cycles", name, kernel, c)
			}
		}
		if len(k.Kernel) != len(kernelNames) {
			t.Errorf("%s: %d kernels, want %d", p.ISA, len(k.Kernel), len(kernelNames))
		}
		if k.Compiler == "" || k.Counted == "" {
			t.Errorf("%s: no word on how the counts were obtained", p.ISA)
		}
	}
}

func TestUnknownInstructionSetOrKernelPanics(t *testing.T) {
	for _, call := range []func(){
		func() { kernelsFor("armv6") },
		func() { kernelsFor("avr").cycles("mac", core(t, "avr8")) },
	} {
		func() {
			defer func() {
				if recover() == nil {
					t.Error("no panic")
				}
			}()
			call()
		}()
	}
}

// stepCycles is the estimate of one whole step.
func stepCycles(p *targets.Profile, s quant.Shape) float64 {
	var sum float64
	for _, part := range cycleParts(s, kernelsFor(p.ISA), Target{Core: p}) {
		sum += part.value
	}
	return sum
}

// The loop of a multiply-accumulate on the Cortex-M4 is LDRSH, LDRH, CMP, SMLABB, BNE
// (read in the listing). By hand, with the costs of the profile: load 2, load
// behind a load 1, compare 1, multiply-accumulate 1, branch 3 or, in the last
// of n passes, 1. Mean of 1/n over n = 6, 20, 36, 4, 16, 40: (0.1667 + 0.05 + 0.0278
// + 0.25 + 0.0625 + 0.025)/6 = 0.097. So 2 + 1 + 1 + 1 + 3 - 2*0.097 = 7.806.
func TestMultiplyAccumulateByHand(t *testing.T) {
	p := core(t, "cortex-m4f")
	for _, kernel := range []string{"mac8", "mac16"} {
		if got := kernelsFor(p.ISA).cycles(kernel, p); math.Abs(got-7.806) > 0.02 {
			t.Errorf("%s: %v cycles, want 7.806", kernel, got)
		}
	}
}

// instructionCost is a profile under which cycles are executed instructions.
func instructionCost(p *targets.Profile) *targets.Profile {
	counting := *p
	counting.Costs = map[string]targets.Cost{}
	for class := range p.Costs {
		counting.Costs[class] = targets.Cost{Cycles: 1}
	}
	counting.Costs["push_pop_each"] = targets.Cost{} // N registers, one instruction
	if strings.HasPrefix(p.ISA, "arm") {
		counting.Costs["return"] = targets.Cost{} // POP with PC is counted as POP and return
	}
	return &counting
}

// One step on a Cortex-M4 with 20 features, 16 units, 2 outputs, int8 weights,
// int16 head and state, counted by hand in the listing (GCC 12.2 -O2):
//
//	96 rows of 19                                             1824
//	48*20 + 48*16 multiply-accumulates of 5                   8640
//	16 units of 58, with 2 logistics of 19, tanh 22, blend 10 2048
//	copy of the state 16, entry and exit 13                     29
//	2 head rows of 3, 2*16 multiply-accumulates of 5           166
//
// The emulator executed as many. Kernels are means over several sizes: hence 2 %.
func TestStepByHand(t *testing.T) {
	s := quant.Shape{Features: 20, Units: 16, Outputs: 2, Formats: quant.Formats{InputBits: 8, RecurrentBits: 8, HeadBits: 16, StateBits: 16}}
	const want = 1824 + 8640 + 2048 + 29 + 166
	if got := stepCycles(instructionCost(core(t, "cortex-m4f")), s); math.Abs(got/want-1) > 0.02 {
		t.Errorf("%.0f instructions, counted %d", got, want)
	}
}

// measuredShapes are the twelve networks that the kernels and sizes were
// measured on, in the order of the lists below.
func measuredShapes() []quant.Shape {
	var shapes []quant.Shape
	for _, size := range [][3]int{{6, 4, 1}, {20, 16, 2}, {36, 40, 3}} {
		for _, weights := range []int{8, 16} {
			for _, state := range []int{16, 32} {
				shapes = append(shapes, quant.Shape{Features: size[0], Units: size[1], Outputs: size[2], Formats: quant.Formats{
					InputBits: weights, RecurrentBits: weights, HeadBits: 16, StateBits: state}})
			}
		}
	}
	return shapes
}

// Source: own measurement, mean of four steps. avr8: cycles from the cycle counter of
// simavr 1.6. Others: instructions executed under QEMU 7.2.
func TestStepMatchesExecution(t *testing.T) {
	const tolerance = 0.07
	for _, run := range []struct {
		profile  string
		measured [12]float64
	}{
		{"cortex-m0plus", [12]float64{2468, 2642, 2204, 2378, 22660, 23374, 17380, 18094, 105012, 107038, 77412, 79438}},
		{"cortex-m3", [12]float64{1638, 1742, 1638, 1742, 12819, 13235, 12819, 13235, 56386, 57447, 56386, 57447}},
		{"cortex-m4f", [12]float64{1609, 1713, 1609, 1713, 12707, 13122, 12707, 13122, 56101, 57167, 56101, 57167}},
		{"cortex-m7", [12]float64{1638, 1742, 1638, 1742, 12806, 13235, 12806, 13235, 56382, 57288, 56382, 57288}},
		{"cortex-m33", [12]float64{1638, 1742, 1638, 1742, 12819, 13235, 12819, 13235, 56386, 57447, 56386, 57447}},
		{"rv32imc", [12]float64{2093, 2196, 2213, 2316, 17304, 17516, 17304, 17516, 77126, 77732, 77129, 77734}},
		{"avr8", [12]float64{21103, 23102, 23799, 25798, 163676, 171476, 174129, 181928, 713430, 733567, 741657, 761790}},
	} {
		p := core(t, run.profile)
		if run.profile != "avr8" {
			p = instructionCost(p)
		}
		for i, s := range measuredShapes() {
			if got := stepCycles(p, s); math.Abs(got/run.measured[i]-1) > tolerance {
				t.Errorf("%s, %+v: estimate %.0f, measured %.0f", run.profile, s, got, run.measured[i])
			}
		}
	}
}

// Source: own measurement, section .text of the object file from GCC 12.2 (avr: GCC
// 5.4, with the multiplication routines of its library, 130 or 114 bytes), -O2.
func TestCodeBytesMatchCompiledSizes(t *testing.T) {
	for _, compiled := range []struct {
		profile   string
		tolerance float64 // wider where GCC copies small states in line and unrolls two outputs
		text      [12]int
	}{
		{"cortex-m0plus", 0.05, [12]int{664, 772, 664, 772, 704, 820, 688, 804, 688, 792, 672, 776}},
		{"cortex-m3", 0.07, [12]int{604, 688, 604, 688, 676, 724, 676, 724, 644, 708, 644, 708}},
		{"cortex-m4f", 0.09, [12]int{584, 672, 584, 672, 656, 716, 656, 716, 608, 688, 608, 688}},
		{"cortex-m7", 0.09, [12]int{612, 700, 612, 700, 684, 736, 684, 736, 644, 712, 644, 712}},
		{"cortex-m33", 0.07, [12]int{604, 688, 604, 688, 676, 724, 676, 724, 644, 708, 644, 708}},
		{"rv32imc", 0.05, [12]int{878, 954, 890, 966, 898, 986, 898, 986, 870, 968, 870, 968}},
		{"avr8", 0.05, [12]int{1560, 1800, 1586, 1826, 1600, 1838, 1624, 1862, 1684, 1912, 1708, 1936}},
	} {
		k := kernelsFor(core(t, compiled.profile).ISA)
		for i, s := range measuredShapes() {
			f := s.Formats
			got, want := k.codeBytes(f.InputBits, f.RecurrentBits, f.HeadBits, f.StateBits), compiled.text[i]
			if math.Abs(float64(got)/float64(want)-1) > compiled.tolerance {
				t.Errorf("%s, %+v: %d bytes, compiled %d", compiled.profile, s, got, want)
			}
		}
	}
}

// The bound must hold, and be close: within 8 bytes, the spread between sizes.
// Source: own measurement; avr8: lowest stack pointer in simavr 1.6 plus the
// return address; cortex-m4f: GCC 12.2 -fstack-usage, frames of step and row.
func TestStackBytesBoundMeasuredStack(t *testing.T) {
	for _, run := range []struct {
		profile          string
		units, stateBits int
		measured         int
	}{
		{"avr8", 4, 16, 59}, {"avr8", 4, 32, 65},
		{"avr8", 16, 16, 85}, {"avr8", 16, 32, 87},
		{"avr8", 40, 16, 133}, {"avr8", 40, 32, 135},
		{"cortex-m4f", 16, 16, 96 + 12}, {"cortex-m4f", 16, 32, 96 + 12},
	} {
		got := kernelsFor(core(t, run.profile).ISA).stackBytes(run.stateBits, run.units)
		if got < run.measured || got > run.measured+8 {
			t.Errorf("%+v: bound is %d", run, got)
		}
	}
}

// By hand: 2*5 bytes of state copy fill two units of eight.
func TestStackGrowsWithUnits(t *testing.T) {
	k := kernelsFor("rv32imc")
	got := []int{k.stackBytes(16, 4) - k.Stack.State16, k.stackBytes(16, 5) - k.Stack.State16, k.stackBytes(32, 8) - k.Stack.State32}
	if want := []int{8, 16, 16}; !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}
