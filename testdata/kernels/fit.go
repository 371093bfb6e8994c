package main

import (
	"fmt"
	"maps"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"kerf/budget"
)

// set is what is fitted for one instruction set.
type set struct {
	isa     string
	cores   []string
	tools   string
	flags   []string
	counted string
	kernels map[string]map[string]float64
	code    map[string]int
	stack   map[string]int
}

// simulated is the class of cycles that a simulator counted.
const simulated = "cycle"

// counts are the instructions of a step by class.
func (m *measured) counts() map[string]float64 {
	if m.result.Counts != nil {
		return m.result.Counts
	}
	return map[string]float64{simulated: m.result.MeanCycles()}
}

func fitAll(runs []*measured) ([]*set, error) {
	var sets []*set
	byISA := map[string]*set{}
	of := map[string][]*measured{}
	for _, r := range runs {
		isa := r.core.ISA
		s := byISA[isa]
		if s == nil {
			s = &set{isa: isa, tools: r.result.Tools[0].Name + " " + r.result.Tools[0].Version, counted: r.result.CyclesFrom}
			byISA[isa] = s
			sets = append(sets, s)
		}
		if !slices.Contains(s.cores, r.core.Name) {
			s.cores = append(s.cores, r.core.Name)
			s.flags = append(s.flags, r.core.CompilerFlags+" "+r.core.Optimise)
		}
		if !r.isHeld {
			of[isa] = append(of[isa], r)
		}
	}
	for _, s := range sets {
		if err := s.fit(of[s.isa]); err != nil {
			return nil, fmt.Errorf("%s: %w", s.isa, err)
		}
	}
	return sets, nil
}

func (s *set) fit(runs []*measured) error {
	s.kernels, s.code, s.stack = map[string]map[string]float64{}, map[string]int{}, map[string]int{}
	classes := map[string]bool{}
	var times, codes []map[string]float64
	var bytes, weights, codeWeights []float64
	for _, r := range runs {
		time, code := budget.StepRuns(r.shape, s.isa)
		times, codes = append(times, time), append(codes, code)
		sum := 0.0
		for class, n := range r.counts() {
			classes[class] = true
			sum += math.Abs(n)
		}
		weights = append(weights, 1/sum)
		size := float64(r.result.Code())
		bytes = append(bytes, size)
		codeWeights = append(codeWeights, 1/size)
	}
	for _, class := range slices.Sorted(maps.Keys(classes)) {
		var values []float64
		for _, r := range runs {
			values = append(values, r.counts()[class])
		}
		found, err := leastSquares(times, values, weights, true)
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
	found, err := leastSquares(codes, bytes, codeWeights, false)
	if err != nil {
		return fmt.Errorf("code: %w", err)
	}
	for name, v := range found {
		s.code[name] = int(math.Round(v))
	}
	s.bound(runs)
	return nil
}

// bound finds what a step takes above its arrays: by kind of the layer the most seen, and the most that a further
// layer added, with stackMargin for sizes that were not compiled.
func (s *set) bound(runs []*measured) {
	for _, r := range runs {
		if len(r.shape.Layers) == 1 {
			key := budget.LayerKey(r.shape, 0)
			s.stack[key] = max(s.stack[key], int(r.result.StackChain)-budget.StackArrays(r.shape)+stackMargin)
		}
	}
	more := 0
	for _, r := range runs {
		n := len(r.shape.Layers)
		if n == 1 {
			continue
		}
		most := 0
		for i := range n {
			most = max(most, s.stack[budget.LayerKey(r.shape, i)])
		}
		beyond := int(r.result.StackChain) + stackMargin - budget.StackArrays(r.shape) - most
		more = max(more, (beyond+n-2)/(n-1))
	}
	s.stack["more_layers"] = more
}

// stackMargin is bytes of stack for sizes that were not compiled: six registers. The fewest with which the bound held on all
// networks that were held out was 18.
const stackMargin = 24

// ridge keeps kernels apart that nearly always come together, relative to their own square.
const ridge = 1e-6

// leastSquares finds coefficients c with Σ c[name]·runs[name] near to the values, each equation weighted. With
// isPositive none is below zero: the most negative is left out until none is.
func leastSquares(equations []map[string]float64, values, weights []float64, isPositive bool) (map[string]float64, error) {
	var names []string
	for _, e := range equations {
		for name := range e {
			if !slices.Contains(names, name) {
				names = append(names, name)
			}
		}
	}
	slices.Sort(names)
	found := map[string]float64{}
	for _, name := range names {
		found[name] = 0
	}
	free := slices.Clone(names)
	for len(free) > 0 {
		normal := mat.NewSymDense(len(free), nil)
		right := mat.NewVecDense(len(free), nil)
		for i, e := range equations {
			w := weights[i] * weights[i]
			for a, name := range free {
				if e[name] == 0 {
					continue
				}
				right.SetVec(a, right.AtVec(a)+w*e[name]*values[i])
				for b := a; b < len(free); b++ {
					normal.SetSym(a, b, normal.At(a, b)+w*e[name]*e[free[b]])
				}
			}
		}
		for a := range free {
			normal.SetSym(a, a, normal.At(a, a)*(1+ridge))
		}
		var factor mat.Cholesky
		if !factor.Factorize(normal) {
			return nil, fmt.Errorf("the networks do not tell the kernels apart")
		}
		var x mat.VecDense
		if err := factor.SolveVecTo(&x, right); err != nil {
			return nil, err
		}
		worst := 0
		for a := range free {
			if x.AtVec(a) < x.AtVec(worst) {
				worst = a
			}
		}
		if isPositive && x.AtVec(worst) < 0 {
			free = slices.Delete(free, worst, worst+1)
			continue
		}
		for a, name := range free {
			found[name] = x.AtVec(a)
		}
		break
	}
	return found, nil
}
