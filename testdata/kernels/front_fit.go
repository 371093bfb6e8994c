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

// frontPart is a call or a function of a front end as it is counted and as it was measured.
type frontPart struct {
	kernels, code cost.FrontRuns
	cycles        float64
	classes       map[string]float64
	bytes         float64
	hasCode       bool
}

// frontParts pairs what is counted of a front end with what was measured of it.
func frontParts(r *measuredFront) []frontPart {
	c, m := cost.FrontFunctions(r.front, r.given, r.core.ISA), r.result.Front
	ofCall := func(kernels cost.FrontRuns, call measure.CallResult, calls float64) frontPart {
		p := frontPart{kernels: kernels, cycles: call.Cycles / calls}
		if call.Counts != nil {
			p.classes = map[string]float64{}
			for class, n := range call.Counts {
				p.classes[class] = n / calls
			}
		}
		return p
	}
	parts := []frontPart{ofCall(c.Sample, m.Sampling, float64(r.samples())),
		ofCall(c.Last, m.Last, 1), ofCall(c.Longest, m.Longest, 1)}
	rest := float64(m.Flash) - float64(r.front.TableBytes(r.given))
	for _, f := range m.Functions {
		rest -= float64(f.Code)
	}
	parts = append(parts, frontPart{code: c.Code, bytes: rest, hasCode: true},
		frontPart{code: c.SampleCode, bytes: float64(m.Functions["net_sample"].Code),
			hasCode: true})
	for _, f := range c.Functions {
		of := m.Functions["net_"+f.Name]
		if of == nil {
			continue
		}
		p := frontPart{kernels: maps.Clone(f.Kernels), code: maps.Clone(f.Code), cycles: of.Cycles,
			classes: of.Counts, bytes: float64(of.Code), hasCode: true}
		for _, other := range c.Functions { // that stand in it
			if other.Within == f.Name && m.Functions["net_"+other.Name] == nil {
				add(p.kernels, other.Kernels)
				add(p.code, other.Code)
			}
		}
		if f.Name == "features" { // what it calls once stands in it, what it calls often behind it
			add(p.code, c.Code)
			p.bytes += rest
		}
		parts = append(parts, p)
	}
	return parts
}

// add adds the numbers of b to a.
func add(a, b cost.FrontRuns) {
	for name, n := range b {
		a[name] += n
	}
}

// counts returns instructions by class.
func (p *frontPart) counts() map[string]float64 {
	if p.classes == nil {
		return map[string]float64{simulated: p.cycles}
	}
	return p.classes
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
		for _, p := range frontParts(r) {
			if p.cycles == 0 {
				continue
			}
			for class := range p.counts() {
				all[class] = true
			}
		}
	}
	for _, r := range runs {
		for _, p := range frontParts(r) {
			if p.hasCode {
				code = append(code, equation{p.code, p.bytes, 1})
			}
			if p.cycles == 0 { // code alone, or a function that no feature needs
				continue
			}
			counts, sum := p.counts(), 0.0
			for _, n := range counts {
				sum += math.Abs(n)
			}
			for class := range all {
				times[class] = append(times[class], equation{p.kernels, counts[class], 1 / sum})
			}
		}
		m := r.result.Front
		s.stack["sample"] = max(s.stack["sample"], int(m.SampleChain))
		s.stack["features"] = max(s.stack["features"],
			int(m.FeaturesChain)-cost.FrontArrays(r.front))
	}
	if err := s.solve(times, code); err != nil {
		return err
	}
	s.stack["sample"] += stackMargin(s.isa)
	s.stack["features"] += frontStackMargin
	return nil
}

// frontStackMargin is added to the deepest stack of name_features, whose frame follows from what
// the compiler keeps of all features at once. Our choice: two steps of the widest alignment. Of
// front ends that judged an earlier C one was 12 bytes deeper than the deepest of the fit.
const frontStackMargin = 32

// samples returns those of a window.
func (s *frontSample) samples() int { return s.front.Front.Sampling.Samples }
