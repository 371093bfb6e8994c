package targets

// deepest is how many brackets may be open in a TOML text, and how many parts a dotted key may
// have. Jobs and profiles need four.
const deepest = 32

// tooDeep returns where a text goes deeper than deepest, or -1. The library copies the whole path
// of names at every level, so that its time and memory grow with the square of the depth: a text of
// 120 kB that does nothing but open tables takes more than 6 GiB. Up to the first mistake in a
// text, which ends the library's work, this sees brackets, keys and quotes as the library does.
func tooDeep(text string) int {
	s := scanner{text: text}
	open, parts := 0, 0
	for s.pos < len(s.text) {
		switch s.text[s.pos] {
		case '"', '\'':
			s.quoted()
			continue
		case '#':
			s.skipTo("\n")
			continue
		case '[', '{':
			open++
			parts = 0
		case ']', '}':
			open--
			parts = 0
		case '.':
			parts++
		case ',', '=', '\n':
			parts = 0
		}
		if open > deepest || parts > deepest {
			return s.pos
		}
		s.pos++
	}
	return -1
}
