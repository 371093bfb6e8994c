package main

import (
	"encoding/csv"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"kerf/budget/cost"
)

// head begins budget/kernels.toml.
const head = `# What the emitted C takes, by instruction set. Made by "make kernels"; do not edit. How it was measured says
# testdata/kernels/README.md. All figures are of one step of the integer inference.
#
# kernel: instructions of one run of a kernel, by instruction class (see package targets); "cycle": cycles that a
# simulator counted. The kernels: kernel.go. How often a step runs them: functions.go. Fractions: figures are fitted.
# code_bytes: bytes of code by kernel; library routines included.
# stack_bytes: bytes by function; see frame in stack.go.
# plain: what takes the place of these figures where plain C reads rows.
`

// write writes budget/kernels.toml and measured.csv.
func write(runs []*measured, sets []*set) error {
	var b strings.Builder
	b.WriteString(head)
	writeSets(&b, sets)
	if err := os.WriteFile(filepath.Join("budget", "cost", "kernels.toml"), []byte(b.String()),
		0o644); err != nil {
		return err
	}
	return writeMeasured(runs)
}

// writeSets writes the figures of instruction sets as tables.
func writeSets(b *strings.Builder, sets []*set) {
	for _, s := range sets {
		fmt.Fprintf(b, "\n[%s]\ncompiler = %q\ncounted = %q\n", s.isa,
			s.tools+": "+strings.Join(s.flags, " or "), s.counted)
		s.write(b, s.isa)
		if s.plain != nil {
			s.plain.write(b, s.isa+".plain")
		}
	}
}

// write writes the figures under the name of a table.
func (s *set) write(b *strings.Builder, table string) {
	fmt.Fprintf(b, "\n[%s.code_bytes]\n", table)
	for _, name := range slices.Sorted(maps.Keys(s.code)) {
		fmt.Fprintf(b, "%s = %s\n", name, number(s.code[name]))
	}
	fmt.Fprintf(b, "\n[%s.stack_bytes]\n", table)
	for _, name := range slices.Sorted(maps.Keys(s.stack)) {
		fmt.Fprintf(b, "%s = %d\n", name, s.stack[name])
	}
	fmt.Fprintf(b, "\n[%s.kernel]\n", table)
	for _, kernel := range slices.Sorted(maps.Keys(s.kernels)) {
		var counts []string
		for _, class := range slices.Sorted(maps.Keys(s.kernels[kernel])) {
			counts = append(counts, class+" = "+number(s.kernels[kernel][class]))
		}
		fmt.Fprintf(b, "%s = { %s }\n", kernel, strings.Join(counts, ", "))
	}
}

// frontHead begins budget/cost/front.toml.
const frontHead = `# What the emitted C of front ends takes, by instruction set. Made by
# "make kernels"; do not edit. How it was measured says testdata/kernels/README.md.
#
# kernel: instructions of one run of a kernel, by instruction class (see package targets); "cycle":
# cycles that a simulator counted. The kernels, and how often calls run them: front.go. Fractions:
# figures are fitted.
# code_bytes: bytes of code by kernel; library routines included.
# stack_bytes: bytes by function, without the arrays of name_features.
`

// writeFronts writes budget/cost/front.toml and fronts.csv.
func writeFronts(runs []*measuredFront, sets []*set) error {
	var b strings.Builder
	b.WriteString(frontHead)
	writeSets(&b, sets)
	return os.WriteFile(filepath.Join("budget", "cost", "front.toml"), []byte(b.String()), 0o644)
}

// number prints v with all the digits that it takes to read the same float64.
func number(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// writeMeasured writes measured.csv: the measurements of the networks that had no part in the fit.
func writeMeasured(runs []*measured) error {
	file, err := os.Create(filepath.Join("testdata", "kernels", "measured.csv"))
	if err != nil {
		return err
	}
	w := csv.NewWriter(file)
	w.Write([]string{"profile", "network", "form", "cycles", "flash_bytes", "ram_bytes",
		"stack_chain", "stack_painted"})
	for _, r := range runs {
		if !r.isHeld {
			continue
		}
		w.Write([]string{r.core.Name, cost.ShapeText(r.shape), string(r.form),
			fmt.Sprintf("%.1f", r.result.MeanCycles()),
			strconv.FormatInt(r.result.Flash, 10), strconv.FormatInt(r.result.RAM, 10),
			strconv.FormatInt(r.result.StackChain, 10),
			strconv.FormatInt(r.result.StackPainted, 10)})
	}
	w.Flush()
	if err := w.Error(); err != nil {
		return err
	}
	return file.Close()
}
