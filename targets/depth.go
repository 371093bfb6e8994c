package targets

// deepest is the largest number of open brackets in a TOML text, and of parts of a dotted key. Our
// choice: jobs and profiles need four.
const deepest = 32

// tooDeep returns the byte offset at which a text goes deeper than deepest, or -1. The TOML library
// copies the whole path of names at every level, so that its time and memory grow with the square
// of the depth: a text of 120 kB that does nothing but open tables takes more than 6 GiB. Up to the
// first mistake in a text, which ends the library's work, tooDeep sees brackets, keys and quotes as
// the library does.
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
