package report

import "testing"

// Columns before the first number and the words at the end stand to the left.
func TestRightAligned(t *testing.T) {
	table := Table{Head: []string{"output", "where", "float", "fixed", "verdict"}, Numbers: 2,
		Words: 1}
	for column, want := range []bool{false, false, true, true, false} {
		if table.RightAligned(column) != want {
			t.Errorf("column %q stands to the right: %v, want %v", table.Head[column], !want, want)
		}
	}
}
