package emit

import (
	"fmt"
	"math"
	"strings"

	"kerf/model"
	"kerf/quant"
	"kerf/quant/rows"
)

// gateNames are the gates of a kind in the order of their rows.
var gateNames = map[model.Kind][]string{
	model.GRUResetAfter:  {"reset", "update", "candidate"},
	model.GRUResetBefore: {"reset", "update", "candidate"},
	model.LSTM:           {"input", "forget", "candidate", "output"},
	model.ElmanTanh:      {"state"},
	model.ElmanReLU:      {"state"},
}

// weightsHeader returns NAME_weights.h; format is the format hash.
func (p *Program) weightsHeader(format uint32) string {
	net := p.Net
	var b strings.Builder
	b.WriteString(p.banner("weights, biases and formats; included by net.c alone"))
	b.WriteString("#ifndef NET_WEIGHTS_H\n#define NET_WEIGHTS_H\n\n#ifndef NET_ROM\n#error " +
		"\"include this file from net.c only\"\n#endif\n\n")
	fmt.Fprintf(&b, "/* %s.\n * %s.\n *\n * Input order, unit, mean and standard deviation:\n",
		p.description(), net.Formats)
	for i, f := range net.Features {
		fmt.Fprintf(&b, " *   %2d  %s, %s, mean %g, std %g\n", i, commentText(f.Name),
			commentText(f.Unit), f.Mean, f.Std)
	}
	b.WriteString(" *\n * Output order and unit:\n")
	for o, out := range net.Outputs {
		fmt.Fprintf(&b, " *   %2d  %s, %s, int32 with %d fraction bits\n", o, commentText(out.Name),
			commentText(out.Unit), net.OutputFraction(o))
	}
	b.WriteString(" *\n * Accumulators are int32. For every row, sum |w| * 32768 + |bias| + " +
		"rounding is below 2^31:\n")
	b.WriteString(" * no input and no state can overflow them. */\n")
	b.WriteString("#define NET_WEIGHTS_ID 0x@ID@UL\n")
	fmt.Fprintf(&b, "#define NET_FORMAT_HASH 0x%08XUL /* for net_check, like the next two */\n"+
		"#define NET_VALUES_CRC 0x%08XUL\n#define NET_SEAL 0x@SEAL@UL\n", format,
		valuesCRC(net))
	if net.Shape().UsesTable() {
		fmt.Fprintf(&b, "#define NET_TABLE_STEPS %d\n", len(quant.TanhTable())-1)
	}
	b.WriteString(p.layerMacros())
	b.WriteString(p.weightArrays())
	b.WriteString("\n#endif /* NET_WEIGHTS_H */\n")
	return rename(b.String(), p.Name)
}

// layerMacros returns the macros for sizes and shifts of layers. The shifts of single rows are in
// weights_biases_shifts.go.
func (p *Program) layerMacros() string {
	var b strings.Builder
	define := func(prefix, name string, value any) {
		fmt.Fprintf(&b, "#define NET_%s_%s %v\n", strings.ToUpper(prefix), name, value)
	}
	for i, l := range p.Net.Layers {
		prefix := fmt.Sprintf("l%d", i)
		define(prefix, "ROWS", fmt.Sprintf("%dU", rows.Filled(l.Input.Rows)))
		if l.Kind == model.GRUResetBefore {
			define(prefix, "PAIR_ROWS", fmt.Sprintf("%dU", rows.Filled(2*l.Units)))
		}
		if l.Kind != model.ElmanReLU {
			define(prefix, "TABLE_SHIFT", fmt.Sprintf("%dU", l.TableShift()))
		}
		if l.Kind.HasCell() {
			define(prefix, "CELL_SHIFT", fmt.Sprintf("%dU", l.CellShift()))
			view, table := l.CellView()
			if l.Formats.StateBits == 32 {
				define(prefix, "CELL_VIEW_SHIFT", fmt.Sprintf("%dU", view))
			}
			define(prefix, "CELL_TABLE_SHIFT", fmt.Sprintf("%dU", table))
		}
	}
	for i, d := range p.Net.Dense {
		prefix := p.densePrefix(i)
		define(prefix, "ROWS", fmt.Sprintf("%dU", rows.Filled(d.Weights.Rows)))
		define(prefix, "OUTPUTS", fmt.Sprintf("%dU", d.Weights.Rows))
		if d.UsesTable() {
			define(prefix, "TABLE_SHIFT", fmt.Sprintf("%dU", d.TableShift()))
		}
	}
	return b.String()
}

// weightArrays returns the arrays of NAME_weights.h: those of the matrices, and constants.
func (p *Program) weightArrays() string {
	var b strings.Builder
	net := p.Net
	b.WriteString("\n/* Groups of four rows: biases at the scale of the accumulator, where " +
		"results are shifted with\n * the half that rounds; tiles of two columns; right shifts of the results. */\n")
	var types []string
	for _, k := range p.blocks() {
		types = appendNew(types, groupType(k.matrix))
	}
	b.WriteString(strings.Join(types, "\n"))
	for _, k := range p.blocks() {
		k.array(&b, p.rowNames(k.matrix))
	}
	for _, d := range net.Dense {
		if d.Last {
			p.outputConstants(&b, d, "head_")
		}
	}
	if net.Shape().UsesTable() {
		p.table(&b)
	}
	p.floatConstants(&b)
	return b.String()
}

// rowNames returns a function that says to which unit or output a row of a matrix belongs.
func (p *Program) rowNames(m *quant.Matrix) func(int) string {
	for i, l := range p.Net.Layers {
		if m == l.Input || m == l.Recurrent {
			return func(r int) string {
				unit := r % l.Units
				return fmt.Sprintf("%s, unit %d (trained: %d)", gateNames[l.Kind][r/l.Units], unit,
					p.KeptUnits[i][unit])
			}
		}
	}
	if m == p.Net.Dense[len(p.Net.Dense)-1].Weights {
		return func(r int) string { return commentText(p.Net.Outputs[r].Name) }
	}
	return func(r int) string { return fmt.Sprint("row ", r) }
}

// outputConstants writes the factors and offsets that bring the result of a last layer with a table
// to the unit of the output.
func (p *Program) outputConstants(b *strings.Builder, d *quant.DenseLayer, prefix string) {
	for _, c := range []struct {
		name   string
		values []int32
	}{{"scale", d.Scale}, {"offset", d.Offset}} {
		if len(c.values) == 0 {
			continue
		}
		fmt.Fprintf(b, "\n/* %s of every output. */\nstatic const int32_t net_%s%s[%d] "+
			"NET_ROM = {\n", c.name, prefix, c.name, len(c.values))
		list(b, len(c.values), 8, func(o int) string { return fmt.Sprint(c.values[o]) })
		b.WriteString("};\n")
	}
}

// table writes the tanh table.
func (p *Program) table(b *strings.Builder) {
	table := quant.TanhTable()
	table = append(table, table[len(table)-1]) // v = -32768 reads one node beyond the last
	fmt.Fprintf(b, "\n/* tanh(i/32) for i = 0..%d, 15 fraction bits; inner nodes are raised by "+
		"half the gap of the\n", len(table)-1)
	fmt.Fprintf(b, " * chords beside them. Error over all int16 arguments at most: tanh %.1e, "+
		"logistic %.1e. */\n", quant.WorstTanhError, quant.WorstLogisticError)
	fmt.Fprintf(b, "static const uint16_t net_tanh_table[%d] NET_ROM = {\n", len(table))
	list(b, len(table), 12, func(i int) string { return fmt.Sprint(table[i]) })
	b.WriteString("};\n")
}

// floatConstants writes the constants of NAME_encode and NAME_decode, which are compiled only with
// NAME_WITH_FLOAT.
func (p *Program) floatConstants(b *strings.Builder) {
	net := p.Net
	b.WriteString("\n#ifdef NET_WITH_FLOAT\n/* x = (physical - mean) * factor, rounded. */\n")
	fmt.Fprintf(b, "static const float net_mean[%d] NET_ROM = {\n", len(net.Features))
	list(b, len(net.Features), 6, func(i int) string {
		mean, _ := net.EncodeConstants(i)
		return cFloat(mean)
	})
	fmt.Fprintf(b, "};\nstatic const float net_factor[%d] NET_ROM = {\n", len(net.Features))
	list(b, len(net.Features), 6, func(i int) string {
		_, factor := net.EncodeConstants(i)
		return cFloat(factor)
	})
	fmt.Fprintf(b, "};\n/* physical = y * step: 2^-fraction bits. */\nstatic const float "+
		"net_step_of_y[%d] NET_ROM = {\n", len(net.Outputs))
	list(b, len(net.Outputs), 6, func(o int) string {
		return cFloat(float32(math.Ldexp(1, -net.OutputFraction(o))))
	})
	b.WriteString("};\n#endif\n")
}

// list writes n items as elements of a C array, perLine on each line.
func list(b *strings.Builder, n, perLine int, item func(int) string) {
	for i := range n {
		switch {
		case i%perLine == 0:
			b.WriteString("    ")
		default:
			b.WriteByte(' ')
		}
		b.WriteString(item(i) + ",")
		if i%perLine == perLine-1 || i == n-1 {
			b.WriteByte('\n')
		}
	}
}

// cFloat returns a float constant of C with the nine digits that identify any float32 (IEEE
// 754-2008, 5.12.2).
func cFloat(v float32) string {
	return fmt.Sprintf("%.8ef", v)
}

// fractionRange returns the fraction bits of the rows of a matrix in words.
func fractionRange(m *quant.Matrix) string {
	low, high := m.Fraction[0], m.Fraction[0]
	for _, f := range m.Fraction {
		low, high = min(low, f), max(high, f)
	}
	if low == high {
		return fmt.Sprintf("%d fraction bits", low)
	}
	return fmt.Sprintf("%d to %d fraction bits, one number per row", low, high)
}
