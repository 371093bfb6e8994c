package emit

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"kerf/quant"
	"kerf/quant/rows"
)

// reader is a function of the C that reads groups of rows. Blocks of one shape share it.
type reader struct {
	bits, columns int
	isHead        bool // gives the sums themselves, not results in 16 bits
}

// readerOf returns the function that reads a matrix.
func readerOf(m *quant.Matrix) reader { return reader{m.WordBits, m.Cols, !m.Rescaled()} }

// stem returns the name of the function without the number of columns.
func (r reader) stem() string {
	if r.isHead {
		return fmt.Sprintf("net_sums_w%d", r.bits)
	}
	return fmt.Sprintf("net_rows_w%d", r.bits)
}

// group returns the C type of the groups that it reads.
func (r reader) group() string { return fmt.Sprintf("net_group_w%d_%d", r.bits, r.columns) }

// result returns the C type of what the function gives.
func (r reader) result() string {
	if r.isHead {
		return "int32_t"
	}
	return "int16_t"
}

// readers returns the functions that the network needs, each once, in the order of their first use.
func (p *Program) readers() []reader {
	var all []reader
	for _, k := range p.blocks() {
		all = appendNew(all, readerOf(k.matrix))
	}
	return all
}

// appendNew appends a value that is not there yet.
func appendNew[T comparable](all []T, v T) []T {
	if slices.Contains(all, v) {
		return all
	}
	return append(all, v)
}

// rowCode returns the code that reads rows: for each kernel, and in plain C.
func (p *Program) rowCode() (string, error) {
	var b strings.Builder
	if condition := p.sumCondition(); condition != "" {
		sum, err := cFiles.ReadFile("c/rows_sum.c")
		if err != nil {
			return "", err
		}
		b.WriteString(condition + string(sum) + "#endif\n\n")
	}
	word := "#if"
	for _, kernel := range rows.Kernels {
		fmt.Fprintf(&b, "%s defined(NET_KERNEL_%s)\n", word, strings.ToUpper(kernel.Name))
		word = "#elif"
		if err := p.kernelCode(&b, kernel); err != nil {
			return "", err
		}
	}
	b.WriteString("#else\n")
	if err := p.plainCode(&b); err != nil {
		return "", err
	}
	b.WriteString("#endif\n\n")
	return b.String(), nil
}

// sumCondition returns the line of the preprocessor for kernels that need the sum of the inputs;
// empty where none does.
func (p *Program) sumCondition() string {
	var of []string
	for _, k := range rows.Kernels {
		for _, r := range p.readers() {
			if k.IsRaised(r.bits) {
				of = appendNew(of, "defined(NET_KERNEL_"+strings.ToUpper(k.Name)+")")
			}
		}
	}
	if len(of) == 0 {
		return ""
	}
	return "#if " + strings.Join(of, " || ") + "\n"
}

// kernelCode writes the functions of a kernel: what instances share, the instances, and the
// function of every block.
func (p *Program) kernelCode(b *strings.Builder, kernel rows.Kernel) error {
	var widths []int
	hasResults := false
	for _, r := range p.readers() {
		widths = appendNew(widths, r.bits)
		hasResults = hasResults || !r.isHead
	}
	file := "rows_" + kernel.Name + ".c"
	shared := file
	if _, isArmv7 := armv7Sums[kernel.Name]; isArmv7 {
		shared, file = "tiles_"+kernel.Name+".c", "rows_armv7.c"
	}
	for i, bits := range widths {
		if err := instance(b, shared, reader{bits: bits, isHead: !hasResults}, kernel,
			map[string]int{"ROWS_COMMON": 1, "ROWS_FIRST": flag(i == 0)}); err != nil {
			return err
		}
	}
	var done []reader
	for _, r := range p.readers() {
		if kernel.Straight == 0 {
			r.columns = 0 // one function for all
		}
		if slices.Contains(done, r) {
			continue
		}
		done = append(done, r)
		if err := instance(b, file, r, kernel,
			map[string]int{"ROWS_COMMON": 0, "ROWS_FIRST": 0}); err != nil {
			return err
		}
	}
	for _, k := range p.blocks() {
		r := readerOf(k.matrix)
		name, further := r.stem(), ""
		switch {
		case kernel.Straight > 0:
			name += "_" + strconv.Itoa(r.columns)
		case kernel.Name == rows.AVR.Name:
			further = fmt.Sprintf(", %dU", rows.Tile*rows.Tiles(r.columns))
		default:
			further = fmt.Sprintf(", %dU", 2*rows.Tile*rows.Tiles(r.columns))
		}
		if kernel.IsRaised(r.bits) {
			further += fmt.Sprintf(", (uint32_t)net_sum(v, %dU) << %d", r.columns, r.bits-1)
		}
		k.function(b, fmt.Sprintf("%s(result, v, net_%s, %dU%s)", name, k.prefix,
			rows.Groups(len(k.rows)), further))
	}
	return nil
}

// armv7Sums holds the registers of the sums of four rows in c/rows_armv7.c, which kernels of two
// families share: all of them as an operand, and the third and the fourth.
var armv7Sums = map[string]struct{ all, third, fourth string }{
	rows.ARMv7EM.Name: {"{r3, r4, r6, r7}", "r6", "r7"},
	rows.ARMv7M.Name:  {"{r3-r6}", "r5", "r6"}}

// plainCode writes the functions in plain C.
func (p *Program) plainCode(b *strings.Builder) error {
	var needed []string
	for _, r := range p.readers() {
		if r.bits == 4 {
			needed = appendNew(needed, "c/rows_low.c")
		}
		if !r.isHead {
			needed = appendNew(needed, "c/rows_result.c")
		}
	}
	for _, file := range needed {
		text, err := cFiles.ReadFile(file)
		if err != nil {
			return err
		}
		b.WriteString(string(text) + "\n")
	}
	for _, r := range p.readers() {
		if err := instance(b, "rows_plain.c", r, rows.Kernel{}, nil); err != nil {
			return err
		}
	}
	for _, k := range p.blocks() {
		r := readerOf(k.matrix)
		k.function(b, fmt.Sprintf("%s_%d(result, v, net_%s, %dU)", r.stem(), r.columns, k.prefix,
			rows.Groups(len(k.rows))))
	}
	return nil
}

// function writes the function of a block, which makes one call.
func (k block) function(b *strings.Builder, call string) {
	what := "Rows of W v + b in the format of a pre-activation."
	if !k.matrix.Rescaled() {
		what = "Rows of W v + b at the scale of the accumulator."
	}
	fmt.Fprintf(b, "/* %s */\nstatic NET_APART void net_%s_rows(%s *result, const int16_t *v)\n{\n"+
		"    %s;\n}\n\n", what, k.prefix, readerOf(k.matrix).result(), call)
}

// instance writes a template of the folder c for a function that reads rows.
func instance(b *strings.Builder, file string, r reader, kernel rows.Kernel,
	choices map[string]int) error {
	raw, err := cFiles.ReadFile("c/" + file)
	if err != nil {
		return err
	}
	turns, each, rest := kernel.Turns(r.bits, max(1, r.columns), r.isHead)
	all := map[string]int{"ROWS_BITS": r.bits, "ROWS_SUMS": flag(r.isHead),
		"ROWS_LOOPED": flag(turns > 0), "ROWS_HAS_REST": flag(rest > 0),
		"ROWS_FAR": flag(turns*each > 255), "ROWS_DUAL": 0}
	if kernel.Name == rows.ARMv7EM.Name {
		all["ROWS_DUAL"] = r.bits
	}
	for name, value := range choices {
		all[name] = value
	}
	text, err := resolve(string(raw), all)
	if err != nil {
		return fmt.Errorf("exporter/emit/c/%s: %w", file, err)
	}
	if strings.TrimSpace(text) == "" {
		return nil
	}
	name, raised := r.stem(), ""
	if r.columns > 0 {
		name += "_" + strconv.Itoa(r.columns)
	}
	if kernel.IsRaised(r.bits) {
		raised = ", uint32_t raised NET_UNUSED"
	}
	sums := armv7Sums[kernel.Name]
	b.WriteString(strings.NewReplacer("ROWS_NAME", name, "ROWS_RESULT", r.result(),
		"ROWS_GROUP", r.group(), "ROWS_FOUR_SUMS", sums.all, "ROWS_SUM_2", sums.third,
		"ROWS_SUM_3", sums.fourth,
		" ROWS_RAISED", raised, "ROWS_TILE_BYTES", strconv.Itoa(rows.TileBytes(r.bits)),
		"ROWS_TILE", fmt.Sprintf("NET_TILE_W%d", r.bits),
		"ROWS_EACH_LIST", upTo(each), "ROWS_REST_LIST", upTo(rest),
		"ROWS_EACH", strconv.Itoa(each), "ROWS_TURNS", strconv.Itoa(turns),
		"ROWS_REST", strconv.Itoa(rest), "ROWS_COLUMNS", strconv.Itoa(r.columns)+"U",
		"ROWS_BITS", strconv.Itoa(r.bits)).Replace(text))
	b.WriteByte('\n')
	return nil
}

// upTo lists the numbers below n.
func upTo(n int) string {
	var all []string
	for i := range n {
		all = append(all, strconv.Itoa(i))
	}
	return strings.Join(all, ", ")
}
