package main

import (
	"fmt"
	"maps"
	"math"
	"slices"

	"kerf/budget/cost"
	"kerf/targets"
	"kerf/targets/measure"
)

// frontCalls pairs the kernels of a call with what was measured of it, per call.
func frontCalls(c cost.FrontCounts, m *measure.FrontResult, samples int) []equations {
	return []equations{
		{c.Sample, m.Sampling, float64(samples)},
		{c.Last, m.Last, 1},
		{c.Longest, m.Longest, 1},
		{c.Features, m.Features, 1},
	}
}

// equations are those of a call, one for each class of instructions.
type equations struct {
	kernels  cost.FrontRuns
	measured measure.CallResult
	calls    float64 // that were measured together
}

// counts returns the instructions of one call by class.
func (e *equations) counts() map[string]float64 {
	if e.measured.Counts == nil {
		return map[string]float64{simulated: e.measured.Cycles / e.calls}
	}
	counts := map[string]float64{}
	for class, n := range e.measured.Counts {
		counts[class] = n / e.calls
	}
	return counts
}

// fitFronts fits every instruction set, in the order of the profiles, and writes front.toml.
func fitFronts(runs []*measuredFront) error {
	var sets []*set
	of := map[string][]*measuredFront{}
	for _, r := range runs {
		if !r.isHeld {
			of[r.core.Name] = append(of[r.core.Name], r)
		}
	}
	for _, name := range targets.Names() {
		core, err := targets.Load(name)
		if err != nil {
			return err
		}
		flags := core.CompilerFlags + " " + core.Optimise
		if i := slices.IndexFunc(sets, func(s *set) bool { return s.isa == core.ISA }); i >= 0 {
			sets[i].flags = append(sets[i].flags, flags)
			continue
		}
		fitted := of[name]
		if other, ok := sameCode[name]; ok {
			for _, p := range targets.Names() {
				if c, err := targets.Load(p); err == nil && c.ISA == other && sameCode[p] == "" {
					fitted = of[p]
				}
			}
		}
		tool := fitted[0].result.Tools[0]
		s := &set{isa: core.ISA, tools: tool.Name + " " + tool.Version,
			counted: fitted[0].result.CyclesFrom, flags: []string{flags}}
		if err := s.fitFronts(fitted); err != nil {
			return fmt.Errorf("%s: %w", s.isa, err)
		}
		sets = append(sets, s)
	}
	return writeFronts(runs, sets)
}

// fitFronts fits all figures of an instruction set to the front ends that were measured with it.
func (s *set) fitFronts(runs []*measuredFront) error {
	s.kernels, s.stack = map[string]map[string]float64{}, map[string]int{}
	times := map[string][]equation{} // by class
	var code []equation
	all := map[string]bool{}
	for _, r := range runs {
		for _, e := range frontCalls(cost.FrontFunctions(r.front), r.result.Front, r.samples()) {
			for class := range e.counts() {
				all[class] = true
			}
		}
	}
	for _, r := range runs {
		counted, m := cost.FrontFunctions(r.front), r.result.Front
		for _, e := range frontCalls(counted, m, r.samples()) {
			counts, sum := e.counts(), 0.0
			for _, n := range counts {
				sum += math.Abs(n)
			}
			for class := range all {
				times[class] = append(times[class], equation{e.kernels, counts[class], 1 / sum})
			}
		}
		bytes := float64(m.Flash - m.Constants)
		code = append(code, equation{counted.Code, bytes, 1 / bytes})
		s.stack["sample"] = max(s.stack["sample"], int(m.SampleChain))
		s.stack["features"] = max(s.stack["features"],
			int(m.FeaturesChain)-cost.FrontArrays(r.front))
	}
	for _, class := range slices.Sorted(maps.Keys(all)) {
		found, err := leastSquares(times[class])
		if err != nil {
			return fmt.Errorf("%s: %w", class, err)
		}
		for kernel, v := range found {
			if s.kernels[kernel] == nil {
				s.kernels[kernel] = map[string]float64{}
			}
			if v = math.Round(100*v) / 100; v != 0 {
				s.kernels[kernel][class] = v
			}
		}
	}
	var err error
	if s.code, err = leastSquares(code); err != nil {
		return fmt.Errorf("code: %w", err)
	}
	for name, v := range s.code {
		s.code[name] = math.Round(10*v) / 10
	}
	for name := range s.stack {
		s.stack[name] += stackMargin(s.isa)
	}
	return nil
}

// samples returns those of a window.
func (s *frontSample) samples() int { return s.front.Front.Sampling.Samples }
