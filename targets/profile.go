package targets

import "fmt"

// Profile describes one core and, where it is known, the part around it.
type Profile struct {
	Name  string `toml:"name"`  // "cortex-m4f": lower-case letters, digits and hyphens
	Title string `toml:"title"` // name of the core in reports
	// ISA is the instruction set: armv6m, armv7m, armv7em, armv8m, rv32imc or avr.
	ISA      string `toml:"isa"`
	WordBits int    `toml:"word_bits"` // width of a register, in bits
	// DualMAC says that one instruction multiplies and adds two pairs of 16-bit numbers.
	DualMAC       bool   `toml:"dual_mac"`
	CompilerFlags string `toml:"compiler_flags"` // GCC options that select the core
	// Optimise holds the GCC options with which the emitted C runs fastest on the core. Estimates
	// hold for these options.
	Optimise string `toml:"optimise"`
	// TimingKind says where the costs come from as a whole: "official", "measured by third parties"
	// or "own measurement".
	TimingKind string          `toml:"timing_kind"`
	Notes      []string        `toml:"notes,omitempty"` // what a reader of the figures should know
	Costs      map[string]Cost `toml:"cost"`            // by instruction class

	// The fields below describe a part that has the core. All of them may be left out.

	MaxClock *Hertz `toml:"max_clock"`       // highest clock of the part; nil: not known
	Flash    *Bytes `toml:"flash"`           // size of its flash; nil: not known
	RAM      *Bytes `toml:"ram"`             // size of its RAM; nil: not known
	Power    Power  `toml:"power,omitempty"` // currents and supply voltage
	// FlashWaits are ranges of clocks, the lowest first. With no range flash keeps up at every
	// clock.
	FlashWaits []FlashWait `toml:"flash_wait,omitempty"`
}

// MostCycles bounds every figure in cycles that a user gives. Our choice: one step of so many
// cycles takes over four hours at 64 MHz, and sums of such figures stay finite.
const MostCycles = 1e12

// MostClassCycles bounds the cycles of one instruction. The largest figure of the built-in profiles
// is 38 (divide of rv32imc); the largest known of any core in reach is 72 (MULH of PicoRV32, from
// its README, from memory).
const MostClassCycles = 100

// Cost is what one instruction of a class takes.
type Cost struct {
	// Cycles is above zero, for push_pop_base zero or more, and at most MostClassCycles.
	Cycles float64 `toml:"cycles"`
	Source string  `toml:"source"` // document and place in it
	// Quality says how the figure came from the source: "manual" (read in the maker's own text),
	// "copy" (read in a copy of it), "third-party" (measured by others), "own measurement",
	// "derived" (arithmetic from other figures) or "from memory".
	Quality string `toml:"quality"`
	Note    string `toml:"note,omitempty"` // range, build option, condition; may be empty
}

// class is one row of the cost table.
type class struct {
	name       string
	isOptional bool // a profile may leave the class out
	mayBeFree  bool // its cost may be zero
	isJump     bool // the next instruction is fetched from another place
	isNoFetch  bool // the cost is part of an instruction that another class fetches
}

// mulLong is the class of long multiplications. A profile may leave it out only where the
// instruction set has none.
const mulLong = "mul_long"

// classes are the instruction classes, in the order of reports. On an 8-bit core a class means the
// 8-bit instruction; wider arithmetic takes several instructions.
//
//	alu               add, subtract, logic, compare, move, extend
//	shift             by constant or register; on avr one bit of one byte
//	mul               32x32 to 32 bits; on avr 8x8 to 16
//	mul_acc           multiply and add: 16x16+32 or 32x32+32; where the core has no such
//	                  instruction, mul plus alu
//	mul_long          32x32 to 64 bits; left out on armv6m and avr, where it takes a library call
//	load              from RAM, alone
//	load_next         from RAM, directly behind another load
//	load_flash        of a constant from flash; on avr the LPM instruction
//	store             to RAM
//	branch_taken      conditional
//	branch_not_taken  conditional
//	call, return      of a function
//	push_pop_base     PUSH or POP of N registers takes push_pop_base + N * push_pop_each
//	push_pop_each
//
// A profile may leave out the classes below, where the core has no such instruction or no figure
// was found.
//
//	divide            integer, 32 bits
//	store_indexed     store with a register as offset; as store when left out
//	address_wait      added when the address of a load or store is the result of the instruction
//	                  in front
//	float             single-precision add, subtract, multiply, compare, convert, copy
//	float_mac         multiply and add
//	float_div         divide, square root
//	float_load        of one number
//	float_store       of one number
//	float_move        of one word between core and float registers
//	float_wait        added when the next instruction needs the result of a float
var classes = []class{
	{name: "alu"}, {name: "shift"},
	{name: "mul"}, {name: "mul_acc"}, {name: mulLong, isOptional: true},
	{name: "load"}, {name: "load_next"}, {name: "load_flash"}, {name: "store"},
	{name: "branch_taken", isJump: true}, {name: "branch_not_taken"}, {name: "call", isJump: true},
	{name: "return", isJump: true},
	{name: "push_pop_base", mayBeFree: true}, {name: "push_pop_each", isNoFetch: true},
	{name: "divide", isOptional: true}, {name: "store_indexed", isOptional: true},
	{name: "address_wait", isOptional: true, isNoFetch: true},
	{name: "float", isOptional: true}, {name: "float_mac", isOptional: true},
	{name: "float_div", isOptional: true},
	{name: "float_load", isOptional: true}, {name: "float_store", isOptional: true},
	{name: "float_move", isOptional: true},
	{name: "float_wait", isOptional: true, isNoFetch: true},
}

// substitutes maps a class that only refines others to the class that counts where a profile leaves
// the refinement out; an empty name stands for no cost.
var substitutes = map[string]string{"store_indexed": "store", "address_wait": "", "float_wait": ""}

// Cycles returns the cost of one instruction of a class, in cycles. Where a profile leaves out a
// class that only refines another one, Cycles returns the cost of the other one. It panics if the
// profile has neither; see Has.
func (p *Profile) Cycles(class string) float64 {
	c, ok := p.Costs[class]
	if !ok {
		if other, isFine := substitutes[class]; isFine && other != "" {
			return p.Cycles(other)
		} else if isFine {
			return 0
		}
		panic(fmt.Sprintf("targets: profile %s has no instruction class %q", p.Name, class))
	}
	return c.Cycles
}

// Has reports whether Cycles knows a cost for a class.
func (p *Profile) Has(class string) bool {
	_, ok := p.Costs[class]
	if other, isFine := substitutes[class]; !ok && isFine {
		return other == "" || p.Has(other)
	}
	return ok
}
