package targets

import (
	"fmt"
	"io"
	"math"
	"regexp"
	"slices"
	"strings"

	"kerf/fault"
	"kerf/whole"
)

// isaFacts are the properties that follow from an instruction set alone.
type isaFacts struct {
	name       string
	wordBits   int   // width of a register, in bits
	hasDualMAC bool  // a core may have dual 16-bit multiply-accumulate
	hasLongMul bool  // multiplies 32x32 to 64 bits: SMULL, or MULH beside MUL
	vectors    int64 // least vector table in flash, in bytes
}

// isas are the known instruction sets. Sources:
//
//   - Register widths: Armv6-M and Armv7-M Architecture Reference Manuals (DDI 0419, DDI 0403), The
//     RISC-V Instruction Set Manual volume I, AVR Instruction Set Manual DS40002198.
//   - Dual multiply-accumulate: SMLAD belongs to the DSP extension, which exists from Armv7E-M and
//     Armv8-M Mainline on (Cortex-M4 Technical Reference Manual DDI 0439D, Table 3-2, lists it;
//     Cortex-M3 Technical Reference Manual 100165_0201_02_en, Table 3-1, does not).
//   - Vectors: on arm the stack pointer and 15 exceptions of a word each (DDI 0419 and DDI 0403,
//     section B1.5.3, numbers from memory); on the others no less than one jump at reset.
var isas = []isaFacts{
	{"armv6m", 32, false, false, 64}, {"armv7m", 32, false, true, 64},
	{"armv7em", 32, true, true, 64}, {"armv8m", 32, true, true, 64},
	{"rv32imc", 32, false, true, 4}, {"avr", 8, false, false, 4},
}

var (
	timingKinds = []string{"official", "measured by third parties", "own measurement"}
	qualities   = []string{"manual", "copy", "third-party", "own measurement", "derived",
		"from memory"}
	// Other compiler options than those of the two patterns can name files and programs.
	optimisation = regexp.MustCompile(`^-O([0-3sgz]|fast)( -f[a-z0-9-]+)*$`)
	coreFlags    = regexp.MustCompile(
		`^-m[a-z0-9-]+(=[A-Za-z0-9_.+-]+)?( +-m[a-z0-9-]+(=[A-Za-z0-9_.+-]+)?)*$`)
	profileName = regexp.MustCompile(`^[a-z][a-z0-9]*(-[a-z0-9]+)*$`)
)

// ReadFile reads a user's profile: a TOML file with the same keys as the built-in profiles.
// Errors are [*fault.Error].
func ReadFile(path string) (*Profile, error) {
	data, err := readLimited(path)
	if err != nil {
		return nil, fault.OfFile(path, "cannot read the profile", err, "give the path of a TOML "+
			"file, or one of the built-in profiles: "+strings.Join(Names(), ", "))
	}
	return Parse(data, path)
}

// readLimited reads a file up to one byte more than MaxFileBytes, which shows that it is too large.
func readLimited(path string) ([]byte, error) {
	file, _, err := whole.OpenRegular(path)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	return io.ReadAll(io.LimitReader(file, MaxFileBytes+1))
}

// Parse reads a profile from a TOML text; file is its name in errors. Every key is required except
// dual_mac (false if absent), optimise ("-O2" if absent), the notes, the costs of optional classes
// (see the list of classes in profile.go) and the keys about a part around the core (part.go).
// Errors are [*fault.Error].
func Parse(data []byte, file string) (*Profile, error) {
	p := &Profile{}
	if err := StrictDecode(data, file, p); err != nil {
		return nil, err
	}
	v := &validator{data: data, file: file}
	v.profile(p)
	if v.err != nil {
		return nil, v.err
	}
	return p, nil
}

// validator checks the conditions on a profile that its Go types do not express.
type validator struct {
	data []byte // the TOML text
	file string // its name in errors
	err  error  // the first mistake
}

// require keeps a mistake at path unless ok, or unless there is an earlier mistake.
func (v *validator) require(ok bool, path []any, hint, format string, args ...any) {
	if ok || v.err != nil {
		return
	}
	e := &fault.Error{File: v.file, Msg: fmt.Sprintf(format, args...), Hint: hint}
	e.Line, e.Column = Locate(v.data, path...)
	v.err = e
}

// oneOf requires value, which stands at path, to be one of allowed.
func (v *validator) oneOf(value string, allowed []string, path ...any) {
	key := path[len(path)-1]
	v.require(value != "", path, "write one of: "+strings.Join(allowed, ", "), "%s is missing", key)
	v.require(slices.Contains(allowed, value), path, fault.DidYouMean(value, allowed),
		"unknown %s %q",
		key, value)
}

// profile checks a whole profile, and sets the default of Optimise.
func (v *validator) profile(p *Profile) {
	v.require(profileName.MatchString(p.Name), []any{"name"},
		`use lower-case letters, digits and hyphens, such as "cortex-m4f"`,
		"profile name %q is not allowed", p.Name)
	v.require(strings.TrimSpace(p.Title) != "", []any{"title"},
		"write the name of the core for reports", "title is missing")
	v.require(strings.TrimSpace(p.CompilerFlags) != "", []any{"compiler_flags"},
		"write the compiler options that select the core", "compiler_flags is missing")
	v.require(AreCoreFlags(p.CompilerFlags), []any{"compiler_flags"},
		`write options that begin with -m only, such as "-mcpu=cortex-m4 -mthumb"`,
		"compiler_flags %q do more than select a core", p.CompilerFlags)
	if p.Optimise == "" {
		p.Optimise = "-O2"
	}
	v.require(AreOptimisationFlags(p.Optimise), []any{"optimise"}, `write GCC flags such as "-O2"`,
		"optimise %q are no optimisation flags", p.Optimise)
	var names []string
	for _, isa := range isas {
		names = append(names, isa.name)
	}
	v.oneOf(p.ISA, names, "isa")
	v.oneOf(p.TimingKind, timingKinds, "timing_kind")
	if isa, ok := factsOf(p.ISA); ok {
		v.require(p.WordBits == isa.wordBits, []any{"word_bits"},
			fmt.Sprintf("write word_bits = %d", isa.wordBits),
			"%s has words of %d bits, not %d", isa.name, isa.wordBits, p.WordBits)
		v.require(isa.hasDualMAC || !p.DualMAC, []any{"dual_mac"}, "write dual_mac = false",
			"%s has no dual 16-bit multiply-accumulate", isa.name)
	}
	v.costs(p)
	v.part(p)
}

// factsOf returns the facts of an instruction set; the second result is false if it is not known.
func factsOf(isa string) (isaFacts, bool) {
	i := slices.IndexFunc(isas, func(f isaFacts) bool { return f.name == isa })
	if i < 0 {
		return isaFacts{}, false
	}
	return isas[i], true
}

// costs checks that every class of instructions has a sensible cost and none is unknown.
func (v *validator) costs(p *Profile) {
	isa, _ := factsOf(p.ISA)
	var names []string
	for _, c := range classes {
		names = append(names, c.name)
	}
	for _, name := range sortedKeys(p.Costs) {
		v.require(slices.Contains(names, name), []any{"cost", name}, fault.DidYouMean(name, names),
			"unknown instruction class %q", name)
	}
	for _, c := range classes {
		cost, ok := p.Costs[c.name]
		if !ok {
			isOptional := c.isOptional && !(c.name == mulLong && isa.hasLongMul)
			v.require(isOptional, []any{"cost"}, fmt.Sprintf(
				`add %s = { cycles = ..., source = "...", quality = "..." }`, c.name),
				"cost of %s is missing", c.name)
			continue
		}
		limit := "above zero"
		if c.mayBeFree {
			limit = "zero or more"
		}
		isAllowed := cost.Cycles > 0 || c.mayBeFree && cost.Cycles == 0
		v.require(isAllowed && !math.IsInf(cost.Cycles, 0), []any{"cost", c.name, "cycles"},
			"write the cycles that one instruction takes",
			"cycles of %s must be %s and finite, not %v", c.name, limit, cost.Cycles)
		v.require(!(cost.Cycles > MostClassCycles), []any{"cost", c.name, "cycles"},
			fmt.Sprintf("write the cycles that one instruction takes, at most %d", MostClassCycles),
			"%v cycles of %s are more than one instruction takes", cost.Cycles, c.name)
		v.require(strings.TrimSpace(cost.Source) != "", []any{"cost", c.name, "source"},
			"name the document and table, or the measurement", "cost of %s has no source", c.name)
		v.oneOf(cost.Quality, qualities, "cost", c.name, "quality")
	}
}

// AreCoreFlags reports whether compiler options select a core and do nothing else.
func AreCoreFlags(text string) bool { return coreFlags.MatchString(text) }

// AreOptimisationFlags reports whether compiler options say how to optimise and do nothing else.
func AreOptimisationFlags(text string) bool { return optimisation.MatchString(text) }
