package measure

import "kerf/targets"

// spend is a number of instructions of a class of targets.Profile. It may be below zero: a part of
// another figure that does not apply.
type spend struct {
	class string
	n     float64
}

// family knows the instructions of one instruction set.
type family interface {
	// spends says what an instruction costs. before is the one that was executed directly before
	// it, nil if none; isTaken tells that the next one executed does not lie behind it. An
	// instruction that is not known gives nil.
	spends(before, at *instruction, isTaken bool) []spend
}

func familyOf(p *targets.Profile) family {
	if p.ISA == "rv32imc" {
		return riscv{}
	}
	return arm{isV6: p.ISA == "armv6m", isV7M: p.ISA == "armv7m"}
}

// cost prices instructions with the costs of a profile, each combination once.
type cost struct {
	profile *targets.Profile
	family  family
	known   map[situation]price
}

// price is what an instruction spends, with the classes that the profile has, and what that costs
// in cycles.
type price struct {
	spent  []spend
	cycles float64
}

// situation is all that the cost of an instruction depends on.
type situation struct {
	before, at *instruction
	isTaken    bool
}

func newCost(p *targets.Profile) *cost {
	return &cost{profile: p, family: familyOf(p), known: map[situation]price{}}
}

// of prices an instruction; arguments as of family.spends. Errors are *InstructionError.
func (c *cost) of(before, at *instruction, isTaken bool) (price, error) {
	key := situation{before, at, isTaken}
	if v, ok := c.known[key]; ok {
		return v, nil
	}
	all := c.family.spends(before, at, isTaken)
	if all == nil {
		return price{}, &InstructionError{Instruction: at.text(), Function: at.function}
	}
	var p price
	for _, s := range all {
		if !c.profile.Has(s.class) {
			return price{}, &InstructionError{Instruction: at.text(), Function: at.function,
				Class: s.class, Profile: c.profile.Name}
		}
		p.spent = append(p.spent, s)
		// the conversion keeps every machine from fusing the two
		p.cycles += float64(s.n * c.profile.Cycles(s.class))
	}
	c.known[key] = p
	return p, nil
}

// one is a single instruction of a class.
func one(class string) []spend { return []spend{{class, 1}} }

// follows tells that at lies behind before, so that the core fetched them in a row.
func follows(before, at *instruction) bool { return before != nil && before.next == at.address }

// table makes a look-up from lists of mnemonics.
func table(lists map[string][]string) map[string]string {
	classes := map[string]string{}
	for class, names := range lists {
		for _, name := range names {
			if _, twice := classes[name]; twice {
				panic("measure: two classes for " + name)
			}
			classes[name] = class
		}
	}
	return classes
}
