package emit

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"kerf/quant/rows"

	"kerf/model"
	"kerf/quant"
)

// block is a matrix, or a part of one, that one function of the C reads.
type block struct {
	prefix string // of C identifiers: l0_x, l0_h, l0_n, d0, head
	title  string // for comments
	matrix *quant.Matrix
	rows   []int // of the matrix, in the order in which they are stored
}

// blocks returns the blocks in the order in which a step reads them. The rows of a unit lie side
// by side.
func (p *Program) blocks() []block {
	var all []block
	for i, l := range p.Net.Layers {
		prefix := fmt.Sprintf("l%d_", i)
		gates := make([]int, l.Kind.Gates())
		for g := range gates {
			gates[g] = g
		}
		title := fmt.Sprintf("layer %d, %s: input weights W", i, l.Kind)
		recurrent := fmt.Sprintf("layer %d: recurrent weights U", i)
		if l.Kind != model.GRUResetBefore {
			all = append(all,
				block{prefix + "x", title, l.Input, unitRows(l.Units, gates)},
				block{prefix + "h", recurrent, l.Recurrent, unitRows(l.Units, gates)})
			continue
		}
		// The candidate follows when all reset gates are known.
		both, candidate := unitRows(l.Units, gates[:2]), unitRows(l.Units, gates[2:])
		all = append(all,
			block{prefix + "x", title, l.Input, slices.Concat(both, candidate)},
			block{prefix + "h", recurrent + " of the gates", l.Recurrent, both},
			block{prefix + "n", recurrent + " of the candidate", l.Recurrent, candidate})
	}
	for i, d := range p.Net.Dense {
		title := fmt.Sprintf("dense layer %d, %s", i, d.Activation)
		switch {
		case d.Last && d.Activation == model.Identity:
			title = "head; the accumulator is the output"
		case d.Last:
			title = fmt.Sprintf("head, %s", d.Activation)
		}
		rows := make([]int, d.Weights.Rows)
		for r := range rows {
			rows[r] = r
		}
		all = append(all, block{p.densePrefix(i), title, d.Weights, rows})
	}
	return all
}

// unitRows returns the rows of some gates unit by unit.
func unitRows(units int, gates []int) []int {
	var rows []int
	for j := range units {
		for _, g := range gates {
			rows = append(rows, g*units+j)
		}
	}
	return rows
}

// array writes the groups of a block as a C array. rowName says to which unit or output a row
// belongs.
func (k block) array(b *strings.Builder, rowName func(int) string) {
	m := k.matrix
	fmt.Fprintf(b, "\n/* %s: int%d, %d rows of %d, %s.\n", k.title, m.WordBits, len(k.rows), m.Cols,
		fractionRange(m))
	fmt.Fprintf(b, " * Largest accumulator proven: %d of %d. */\n", m.MaxBound(), math.MaxInt32)
	fmt.Fprintf(b, "static const %s net_%s[%d] NET_ROM = {\n", readerOf(m).group(), k.prefix,
		rows.Groups(len(k.rows)))
	for four := range slices.Chunk(k.rows, rows.Group) {
		var names []string
		for _, r := range four {
			names = append(names, rowName(r))
		}
		fmt.Fprintf(b, "    /* %s */\n    { { %s }, {\n", strings.Join(names, "; "),
			filled(four, func(r int) int64 { return int64(biasWithHalf(m, r)) }))
		for _, tile := range k.tiles(four) {
			fmt.Fprintf(b, "        %s,\n", tile)
		}
		fmt.Fprintf(b, "    }, { %s } },\n", filled(four, func(r int) int64 {
			if !m.Rescaled() {
				return 0
			}
			return int64(m.Shift[r])
		}))
	}
	b.WriteString("};\n")
}

// biasWithHalf returns the bias of a row with the half that rounds its result. The bound of the row
// includes the half.
func biasWithHalf(m *quant.Matrix, r int) int32 {
	if !m.Rescaled() || m.Shift[r] == 0 {
		return m.Bias[r]
	}
	return m.Bias[r] + int32(1)<<(m.Shift[r]-1)
}
