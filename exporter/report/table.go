package report

// Table is one table of the report: its cells are words and rounded figures.
type Table struct {
	Title   string     `json:"title"`
	Head    []string   `json:"head"`
	Rows    [][]string `json:"rows"`
	Numbers int        `json:"-"` // index of the first column of numbers
	Words   int        `json:"-"` // columns of words at the end
	Bar     int        `json:"-"` // index of a column of bars among the numbers; 0: none
}

// RightAligned reports whether a column holds numbers.
func (t Table) RightAligned(column int) bool {
	return column >= t.Numbers && column < len(t.Head)-t.Words && (t.Bar == 0 || column != t.Bar)
}

// Visible returns the table with every text as [Visible] returns it.
func (t Table) Visible() Table {
	t.Title, t.Head = Visible(t.Title), visible(t.Head)
	rows := make([][]string, len(t.Rows))
	for i, r := range t.Rows {
		rows[i] = visible(r)
	}
	t.Rows = rows
	return t
}

// InputTable has a row per input file, with its hash in full or shortened.
func (s *Signoff) InputTable(fullHash bool) Table {
	t := Table{Title: "Input files", Head: []string{"use", "file", "SHA-256"}, Numbers: 3}
	for _, f := range s.Inputs {
		hash := f.SHA256
		if !fullHash {
			hash = ShortHash(hash)
		}
		t.Rows = append(t.Rows, []string{string(f.Role), f.File, hash})
	}
	return t
}
