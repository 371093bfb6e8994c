package measure

import "kerf/targets"

// spend is a number of instructions of a class of targets.Profile. The number is below zero where
// the cost of another class holds a part that does not apply.
type spend struct {
	class string
	n     float64
}

// family knows the instructions of one instruction set.
type family interface {
	// spends returns the cost of instruction at, nil if its mnemonic is not known. before is the
	// instruction that was executed directly before it, nil if none; isTaken says that the next
	// executed instruction is not the one behind at in memory.
	spends(before, at *instruction, isTaken bool) []spend
}

// familyOf returns the family of a profile whose instruction set is emulated by QEMU.
func familyOf(p *targets.Profile) family {
	if p.ISA == "rv32imc" {
		return riscv{}
	}
	return arm{isV6: p.ISA == "armv6m", isV7M: p.ISA == "armv7m"}
}

// cost prices instructions with the costs of a profile.
type cost struct {
	profile *targets.Profile
	family  family
	known   map[situation]price // the prices found so far
}

// price is the cost of one executed instruction: by classes of the profile, and in cycles.
type price struct {
	spent  []spend
	cycles float64
}

// situation holds everything that the cost of an instruction depends on; see family.spends.
type situation struct {
	before, at *instruction
	isTaken    bool
}

func newCost(p *targets.Profile) *cost {
	return &cost{profile: p, family: familyOf(p), known: map[situation]price{}}
}

// of returns the price of an instruction; the arguments are those of family.spends. An instruction
// without a class or cost is an error.
func (c *cost) of(before, at *instruction, isTaken bool) (price, error) {
	key := situation{before, at, isTaken}
	if v, ok := c.known[key]; ok {
		return v, nil
	}
	all := c.family.spends(before, at, isTaken)
	if all == nil {
		return price{}, withoutClass(at)
	}
	var p price
	for _, s := range all {
		if !c.profile.Has(s.class) {
			return price{}, withoutCost(at, s.class, c.profile.Name)
		}
		p.spent = append(p.spent, s)
		// The explicit conversion keeps processors from fusing the product with the sum.
		p.cycles += float64(s.n * c.profile.Cycles(s.class))
	}
	c.known[key] = p
	return p, nil
}

// one returns the cost of a single instruction of a class.
func one(class string) []spend { return []spend{{class, 1}} }

// follows reports whether at lies behind before in memory, so that the core fetched the two in a
// row.
func follows(before, at *instruction) bool { return before != nil && before.next == at.address }

// table turns lists of mnemonics by class into a map from mnemonic to class. It panics if a
// mnemonic has two classes.
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
