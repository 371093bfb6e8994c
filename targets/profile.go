// Package targets holds profiles of microcontroller cores: what an instruction costs, with the
// source of every figure. Profiles are data (TOML files); those of the package are embedded, and a
// user's own are read by the same code. The package also reads and prints the quantities that such
// files use, and decodes TOML strictly, with the place of every mistake.
//
// Cycle costs assume zero wait states and aligned data; what flash adds stands apart ([FlashWait]).
// They are counts per instruction of a class, so a sum over them is an estimate until it is
// measured on the device.
package targets

import "fmt"

// Profile describes one core.
type Profile struct {
	Name  string `toml:"name"`  // "cortex-m4f": lower-case letters, digits and hyphens
	Title string `toml:"title"` // for reports
	// ISA is the instruction set: armv6m, armv7m, armv7em, armv8m, rv32imc or avr.
	ISA      string `toml:"isa"`
	WordBits int    `toml:"word_bits"` // width of a register, in bits
	// DualMAC says that one instruction multiplies and adds two pairs of 16-bit numbers.
	DualMAC       bool   `toml:"dual_mac"`
	CompilerFlags string `toml:"compiler_flags"` // GCC options that select the core
	// Optimise are the GCC options under which the emitted C runs fastest there; estimates hold for
	// them.
	Optimise string `toml:"optimise"`
	// TimingKind says where the costs come from as a whole: "official", "measured by third parties"
	// or "own measurement".
	TimingKind string          `toml:"timing_kind"`
	Notes      []string        `toml:"notes,omitempty"`
	Costs      map[string]Cost `toml:"cost"` // by instruction class

	// What follows belongs to a part with the core, and may be left out.

	MaxClock *Hertz `toml:"max_clock"`
	Flash    *Bytes `toml:"flash"`
	RAM      *Bytes `toml:"ram"`
	Power    Power  `toml:"power,omitempty"`
	// by clock, the lowest first; none: flash keeps up at every clock
	FlashWaits []FlashWait `toml:"flash_wait,omitempty"`
}

// MostCycles bounds every figure in cycles that a user gives: hours of one step at any clock, and
// sums of such figures stay finite.
const MostCycles = 1e12

// MostClassCycles bounds what one instruction takes. The largest figure of the profiles here is 38
// (divide of rv32imc); the largest known of any core in reach is 72 (MULH of PicoRV32, from its
// README, from memory).
const MostClassCycles = 100

// Cost is what one instruction of a class takes.
type Cost struct {
	// above zero, only push_pop_base may be zero; at most MostClassCycles
	Cycles float64 `toml:"cycles"`
	Source string  `toml:"source"` // document and place
	// Quality says how the figure came from the source: "manual" (read in the maker's own text),
	// "copy" (read in a copy of it), "third-party" (measured by others), "own measurement",
	// "derived" (arithmetic from other figures) or "from memory".
	Quality string `toml:"quality"`
	Note    string `toml:"note,omitempty"` // range, build option, condition; may be empty
}

// class is one row of the cost table.
type class struct {
	name       string
	isOptional bool
	mayBeFree  bool
	isJump     bool // the next instruction is fetched from another place
	isNoFetch  bool // no instruction by itself
}

// mulLong may be left out only where the instruction set does not have it.
const mulLong = "mul_long"

// classes are the instruction classes, in the order of reports. On an 8-bit core each means the
// 8-bit instruction; wider arithmetic takes several.
//
//	alu               add, subtract, logic, compare, move, extend
//	shift             by constant or register; on avr one bit of one byte
//	mul               32x32 to 32 bits; on avr 8x8 to 16
//	mul_acc           multiply and add: 16x16+32 or 32x32+32; mul plus alu where the core has no such instruction
//	mul_long          32x32 to 64 bits; left out where that takes a library call, on armv6m and avr alone
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
// The rest may be left out: where the core has no such instruction or no figure was found.
//
//	divide            integer, 32 bits
//	store_indexed     store with a register as offset; as store when left out
//	address_wait      added when the address of a load or store is the result of the instruction in front
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

// substitutes are classes that a profile may leave out, with what takes their place: another class,
// or no cost.
var substitutes = map[string]string{"store_indexed": "store", "address_wait": "", "float_wait": ""}

// Cycles returns the cost of one instruction of a class, in cycles. Where a profile leaves out a
// class that only refines another, the other counts. It panics if the profile does not have the
// class; see Has for those that may be absent.
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
