package emit

import (
	"fmt"
	"math"
	"strings"

	"kerf/model"
	"kerf/quant"
)

// gateNames are the row blocks of the gate matrices, in order.
var gateNames = map[model.Kind][]string{
	model.GRUResetAfter:  {"reset", "update", "candidate"},
	model.GRUResetBefore: {"reset", "update", "candidate"},
	model.LSTM:           {"input", "forget", "candidate", "output"},
	model.ElmanTanh:      {"state"},
	model.ElmanReLU:      {"state"},
}

// weightArrays is the part of NAME_weights.h that depends on the numbers.
func (h *Program) weightArrays() string {
	var b strings.Builder
	net := h.Net
	for _, k := range h.blocks() {
		k.arrays(&b, h.rowNames(k.matrix))
	}
	for _, d := range net.Dense {
		if d.Last {
			h.outputConstants(&b, d, "head_")
		}
	}
	if net.Shape().UsesTable() {
		h.table(&b)
	}
	h.floatConstants(&b)
	return b.String()
}

// rowNames says what the rows of a matrix belong to.
func (h *Program) rowNames(m *quant.Matrix) func(int) string {
	for i, l := range h.Net.Layers {
		if m == l.Input || m == l.Recurrent {
			return func(r int) string {
				unit := r % l.Units
				return fmt.Sprintf("%s, unit %d (trained: %d)", gateNames[l.Kind][r/l.Units], unit,
					h.KeptUnits[i][unit])
			}
		}
	}
	if m == h.Net.Dense[len(h.Net.Dense)-1].Weights {
		return func(r int) string { return commentText(h.Net.Outputs[r].Name) }
	}
	return func(r int) string { return fmt.Sprint("row ", r) }
}

// outputConstants bring an activated head to the unit of the output.
func (h *Program) outputConstants(b *strings.Builder, d *quant.DenseLayer, prefix string) {
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

func (h *Program) table(b *strings.Builder) {
	table := quant.TanhTable()
	table = append(table, table[len(table)-1]) // v = -32768 reads one node beyond the last
	fmt.Fprintf(b, "\n/* tanh(i/32) for i = 0..%d, 15 fraction bits; inner nodes are raised by "+
		"half the gap of the\n", len(table)-1)
	fmt.Fprintf(b, " * chords beside them. Error over all int16 arguments at most: tanh %.1e, "+
		"logistic %.1e. */\n", quant.WorstTanhError, quant.WorstLogisticError)
	fmt.Fprintf(b, "static const int16_t net_tanh_table[%d] NET_ROM = {\n", len(table))
	list(b, len(table), 12, func(i int) string { return fmt.Sprint(table[i]) })
	b.WriteString("};\n")
}

// floatConstants are compiled only with NAME_WITH_FLOAT.
func (h *Program) floatConstants(b *strings.Builder) {
	net := h.Net
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

// cFloat writes a float constant with the nine digits that identify any float32
// (IEEE 754-2008, 5.12.2).
func cFloat(v float32) string {
	return fmt.Sprintf("%.8ef", v)
}

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
