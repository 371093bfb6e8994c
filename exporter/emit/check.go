package emit

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"hash/crc32"
	"math"
	"slices"
	"strconv"
	"strings"

	"kerf/quant"
	"kerf/quant/rows"
)

// sectionLayout is the version of what name_check assumes about the section beside
// NAME_network.json: how values are stored, and the order of the CRC. Raise it when either changes.
const sectionLayout = 1

// valuesCRC returns the CRC-32 of the values of a network, which name_check computes from what is
// stored: matrix by matrix as in NAME_network.json its weights by rows, its biases and its shifts,
// in front of a head's those of scale and offset; then the nodes of the tanh table, the last one
// twice. Every value is in two's complement, low byte first: int4 and int8 weights and shifts in 1
// byte, int16 weights and nodes in 2, the others in 4.
func valuesCRC(net *quant.Network) uint32 {
	var all []byte
	matrix := func(m *quant.Matrix) {
		for _, w := range m.W {
			all = append(all, byte(w))
			if m.WordBits == 16 {
				all = append(all, byte(w>>8))
			}
		}
		all = appendWords(all, m.Bias)
		all = append(all, m.Shift...)
	}
	for _, l := range net.Layers {
		matrix(l.Input)
		matrix(l.Recurrent)
	}
	for _, d := range net.Dense {
		all = appendWords(appendWords(all, d.Scale), d.Offset)
		matrix(d.Weights)
	}
	if net.Shape().UsesTable() {
		table := quant.TanhTable()
		for _, node := range append(table, table[len(table)-1]) {
			all = binary.LittleEndian.AppendUint16(all, uint16(node))
		}
	}
	return crc32.ChecksumIEEE(all)
}

// appendWords appends values of 4 bytes.
func appendWords(all []byte, values []int32) []byte {
	for _, v := range values {
		all = binary.LittleEndian.AppendUint32(all, uint32(v))
	}
	return all
}

// formatHash returns a number of all that the code assumes about the section: NAME_network.json
// without the numbers that the section holds and without what no code depends on (recorded ranges,
// vectors of the self-test), and the macros of the layers.
func (p *Program) formatHash() (uint32, error) {
	f := p.networkFile()
	f.ModelVersion, f.ValuesCRC, f.Steps = "", "", nil
	for i := range f.Features {
		f.Features[i].Recorded = nil
	}
	if f.Front != nil {
		f.Front.Recorded, f.Front.Windows = nil, nil
	}
	for i := range f.Layers {
		f.Layers[i].Input.dropValues()
		f.Layers[i].Recurrent.dropValues()
	}
	for i := range f.Dense {
		d := &f.Dense[i]
		d.Scale, d.Offset = make([]int32, len(d.Scale)), make([]int32, len(d.Offset))
		d.Weights.dropValues()
	}
	text, err := json.Marshal(f)
	if err != nil {
		return 0, err
	}
	table := 0
	if p.Net.Shape().UsesTable() {
		table = len(quant.TanhTable())
	}
	sum := sha256.Sum256(fmt.Appendf(text, "\n%d %d\n%s", sectionLayout, table, p.layerMacros()))
	return binary.BigEndian.Uint32(sum[:4]), nil
}

// dropValues sets the numbers that the section holds to 0, and keeps their count.
func (r *MatrixRecord) dropValues() {
	weights := make([][]int32, len(r.Weights))
	for i := range weights {
		weights[i] = make([]int32, len(r.Weights[i]))
	}
	r.Weights, r.Bias = weights, make([]int32, len(r.Bias))
	r.Fraction, r.Shift = make([]int, len(r.Fraction)), make([]int, len(r.Shift))
}

// seal returns the CRC-32 of the id, the format hash and the CRC of the values, low bytes first.
func seal(id string, format, values uint32) uint32 {
	number, err := strconv.ParseUint(id, 16, 32)
	if err != nil {
		panic(err) // withID makes it
	}
	all := binary.LittleEndian.AppendUint32(nil, uint32(number))
	all = binary.LittleEndian.AppendUint32(all, format)
	return crc32.ChecksumIEEE(binary.LittleEndian.AppendUint32(all, values))
}

// checkCode returns what only name_check needs: the functions that read what is stored, and those
// that go through all of it.
func (p *Program) checkCode() (string, error) {
	text, err := p.part("check.c")
	if err != nil {
		return "", err
	}
	raw, err := cFiles.ReadFile("c/check_rows.c")
	if err != nil {
		return "", err
	}
	var b strings.Builder
	b.WriteString(text)
	var done []string
	for _, k := range p.blocks() {
		group := readerOf(k.matrix).group()
		if slices.Contains(done, group) {
			continue
		}
		done = append(done, group)
		text, err := resolve(string(raw), map[string]int{"ROWS_BITS": k.matrix.WordBits})
		if err != nil {
			return "", fmt.Errorf("exporter/emit/c/check_rows.c: %w", err)
		}
		b.WriteString(strings.NewReplacer("ROWS_GROUP", group, "ROWS_NAME", checkerOf(group),
			"ROWS_COLUMNS", fmt.Sprintf("%dU", k.matrix.Cols),
			"ROWS_FILLED", fmt.Sprintf("%dU", rows.Tile*rows.Tiles(k.matrix.Cols)),
			"ROWS_BYTES", fmt.Sprintf("%dU", max(1, k.matrix.WordBits/8)),
			"ROWS_BITS", strconv.Itoa(k.matrix.WordBits)).Replace(text))
		b.WriteByte('\n')
	}
	p.valuesFunction(&b)
	b.WriteString("/* Returns 1 if what fills up groups and tiles is whole, else 0. */\n" +
		"static uint8_t net_filled(void)\n{\n    uint8_t ok = 1;\n\n")
	for _, k := range p.blocks() {
		fmt.Fprintf(&b, "    ok = (%s(net_%s, %dU) != 0U) ? ok : 0U;\n", k.checker("filled"),
			k.prefix, len(k.rows))
	}
	b.WriteString("    return ok;\n}\n\n")
	return b.String(), nil
}

// checkerOf returns what the names of the functions of c/check_rows.c for a type of group begin
// with.
func checkerOf(group string) string { return "net" + strings.TrimPrefix(group, "net_group") }

// checker returns the name of a function of c/check_rows.c for the block.
func (k block) checker(what string) string {
	return checkerOf(readerOf(k.matrix).group()) + "_" + what
}

// valuesFunction writes the function that takes the CRC of all values in their order.
func (p *Program) valuesFunction(b *strings.Builder) {
	var calls strings.Builder
	matrix := func(m *quant.Matrix) {
		calls.WriteString("    for (part = 0; part < 3U; part++) {\n")
		for _, r := range p.runs(m) {
			fmt.Fprintf(&calls, "        crc = %s(crc, net_%s, %dU, %dU, %dU, part);\n",
				r.block.checker("crc"), r.block.prefix, r.first, r.stride, r.n)
		}
		calls.WriteString("    }\n")
	}
	needsIndex := false
	list := func(array, read string, n, bytes int) {
		if n == 0 {
			return
		}
		needsIndex = true
		fmt.Fprintf(&calls, "    for (i = 0; i < %dU; i++) {\n        crc = net_crc32_of(crc, "+
			"(uint32_t)%s(&net_%s[i]), %dU);\n    }\n", n, read, array, bytes)
	}
	for _, l := range p.Net.Layers {
		matrix(l.Input)
		matrix(l.Recurrent)
	}
	for _, d := range p.Net.Dense {
		list("head_scale", "NET_ROM_I32", len(d.Scale), 4)
		list("head_offset", "NET_ROM_I32", len(d.Offset), 4)
		matrix(d.Weights)
	}
	if p.Net.Shape().UsesTable() {
		list("tanh_table", "NET_ROM_U16", len(quant.TanhTable())+1, 2)
	}
	b.WriteString("/* CRC-32 of the values in the order of net_network.json. */\n" +
		"static uint32_t net_values_crc(void)\n{\n    uint32_t crc = UINT32_MAX;\n    uint8_t part;\n")
	if needsIndex {
		b.WriteString("    uint16_t i;\n")
	}
	b.WriteString("\n" + calls.String() + "    return ~crc;\n}\n\n")
}

// run is rows of a matrix, one behind the other there, that lie in a block a stride apart.
type run struct {
	block            block
	first, stride, n int
}

// runs returns the rows of a matrix as they lie in blocks.
func (p *Program) runs(m *quant.Matrix) []run {
	blocks := p.blocks()
	type place struct{ block, at int }
	places := make([]place, m.Rows)
	for i, k := range blocks {
		if k.matrix == m {
			for at, r := range k.rows {
				places[r] = place{i, at}
			}
		}
	}
	var all []run
	last := place{block: math.MaxInt}
	for _, here := range places {
		n := len(all) - 1
		switch {
		case here.block == last.block && all[n].n == 1 && here.at > last.at:
			all[n].stride, all[n].n = here.at-last.at, 2
		case here.block == last.block && here.at == last.at+all[n].stride:
			all[n].n++
		default:
			all = append(all, run{blocks[here.block], here.at, 1, 1})
		}
		last = here
	}
	return all
}
