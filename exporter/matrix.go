package exporter

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"kerf/model"
	"kerf/quant"
)

// groupColumns is how many weights of a row lie together.
const groupColumns = 4

// longRow is how many columns of int8 weights a sum of 24 bits holds when each
// is multiplied by a byte: 257 · 127 · 255 < 2^23.
const longRow = 257

// groupOrder is the order in which the columns of a group of narrow weights are
// stored; see c/net.c.
var groupOrder = [groupColumns]int{0, 2, 1, 3}

// gateBlocks lists the rows of a gate matrix in the order in which they are
// stored, in blocks that the C reads together: the gates of one unit, as far as
// they have the same inputs and the registers of a small core reach.
func gateBlocks(l *quant.Layer) [][]int {
	var blocks [][]int
	gates := func(j int, gates ...int) {
		var block []int
		for _, g := range gates {
			block = append(block, g*l.Units+j)
		}
		blocks = append(blocks, block)
	}
	for j := range l.Units {
		switch l.Kind {
		case model.GRUResetAfter:
			gates(j, 0, 1, 2)
		case model.GRUResetBefore:
			gates(j, 0, 1)
		case model.LSTM:
			gates(j, 0, 1)
			gates(j, 2, 3)
		default:
			gates(j, 0)
		}
	}
	if l.Kind == model.GRUResetBefore { // the candidate sees other inputs than the gates
		for j := range l.Units {
			gates(j, 2)
		}
	}
	return blocks
}

// singleRows are blocks of one row each, in order.
func singleRows(rows int) [][]int {
	blocks := make([][]int, rows)
	for r := range blocks {
		blocks[r] = []int{r}
	}
	return blocks
}

// matrixParts is the code that reads a matrix: one function for every size of
// block, the largest first.
func matrixParts(m *quant.Matrix, prefix string, blocks [][]int) []part {
	var parts []part
	width := strconv.Itoa(m.WordBits)
	left := m.Cols % groupColumns
	size := 0
	for _, block := range blocks {
		if len(block) == size {
			continue
		}
		size = len(block)
		parts = append(parts, part{
			prefix: prefix,
			file:   "matrix.c",
			choices: map[string]int{
				"MATRIX_ROWS": size, "MATRIX_LOOP": flag(m.Cols >= groupColumns), "MATRIX_TAIL": flag(left > 0), "MATRIX_RESCALED": flag(m.Rescaled()),
			},
			words: []string{
				"matrix_word", wordType(m), "matrix_group", "net_group_w" + width, "MATRIX_WEIGHT", "NET_WEIGHT_W" + width,
				"MATRIX_PLACE_0", "0U", "MATRIX_PLACE_1", place(m, 1), "MATRIX_PLACE_2", place(m, 2), "MATRIX_PLACE_3", "3U",
				"MATRIX_ROWS", fmt.Sprintf("%dU", size), "MATRIX_SPAN", fmt.Sprintf("%dU", size*words(m, m.Cols-left)),
				"matrix_row", "net_row_w" + width, "MATRIX_GAP", fmt.Sprintf("%dU", (size-1)*words(m, groupColumns)), "MATRIX_GROUPS", fmt.Sprintf("%dU", m.Cols/groupColumns),
				"MATRIX_GROUP", fmt.Sprintf("%dU", words(m, groupColumns)),
				"MATRIX_LEFT_WORDS", fmt.Sprintf("%dU", words(m, left)), "MATRIX_LEFT", fmt.Sprintf("%dU", left),
			},
		})
	}
	return parts
}

// place is where a group holds a column.
func place(m *quant.Matrix, column int) string {
	if m.WordBits < 16 {
		column = groupOrder[column]
	}
	return fmt.Sprintf("%dU", column)
}

// words is the number of array elements that hold so many columns of one row.
func words(m *quant.Matrix, columns int) int {
	if m.WordBits == 4 {
		return (columns + 1) / 2
	}
	return columns
}

// stride is the number of array elements of one row.
func stride(m *quant.Matrix) int { return words(m, m.Cols) }

func wordType(m *quant.Matrix) string {
	if m.WordBits == 4 {
		return "uint8_t"
	}
	return fmt.Sprintf("int%d_t", m.WordBits)
}

// matrix writes weights, biases and shifts of one matrix, a block per line.
func matrix(b *strings.Builder, m *quant.Matrix, blocks [][]int, prefix, title string, rowName func(int) string) {
	fmt.Fprintf(b, "\n/* %s: int%d, %d rows of %d, %s.\n", title, m.WordBits, m.Rows, m.Cols, fractionRange(m))
	if len(blocks[0]) > 1 {
		fmt.Fprintf(b, " * Rows that are read together lie together, four columns of each in turn.\n")
	}
	fmt.Fprintf(b, " * Largest accumulator proven: %d of %d. */\n", maxBound(m), math.MaxInt32)
	fmt.Fprintf(b, "static const %s net_%sw[%d] NET_ROM = {\n", wordType(m), prefix, m.Rows*stride(m))
	var order []int
	for _, block := range blocks {
		order = append(order, block...)
		b.WriteString("    ")
		for _, v := range blockWords(m, block) {
			fmt.Fprintf(b, "%d, ", v)
		}
		var names []string
		for _, r := range block {
			names = append(names, rowName(r))
		}
		fmt.Fprintf(b, "/* %s */\n", strings.Join(names, "; "))
	}
	b.WriteString("};\n\n/* Biases in the same order, at the scale of the accumulator")
	if m.Rescaled() {
		b.WriteString(", with the half that rounds the result")
	}
	fmt.Fprintf(b, ". */\nstatic const int32_t net_%sb[%d] NET_ROM = {\n", prefix, m.Rows)
	list(b, m.Rows, 8, func(i int) string { return fmt.Sprint(biasWithHalf(m, order[i])) })
	b.WriteString("};\n")
	if m.Rescaled() {
		b.WriteString("\n/* Right shift of each row from the accumulator to the format of the result. */\n")
		fmt.Fprintf(b, "static const uint8_t net_%sshift[%d] NET_ROM = {\n", prefix, m.Rows)
		list(b, m.Rows, 16, func(i int) string { return fmt.Sprint(m.Shift[order[i]]) })
		b.WriteString("};\n")
	}
}

// biasWithHalf is the bias of a row plus the half that its rescale adds; the
// bound of the row includes it.
func biasWithHalf(m *quant.Matrix, r int) int32 {
	if m.Shift[r] == 0 {
		return m.Bias[r]
	}
	return m.Bias[r] + int32(1)<<(m.Shift[r]-1)
}

// blockWords are the rows of a block as the array holds them: in groups of four
// columns, one row after the other within a group. Narrow weights of a group lie
// in groupOrder; those of 4 bits are stored as w + 8, two in a byte, the first in
// the low half.
func blockWords(m *quant.Matrix, rows []int) []int32 {
	var all []int32
	for from := 0; from < m.Cols; from += groupColumns {
		for _, r := range rows {
			group := m.W[r*m.Cols+from : r*m.Cols+min(from+groupColumns, m.Cols)]
			if len(group) == groupColumns && m.WordBits < 16 {
				group = []int32{group[groupOrder[0]], group[groupOrder[1]], group[groupOrder[2]], group[groupOrder[3]]}
			}
			if m.WordBits != 4 {
				all = append(all, group...)
				continue
			}
			packed := make([]int32, words(m, len(group)))
			for c, v := range group {
				packed[c/2] |= (v + 8) << (4 * (c % 2))
			}
			all = append(all, packed...)
		}
	}
	return all
}
