package emit

import (
	"cmp"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"kerf/budget"
	"kerf/budget/cost"
	"kerf/targets"
)

// BuildTarget is what compiling for one target of the job takes.
type BuildTarget struct {
	Name     string `json:"target"`         // as build files spell it
	Core     string `json:"compiler_flags"` // select the core; for the toolchain, not the fragment
	Optimise string `json:"optimise"`       // compiler options that the sign-off holds for
	InRAM    bool   `json:"weights_in_ram"` // weights are copied to RAM at start
	// Portable says that rows of weights are read by plain C, the small form.
	Portable bool `json:"portable,omitempty"`
	// Compiler is the one that the job names, or else GCC with the version that the estimates of
	// code, stack and cycles hold for; empty in a file of an older kerf.
	Compiler string `json:"compiler,omitempty"`
	// Named lists the keys of the target in the job that say so.
	Named []string `json:"named,omitempty"`
	// NoEstimates says that there are no estimates for this build.
	NoEstimates bool `json:"no_estimates,omitempty"`
	// Dropped are options that build files could misread, and that are left out of Core and
	// Optimise.
	Dropped []string `json:"dropped,omitempty"`
}

// Keys of a target in the job that name its build.
const (
	NamedCompiler = "compiler"
	NamedFlags    = "flags"
)

// buildName matches the characters that CMake or Make do not take literally.
var buildName = regexp.MustCompile(`[^A-Za-z0-9_.+-]`)

// BuildTargets returns the targets of a job, as a candidate is built for them. Two that would be
// spelled alike keep one entry.
func BuildTargets(in *budget.Inputs, c budget.Candidate) []BuildTarget {
	all := []BuildTarget{}
	for _, t := range in.Targets {
		name := BuildName(t.Name)
		if slices.ContainsFunc(all, func(b BuildTarget) bool { return b.Name == name }) {
			continue
		}
		made := t.Build()
		b := BuildTarget{Name: name, InRAM: t.WeightsInRAM(), Compiler: made.Compiler,
			NoEstimates: !t.HasEstimates(), Portable: in.FormOf(c, t) == cost.Small}
		var dropped []string
		b.Core, b.Dropped = plainOptions(made.Core)
		b.Optimise, dropped = plainOptions(made.Optimise)
		b.Dropped = append(b.Dropped, dropped...)
		if t.Compiler != "" {
			b.Named = append(b.Named, NamedCompiler)
		}
		if t.Flags != "" {
			b.Named = append(b.Named, NamedFlags)
		}
		all = append(all, b)
	}
	return all
}

// IsPlain reports whether the texts are such as a job can give, so that neither CMake nor Make nor
// a compiler can misread them.
func (t BuildTarget) IsPlain() bool {
	isCompiler := t.Compiler == "" || cost.IsCompilerName(t.Compiler)
	hasOptions := targets.AreOptimisationFlags(t.Optimise) ||
		t.Optimise == "" && !cost.Build{Compiler: t.Compiler}.IsGCC()
	return t.Name == BuildName(t.Name) && isCompiler && hasOptions && targets.AreCoreFlags(t.Core)
}

// BuildName spells the name of a target as build files do.
func BuildName(target string) string { return buildName.ReplaceAllString(target, "_") }

// plainOptions returns the plain compiler options of a text, and all others: profiles of users are
// text from outside.
func plainOptions(text string) (plain string, dropped []string) {
	var kept []string
	for _, option := range strings.Fields(text) {
		if plainOption.MatchString(option) {
			kept = append(kept, option)
		} else {
			dropped = append(dropped, option)
		}
	}
	return strings.Join(kept, " "), dropped
}

// plainOption matches an option that neither CMake nor Make nor a shell can misread.
var plainOption = regexp.MustCompile(`^-[A-Za-z0-9_=.+,-]+$`)

// BuildFiles returns the fragments for two build systems by name: NAME.cmake and NAME.mk.
func (p *Program) BuildFiles(all []BuildTarget) map[string][]byte {
	sources := []string{p.Name + ".c"}
	if p.Front != nil {
		sources = append(sources, p.Name+"_front.c")
	}
	return map[string][]byte{
		p.Name + ".cmake": []byte(cmakeFragment(p.Name, sources, all)),
		p.Name + ".mk":    []byte(makeFragment(p.Name, sources, all)),
	}
}

// targetComment returns the comment that lists the targets and the options of their cores.
func targetComment(all []BuildTarget) string {
	if len(all) == 0 {
		return "# The job names no target.\n"
	}
	var b strings.Builder
	b.WriteString("# Targets of the job, with the options of the core, which belong to the " +
		"toolchain:\n")
	for _, t := range all {
		fmt.Fprintf(&b, "#   %s: %s\n", t.Name, t.Core)
	}
	for _, t := range all {
		for _, option := range t.Dropped {
			fmt.Fprintf(&b, "# Left out for %s, as build files could misread it: %s\n", t.Name,
				strconv.QuoteToASCII(option))
		}
	}
	return b.String()
}

// notApplied says in one line which options the sign-off holds for, and that they are not applied.
func notApplied(name string, all []BuildTarget) string {
	var builds []string
	for _, t := range all {
		builds = append(builds, strings.TrimSpace(cmp.Or(t.Compiler, "GCC")+" "+t.Options(name))+
			" on "+t.Name)
	}
	return fmt.Sprintf("%s: the sign-off holds for %s; without %s_TARGET these options are not "+
		"applied", name, strings.Join(builds, "; "), strings.ToUpper(name))
}

// options returns the compiler options that the sign-off holds for.
func (t BuildTarget) options() []string { return strings.Fields(t.Optimise) }

// Options returns the options that machine code depends on beside those of the core: how to
// optimise, and in the small form its macro.
func (t BuildTarget) Options(name string) string {
	options := t.options()
	if t.Portable {
		options = append(options, PortableOption(name))
	}
	return strings.Join(options, " ")
}

// PortableOption returns the compiler option of the small form.
func PortableOption(name string) string { return "-D" + strings.ToUpper(name) + portable }

// portable is behind the name of the job in the macro of the small form.
const portable = "_PORTABLE"

// definitions returns the macros that the sign-off holds for.
func (t BuildTarget) definitions(name string) []string {
	var all []string
	if t.InRAM {
		all = append(all, strings.ToUpper(name)+"_WEIGHTS_IN_RAM")
	}
	if t.Portable {
		all = append(all, strings.ToUpper(name)+portable)
	}
	return all
}

// cmakeFragment returns NAME.cmake.
func cmakeFragment(name string, sources []string, all []BuildTarget) string {
	upper := strings.ToUpper(name)
	var b strings.Builder
	fmt.Fprintf(&b, `# %[1]s.cmake: library %[1]s for CMake. Made by kerf; do not edit.
#
#   set(%[2]s_TARGET cortex-m4f)       # optional: options that the sign-off holds for
#   set(%[2]s_WITH_FLOAT ON)           # optional: %[1]s_encode and %[1]s_decode
#   include(path/to/%[1]s.cmake)
#   target_compile_definitions(%[1]s PUBLIC %[2]s_WITH_ENCODE_ONE) # optional; see %[1]s.h
#   target_link_libraries(firmware PRIVATE %[1]s)
#
# %[1]s_selftest is a program that returns 0 when every integer matches; it is built on demand.
# Where there is no stdio, compile %[1]s_selftest.c with -D%[2]s_SELFTEST_NO_STDIO: see %[1]s.h.
%[3]s
include_guard(GLOBAL)

set(%[2]s_OPTIONS)
set(%[2]s_DEFINITIONS)
`, name, upper, targetComment(all))
	for i, t := range all {
		word := "elseif"
		if i == 0 {
			word = "if"
		}
		fmt.Fprintf(&b, "%s(\"${%s_TARGET}\" STREQUAL \"%s\")\n  set(%s_OPTIONS %s)\n", word, upper,
			t.Name, upper, strings.Join(t.options(), " "))
		if macros := t.definitions(name); len(macros) > 0 {
			fmt.Fprintf(&b, "  set(%s_DEFINITIONS %s)\n", upper, strings.Join(macros, " "))
		}
	}
	word := "elseif"
	if len(all) == 0 {
		word = "if"
	}
	silent := "" // what is said where no target is chosen
	if len(all) > 0 {
		silent = fmt.Sprintf("else()\n  message(STATUS \"%s\")\n", notApplied(name, all))
	}
	fmt.Fprintf(&b, `%[3]s(NOT "${%[2]s_TARGET}" STREQUAL "")
  message(FATAL_ERROR "%[2]s_TARGET is ${%[2]s_TARGET}, which is none of the job's targets: %[4]s")
%[6]sendif()
if(%[2]s_WITH_FLOAT)
  list(APPEND %[2]s_DEFINITIONS %[2]s_WITH_FLOAT)
endif()

add_library(%[1]s STATIC %[5]s)
target_include_directories(%[1]s PUBLIC "${CMAKE_CURRENT_LIST_DIR}")
target_compile_definitions(%[1]s PUBLIC ${%[2]s_DEFINITIONS})
target_compile_options(%[1]s PRIVATE ${%[2]s_OPTIONS})
set_target_properties(%[1]s PROPERTIES C_STANDARD 99 C_STANDARD_REQUIRED ON)

add_executable(%[1]s_selftest EXCLUDE_FROM_ALL "${CMAKE_CURRENT_LIST_DIR}/%[1]s_selftest.c")
target_link_libraries(%[1]s_selftest PRIVATE %[1]s)
set_target_properties(%[1]s_selftest PROPERTIES C_STANDARD 99 C_STANDARD_REQUIRED ON)
`, name, upper, word, buildNames(all), inFolder(sources, `"${CMAKE_CURRENT_LIST_DIR}/`, `"`),
		silent)
	return b.String()
}

// inFolder lists files with a text in front of each and one behind.
func inFolder(files []string, front, behind string) string {
	var all []string
	for _, f := range files {
		all = append(all, front+f+behind)
	}
	return strings.Join(all, " ")
}

// makeFragment returns NAME.mk.
func makeFragment(name string, sources []string, all []BuildTarget) string {
	upper := strings.ToUpper(name)
	var b, rules strings.Builder
	for _, source := range sources {
		object, from := strings.TrimSuffix(source, ".c"), "$("+upper+"_DIR)"+source
		if len(sources) == 1 {
			from = "$(" + upper + "_SOURCES)"
		}
		fmt.Fprintf(&rules, "#   %[1]s.o: %[3]s\n#   \t$(CC) $(CPPFLAGS) $(%[2]s_CPPFLAGS) "+
			"$(CFLAGS) "+
			"$(%[2]s_CFLAGS) -c -o $@ $<\n", object, upper, from)
	}
	fmt.Fprintf(&b, `# %[1]s.mk: variables for Make. Made by kerf; do not edit.
#
#   %[2]s_TARGET = cortex-m4f          # optional: options that the sign-off holds for
#   include path/to/%[1]s.mk
%[5]s#
# -D%[2]s_WITH_FLOAT adds %[1]s_encode and %[1]s_decode, -D%[2]s_WITH_ENCODE_ONE %[1]s_encode_one,
# -D%[2]s_WITH_RETAINED %[1]s_retain and %[1]s_restore, -D%[2]s_WITH_CHECK %[1]s_check;
# -D%[2]s_SELFTEST_NO_STDIO takes printf and main() out of the self-test. The path of the folder
# must hold no blank, which Make cannot name.
%[3]s
%[2]s_DIR := $(dir $(lastword $(MAKEFILE_LIST)))
%[2]s_SOURCES := %[4]s
%[2]s_SELFTEST_SOURCES := $(%[2]s_DIR)%[1]s_selftest.c
%[2]s_HEADERS := $(%[2]s_DIR)%[1]s.h $(%[2]s_DIR)%[1]s_weights.h
%[2]s_CPPFLAGS := -I$(%[2]s_DIR)
%[2]s_CFLAGS := -std=c99

`, name, upper, targetComment(all), inFolder(sources, "$("+upper+"_DIR)", ""), rules.String())
	for i, t := range all {
		word := "else ifeq"
		if i == 0 {
			word = "ifeq"
		}
		fmt.Fprintf(&b, "%s ($(strip $(%s_TARGET)),%s)\n%s_CFLAGS += %s\n", word, upper, t.Name,
			upper, strings.Join(t.options(), " "))
		for _, macro := range t.definitions(name) {
			fmt.Fprintf(&b, "%s_CPPFLAGS += -D%s\n", upper, macro)
		}
	}
	word := "else ifneq"
	if len(all) == 0 {
		word = "ifneq"
	}
	silent := "" // what is said where no target is chosen
	if len(all) > 0 {
		silent = fmt.Sprintf("else\n$(info %s)\n", notApplied(name, all))
	}
	fmt.Fprintf(&b, `%[1]s ($(strip $(%[2]s_TARGET)),)
$(error %[2]s_TARGET is $(%[2]s_TARGET), which is none of the job's targets: %[3]s)
%[4]sendif
`, word, upper, buildNames(all), silent)
	return b.String()
}

// buildNames returns the names of the targets, for messages.
func buildNames(all []BuildTarget) string {
	var names []string
	for _, t := range all {
		names = append(names, t.Name)
	}
	return strings.Join(names, " ")
}
