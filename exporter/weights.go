package exporter

import (
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"math"
	"strings"

	"kerf/quant"
)

// gateNames are the row blocks of the gate matrices, in order.
var gateNames = []string{"reset", "update", "candidate"}

// weightArrays is the part of NAME_weights.h that depends on the numbers.
func (h *Handoff) weightArrays() string {
	var b strings.Builder
	net := h.Net
	gateRow := func(r int) string {
		unit := r % net.Units
		return fmt.Sprintf("%s, unit %d (trained: %d)", gateNames[r/net.Units], unit, h.KeptUnits[unit])
	}
	outputRow := func(r int) string { return commentText(net.Outputs[r].Name) }
	h.matrix(&b, net.Input, "x", "input weights W", gateRow)
	h.matrix(&b, net.Recurrent, "h", "recurrent weights U", gateRow)
	h.matrix(&b, net.Head, "y", "head weights; the accumulator is the output", outputRow)
	h.table(&b)
	h.floatConstants(&b)
	return b.String()
}

// matrix writes weights, biases and shifts of one matrix, a row per line.
func (h *Handoff) matrix(b *strings.Builder, m *quant.Matrix, letter, title string, rowName func(int) string) {
	fmt.Fprintf(b, "\n/* %s: int%d, %d rows of %d, %s.\n", title, m.WordBits, m.Rows, m.Cols, fractionRange(m))
	fmt.Fprintf(b, " * Largest accumulator proven: %d of %d. */\n", maxBound(m), math.MaxInt32)
	fmt.Fprintf(b, "static const int%d_t net_w_%s[%d] NET_ROM = {\n", m.WordBits, letter, m.Rows*m.Cols)
	for r := range m.Rows {
		b.WriteString("    ")
		for c := range m.Cols {
			fmt.Fprintf(b, "%d, ", m.W[r*m.Cols+c])
		}
		fmt.Fprintf(b, "/* %s */\n", rowName(r))
	}
	b.WriteString("};\n\n/* Biases, at the scale of the accumulator. */\n")
	fmt.Fprintf(b, "static const int32_t net_b_%s[%d] NET_ROM = {\n", letter, m.Rows)
	list(b, m.Rows, 8, func(r int) string { return fmt.Sprint(m.Bias[r]) })
	b.WriteString("};\n")
	if m.Rescaled() {
		b.WriteString("\n/* Right shift of each row from the accumulator to the gate format. */\n")
		fmt.Fprintf(b, "static const uint8_t net_shift_%s[%d] NET_ROM = {\n", letter, m.Rows)
		list(b, m.Rows, 16, func(r int) string { return fmt.Sprint(m.Shift[r]) })
		b.WriteString("};\n")
	}
}

func (h *Handoff) table(b *strings.Builder) {
	table := quant.TanhTable()
	fmt.Fprintf(b, "\n/* tanh(i/32) for i = 0..%d, 15 fraction bits; inner nodes are raised by half the gap of the\n", len(table)-1)
	fmt.Fprintf(b, " * chords beside them. Worst error over all int16 arguments: tanh %.1e, logistic %.1e. */\n", quant.WorstTanhError, quant.WorstLogisticError)
	fmt.Fprintf(b, "static const int16_t net_tanh_Q15[%d] NET_ROM = {\n", len(table))
	list(b, len(table), 12, func(i int) string { return fmt.Sprint(table[i]) })
	b.WriteString("};\n")
}

// floatConstants are compiled only with NAME_WITH_FLOAT.
func (h *Handoff) floatConstants(b *strings.Builder) {
	net := h.Net
	b.WriteString("\n#ifdef NET_WITH_FLOAT\n/* x = (physical - mean) * factor, rounded. */\n")
	fmt.Fprintf(b, "static const float net_mean[%d] NET_ROM = {\n", len(net.Features))
	list(b, len(net.Features), 6, func(i int) string { mean, _ := net.EncodeConstants(i); return cFloat(mean) })
	fmt.Fprintf(b, "};\nstatic const float net_factor[%d] NET_ROM = {\n", len(net.Features))
	list(b, len(net.Features), 6, func(i int) string { _, factor := net.EncodeConstants(i); return cFloat(factor) })
	fmt.Fprintf(b, "};\n/* physical = y * step: 2^-fraction bits. */\nstatic const float net_step_of_y[%d] NET_ROM = {\n", len(net.Outputs))
	list(b, len(net.Outputs), 6, func(o int) string { return cFloat(float32(math.Ldexp(1, -net.OutputFraction(o)))) })
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

func maxBound(m *quant.Matrix) int64 {
	top := int64(0)
	for _, b := range m.Bound {
		top = max(top, b)
	}
	return top
}

// weightID ties NAME.h and NAME_weights.h to each other.
func weightID(arrays string) uint32 {
	sum := sha256.Sum256([]byte(arrays))
	return binary.BigEndian.Uint32(sum[:4])
}
