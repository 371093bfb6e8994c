package emit

import (
	"fmt"
	"strings"

	"kerf/quant"
	"kerf/quant/rows"
)

// groupType returns the definition of the C type of a group of rows of a matrix.
func groupType(m *quant.Matrix) string {
	element := "uint8_t"
	bytes := rows.Tiles(m.Cols) * rows.TileBytes(m.WordBits)
	if m.WordBits == 16 {
		element, bytes = "int16_t", bytes/2
	}
	return fmt.Sprintf("typedef struct {\n    int32_t bias[%d];\n    %s w[%d];\n"+
		"    uint8_t shift[%d];\n} %s;\n", rows.Group, element, bytes, rows.Group,
		readerOf(m).group())
}

// tiles returns the tiles of a group of rows as calls of macros, which c/rows.c has for each way of
// storing them. Rows beyond the last one are 0.
func (k block) tiles(group []int) []string {
	m := k.matrix
	column := func(c int) string {
		texts := make([]string, rows.Group)
		for i := range texts {
			texts[i] = "0"
			if i < len(group) {
				texts[i] = fmt.Sprint(m.W[group[i]*m.Cols+c])
			}
		}
		return strings.Join(texts, ", ")
	}
	var all []string
	for c := 0; c < m.Cols; c += rows.Tile {
		if c+1 == m.Cols {
			all = append(all, fmt.Sprintf("NET_T%d_LAST(%s)", m.WordBits, column(c)))
			break
		}
		all = append(all, fmt.Sprintf("NET_T%d(%s, %s)", m.WordBits, column(c), column(c+1)))
	}
	return all
}

// filled returns a value for each row of a group, 0 beyond the last one.
func filled(group []int, value func(row int) int64) string {
	texts := make([]string, rows.Group)
	for i := range texts {
		texts[i] = "0"
		if i < len(group) {
			texts[i] = fmt.Sprint(value(group[i]))
		}
	}
	return strings.Join(texts, ", ")
}
