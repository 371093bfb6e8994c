package emit

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
)

// wayFiles are the C files of one way of reading rows ([rows.Way]).
type wayFiles struct {
	condition string   // of the preprocessor, for the way
	files     []string // of cFiles, with the operations of the way, each behind those that it uses
}

// ways are the files of [rows.Dual], [rows.Bytes] and [rows.Three].
var ways = []wayFiles{
	{"#if defined(NET_DUAL)", []string{"rows_pair.c", "rows_alone.c", "rows_dual.c"}},
	{"#elif defined(NET_TWO_ROWS)", []string{"rows_alone.c", "rows_bytes.c"}},
	{"#else", []string{"rows_alone.c", "rows_three.c"}},
}

// shared are the files with operations of more than one way. They are emitted in this order, before
// those of a single way.
var shared = []string{"rows_pair.c", "rows_alone.c"}

// guards are the lines before an operation that only some ways need. A bit of the key stands for
// each of ways.
var guards = map[int]string{
	0b111: "",
	0b001: "#ifdef NET_DUAL\n",
	0b010: "#if defined(NET_TWO_ROWS) && !defined(NET_DUAL)\n",
	0b011: "#ifdef NET_TWO_ROWS\n",
	0b100: "#ifndef NET_TWO_ROWS\n",
	0b101: "#if defined(NET_DUAL) || !defined(NET_TWO_ROWS)\n",
	0b110: "#ifndef NET_DUAL\n",
}

// definition is a function or type of a C file, with the comment above it.
type definition struct {
	file, name, text string
}

// definedName finds the name that a definition defines.
var definedName = regexp.MustCompile(`(?m)^(?:static [^(\n]*?|\} )(net_\w+)[(;]`)

// definitions returns the definitions of a C file. A definition begins behind an empty line, at the
// left edge.
func definitions(file string) ([]definition, error) {
	raw, err := cFiles.ReadFile("c/" + file)
	if err != nil {
		return nil, err
	}
	var all []definition
	for text := range strings.SplitSeq(strings.TrimSuffix(string(raw), "\n"), "\n\n") {
		if len(all) > 0 && (text[0] == ' ' || text[0] == '#') {
			all[len(all)-1].text += "\n" + text + "\n"
			continue
		}
		name := definedName.FindStringSubmatch(text)
		if name == nil {
			return nil, fmt.Errorf("exporter/emit/c/%s: no definition in %q", file, text)
		}
		all = append(all, definition{file, name[1], text + "\n"})
	}
	return all, nil
}

// needs returns the names of the operations that a text uses, directly or through others.
func needs(all []definition, text string) map[string]bool {
	used := map[string]bool{}
	for i := len(all) - 1; i >= 0; i-- { // what an operation uses stands before it
		if regexp.MustCompile(`\b` + all[i].name + `\b`).MatchString(text) {
			used[all[i].name] = true
			text += all[i].text
		}
	}
	return used
}

// rowCode returns the code that reads rows: the operations that some way needs, and the functions
// that read the blocks. layers is the code of the layers, which needs operations too.
func (p *Program) rowCode(layers string) (string, error) {
	var bodies [3]string
	for _, k := range p.blocks() {
		if k.matrix.Rescaled() {
			for i, text := range k.inEachWay() {
				bodies[i] += text
			}
		}
	}
	var own [3][]definition
	need := map[string]int{} // by file and name: the ways
	for i, w := range ways {
		for _, file := range w.files {
			some, err := definitions(file)
			if err != nil {
				return "", err
			}
			own[i] = append(own[i], some...)
		}
		used := needs(own[i], bodies[i]+layers)
		for _, d := range own[i] {
			if used[d.name] {
				need[d.file+d.name] |= 1 << i
			}
		}
	}
	var b strings.Builder
	for _, file := range shared {
		some, err := definitions(file)
		if err != nil {
			return "", err
		}
		for _, d := range some {
			writeGuarded(&b, guards[need[d.file+d.name]], d.text, need[d.file+d.name] != 0)
		}
	}
	for i, w := range ways {
		b.WriteString(w.condition + "\n")
		for _, d := range own[i] {
			writeGuarded(&b, "", d.text, !slices.Contains(shared, d.file) &&
				need[d.file+d.name] != 0)
		}
		b.WriteString(bodies[i])
	}
	b.WriteString("#endif\n\n")
	return b.String(), nil
}

// writeGuarded writes an operation behind its guard, if it is needed.
func writeGuarded(b *strings.Builder, guard, text string, needed bool) {
	if !needed {
		return
	}
	b.WriteString(guard + text)
	if guard != "" {
		b.WriteString("#endif\n")
	}
	b.WriteByte('\n')
}
