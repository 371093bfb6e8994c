package emit

import (
	"embed"
	"fmt"
	"regexp"
	"strconv"
	"strings"
)

// cFiles is the C that does not depend on the network: C files for a network called net and, with
// the prefix layer_, for a layer of each kind.
//
//go:embed c/*.h c/*.c
var cFiles embed.FS

// cPrefix and cUpperPrefix match the prefixes of our names, also behind the compiler option -D.
var (
	cPrefix      = regexp.MustCompile(`(\b|-D)net(_|\.[ch]\b)`)
	cUpperPrefix = regexp.MustCompile(`(\b|-D)NET(_|\.[ch]\b)`)
)

// guard stands inside text from files where net_ is no prefix of ours. It cannot come from a file,
// because commentText escapes control characters.
const guard = "\x01"

// rename puts the name of the job into a C text and takes the guards away: net_step becomes
// leakair_step, NET_N_UNITS becomes LEAKAIR_N_UNITS, "net.h" becomes "leakair.h".
func rename(text, name string) string {
	text = cPrefix.ReplaceAllString(text, "${1}"+name+"${2}")
	text = cUpperPrefix.ReplaceAllString(text, "${1}"+strings.ToUpper(name)+"${2}")
	return strings.ReplaceAll(text, guard, "")
}

// part returns a C file of cFiles with the branches that this network needs, to be put into another
// one.
func (p *Program) part(file string) (string, error) {
	raw, err := cFiles.ReadFile("c/" + file)
	if err != nil {
		return "", err
	}
	text, err := resolve(string(raw), p.choices())
	if err != nil {
		return "", fmt.Errorf("exporter/emit/c/%s: %w", file, err)
	}
	return text, nil
}

// template returns a C file of cFiles with the branches that this network needs, and with generated
// text in place of marker comments: marks["step"] replaces /*@step*/.
func (p *Program) template(file string, marks map[string]string) (string, error) {
	text, err := p.part(file)
	if err != nil {
		return "", err
	}
	for mark, with := range marks {
		text = strings.Replace(text, "/*@"+mark+"*/\n", with, 1)
	}
	return rename(emptyLines.ReplaceAllString(text, "\n\n"), p.Name), nil
}

// emptyLines matches the gap that a removed branch leaves.
var emptyLines = regexp.MustCompile(`\n{3,}`)

// choiceLine matches a branch that resolve decides.
var choiceLine = regexp.MustCompile(`^#if ((?:NET|LAYER|FOLD|ROWS)_\w+) == (\d+)$`)

// resolve removes the branches #if CHOICE == N ... #else ... #endif that the choices rule out.
// Other preprocessor lines stay as they are. It is an error if a choice is not known, or if #if and
// #endif do not match.
func resolve(text string, choices map[string]int) (string, error) {
	var b strings.Builder
	type level struct{ chosen, on bool }
	var stack []level
	on := true
	for line := range strings.Lines(text) {
		directive := strings.TrimSpace(line)
		match := choiceLine.FindStringSubmatch(directive)
		switch {
		case match != nil:
			value, known := choices[match[1]]
			if !known {
				return "", fmt.Errorf("unknown choice %s", match[1])
			}
			stack = append(stack, level{chosen: true, on: on})
			on = on && strconv.Itoa(value) == match[2]
			continue
		case strings.HasPrefix(directive, "#if"):
			stack = append(stack, level{on: on})
		case directive == "#else" && len(stack) > 0 && stack[len(stack)-1].chosen:
			on = stack[len(stack)-1].on && !on
			continue
		case strings.HasPrefix(directive, "#endif"):
			if len(stack) == 0 {
				return "", fmt.Errorf("#endif without #if")
			}
			top := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			if top.chosen {
				on = top.on
				continue
			}
		}
		if on {
			b.WriteString(line)
		}
	}
	if len(stack) > 0 {
		return "", fmt.Errorf("#if without #endif")
	}
	return b.String(), nil
}

// description returns the description of the network in ASCII.
func (p *Program) description() string {
	return commentText(strings.ReplaceAll(p.Description, "→", "->"))
}

// wrapped breaks a line of a C comment where it gets longer than 90 columns.
func wrapped(text string) string {
	const widest = 90
	var b strings.Builder
	column := 0
	for i, word := range strings.Fields(text) {
		switch {
		case i > 0 && column+1+len(word) > widest:
			b.WriteString("\n * ")
			column = 0
		case i > 0:
			b.WriteByte(' ')
			column++
		}
		b.WriteString(word)
		column += len(word)
	}
	return b.String()
}

// banner returns the comment that opens an emitted C file. It holds no time and no folder, so that
// the same job gives the same bytes.
func (p *Program) banner(what string) string {
	return fmt.Sprintf("/* %s: %s.\n * Network: %s.\n * Export 0x@ID@, made by kerf %s from a "+
		"job with SHA-256 %.16s... Do not edit: make it again.\n * %s */\n",
		p.Name, what, p.description(), commentText(p.Version), p.JobHash,
		wrapped(commentText(p.VerdictLine)))
}
