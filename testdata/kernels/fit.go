package main

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/mat"

	"kerf/budget/cost"
	"kerf/targets"
	"kerf/targets/measure"
)

// set holds the fitted figures of one instruction set.
type set struct {
	isa   string
	tools string // compiler and its version
	// compiler options of the profiles with the instruction set
	flags   []string
	counted string                        // the source of the cycles
	kernels map[string]map[string]float64 // instructions of one run of a kernel, by class
	code    map[string]float64            // bytes by part of the code
	stack   map[string]int                // bytes by budget.StackKey
	plain   *set                          // what plain C reads rows with; nil: no small form
}

// simulated is the class of cycles that a simulator counted.
const simulated = "cycle"

// classes returns the instructions of a function in a step by class.
func classes(f *measure.Function) map[string]float64 {
	if f.Counts != nil {
		return f.Counts
	}
	return map[string]float64{simulated: f.Cycles}
}

// fewest is the least number of features and units of the networks in the fit. Compilers write out
// loops over fewer, which makes other code: estimates are rough there.
const fewest = 3

// isLarge reports whether a network has enough features and units for the fit.
func (s *sample) isLarge() bool {
	least := s.shape.Features
	for _, l := range s.shape.Layers {
		least = min(least, l.Units)
	}
	return least >= fewest
}

// fitAll fits every instruction set, in the order of the profiles.
func fitAll(runs []*measured) ([]*set, error) {
	var sets []*set
	of := map[string][]*measured{}
	small := map[string][]*measured{}
	for _, r := range runs {
		switch {
		case r.isHeld || !r.isLarge():
		case r.form == cost.Small:
			small[r.core.ISA] = append(small[r.core.ISA], r)
		default:
			of[r.core.ISA] = append(of[r.core.ISA], r)
		}
	}
	for _, name := range targets.Names() {
		core, err := targets.Load(name)
		if err != nil {
			return nil, err
		}
		flags := core.CompilerFlags + " " + core.Optimise
		if i := slices.IndexFunc(sets, func(s *set) bool { return s.isa == core.ISA }); i >= 0 {
			sets[i].flags = append(sets[i].flags, flags)
			continue
		}
		isa := core.ISA
		if other, ok := sameCode[name]; ok {
			isa = other
		}
		fitted := of[isa]
		tool := fitted[0].result.Tools[0]
		s := &set{isa: core.ISA, tools: tool.Name + " " + tool.Version,
			counted: fitted[0].result.CyclesFrom, flags: []string{flags}}
		if err := s.fit(fitted, knownCode[s.isa]); err != nil {
			return nil, fmt.Errorf("%s: %w", s.isa, err)
		}
		maps.Copy(s.code, knownCode[s.isa])
		if hasSmall(core) {
			s.plain = &set{isa: s.isa}
			if err := s.plain.fit(small[isa], s.codeBesideRows()); err != nil {
				return nil, fmt.Errorf("%s, small form: %w", s.isa, err)
			}
		}
		sets = append(sets, s)
	}
	return sets, nil
}

// equation says that the sum of terms, each times the coefficient of its name, is a value. Its
// deviation counts with the weight.
type equation struct {
	terms         map[string]float64
	value, weight float64
}

// readsRows reports whether a kernel, or the function that a figure of the stack is of, reads rows.
func readsRows(name string) bool {
	return strings.HasPrefix(name, "rows") || strings.HasPrefix(name, "sums")
}

// codeBesideRows returns the bytes of code of everything that does not read rows.
func (s *set) codeBesideRows() map[string]float64 {
	all := maps.Clone(s.code)
	maps.DeleteFunc(all, func(name string, _ float64) bool { return readsRows(name) })
	return all
}

// fit fits the figures of an instruction set to the networks that were measured with it, all in one
// form. The bytes of some kernels are known. Of the small form nothing but reading rows is fitted:
// all else is the same code.
func (s *set) fit(runs []*measured, known map[string]float64) error {
	s.kernels, s.code, s.stack = map[string]map[string]float64{}, nil, map[string]int{}
	all := map[string]bool{} // classes
	for _, r := range runs {
		for _, f := range r.result.Functions {
			for class := range classes(f) {
				all[class] = true
			}
		}
	}
	times := map[string][]equation{} // by class
	var code []equation
	for _, r := range runs {
		own, shared := cost.Functions(r.shape, s.isa, r.form)
		rest := float64(r.result.Code())
		for _, f := range own {
			m := r.result.Functions["net_"+f.Name]
			if m == nil {
				return fmt.Errorf("%s: the compiler did not keep %s apart", r.result.Network,
					f.Name)
			}
			rest -= float64(m.Code)
			if r.form == cost.Small && !readsRows(f.StackKey) {
				continue
			}
			counts, sum := classes(m), 0.0
			for _, n := range counts {
				sum += math.Abs(n)
			}
			for class := range all {
				times[class] = append(times[class], equation{f.Kernels, counts[class], 1 / sum})
			}
			code = append(code,
				equation{f.Code, float64(m.Code), 1 / max(smallCode, float64(m.Code))})
			s.stack[f.StackKey] = max(s.stack[f.StackKey], f.StackFigure(int(m.Frame),
				int(m.Chain)))
		}
		for name, bytes := range known {
			rest -= float64(shared[name] * bytes)
			delete(shared, name)
		}
		code = append(code, equation{shared, rest, 1 / max(smallCode, rest)})
	}
	if err := s.solve(times, code); err != nil {
		return err
	}
	for name := range s.stack {
		s.stack[name] = max(0, s.stack[name]) + stackMargin(s.isa)
	}
	return nil
}

// solve finds the counts of kernels by class, and the bytes of their code.
func (s *set) solve(times map[string][]equation, code []equation) error {
	for _, class := range slices.Sorted(maps.Keys(times)) {
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
	return nil
}

// knownCode holds the bytes of the kernels in assembler by instruction set: of the function, of a
// tile, and of a loop over tiles. Read with nm -S in objects of networks of 2 to 50 columns; where
// an assembler takes a longer instruction for a far offset, the mean.
var knownCode = map[string]map[string]float64{
	"armv6m": {"rows4_group": 152, "rows4_tile": 74, "rows4_loop": 16, "sums4_group": 56,
		"sums4_tile": 74, "sums4_loop": 16, "rows8_group": 162, "rows8_tile": 54, "rows8_loop": 14,
		"sums8_group": 66, "sums8_tile": 54, "sums8_loop": 14, "rows16_group": 162,
		"rows16_tile": 54, "rows16_loop": 14, "sums16_group": 66, "sums16_tile": 54,
		"sums16_loop": 14},
	"armv7m": {"rows4_group": 86, "rows4_tile": 76.2, "rows4_loop": 28, "sums4_group": 23.4,
		"sums4_tile": 76.2, "sums4_loop": 28, "rows8_group": 86, "rows8_tile": 72.2,
		"rows8_loop": 28, "sums8_group": 23.4, "sums8_tile": 72.2, "sums8_loop": 28,
		"rows16_group": 86, "rows16_tile": 72.2, "rows16_loop": 28, "sums16_group": 23.4,
		"sums16_tile": 72.2, "sums16_loop": 28},
	"armv7em": dualCode,
	"armv8m":  dualCode,
	"rv32imc": {"rows4_group": 1220, "sums4_group": 176, "rows8_group": 1076, "sums8_group": 140,
		"rows16_group": 1076, "sums16_group": 140},
	"avr": {"rows4_group": 646, "sums4_group": 352, "rows8_group": 626, "sums8_group": 332,
		"rows16_group": 644, "sums16_group": 350},
}

// dualCode is knownCode of both instruction sets with dual multiply-accumulate.
var dualCode = map[string]float64{"rows4_group": 110, "rows4_tile": 40.2, "rows4_loop": 27,
	"sums4_group": 46, "sums4_tile": 40.2, "sums4_loop": 27, "rows8_group": 134,
	"rows8_tile": 36.2, "rows8_loop": 27, "sums8_group": 70, "sums8_tile": 36.2, "sums8_loop": 27,
	"rows16_group": 86, "rows16_tile": 34.9, "rows16_loop": 27, "sums16_group": 20,
	"sums16_tile": 34.9, "sums16_loop": 27}

// smallCode is the size in bytes below which all functions weigh the same in the fit of code. Our
// choice: a byte more or less is no error there.
const smallCode = 100

// stackMargin returns the bytes that are added to the stack of every function, for sizes that were
// not compiled: two registers of 32 bits, or four of 8.
func stackMargin(isa string) int {
	if isa == "avr" {
		return 4
	}
	return 8
}

// ridge is added to the diagonal of the normal equations, relative to it. It keeps kernels apart
// that nearly always come together. Our choice.
const ridge = 1e-6

// leastSquares returns the coefficients with the least sum of squared weighted deviations.
func leastSquares(equations []equation) (map[string]float64, error) {
	index := map[string]int{}
	var names []string
	for _, e := range equations {
		for name := range e.terms {
			if _, ok := index[name]; !ok {
				index[name] = 0
				names = append(names, name)
			}
		}
	}
	slices.Sort(names)
	for i, name := range names {
		index[name] = i
	}
	normal := mat.NewSymDense(len(names), nil)
	right := mat.NewVecDense(len(names), nil)
	for _, e := range equations {
		w := e.weight * e.weight
		for _, name := range slices.Sorted(maps.Keys(e.terms)) {
			a := index[name]
			right.SetVec(a, right.AtVec(a)+w*e.terms[name]*e.value)
			for other, n := range e.terms {
				if b := index[other]; b >= a {
					normal.SetSym(a, b, normal.At(a, b)+w*e.terms[name]*n)
				}
			}
		}
	}
	for a := range names {
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
	found := map[string]float64{}
	for a, name := range names {
		found[name] = x.AtVec(a)
	}
	return found, nil
}
