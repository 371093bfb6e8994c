package targets

import (
	"fmt"
	"strings"
	"unicode/utf8"

	"github.com/BurntSushi/toml"
)

// node is one value of a TOML file with its place. The tree of nodes has the shape of the decoded
// file. Places are byte offsets.
type node struct {
	key int // start of the key; of the value, for the elements of a list
	// value is the start of the value; of the key, for a table that has a header or only dotted
	// keys.
	value    int
	children map[string]*node // of a table, by key
	elems    []*node          // of a list, in order
}

// Locate returns the line and column (from 1, in characters) where the value at path starts in a
// valid TOML text. A path is made of keys (string) and list positions (int, from 0): Locate(data,
// "target", 1, "clock"). The place of a table with a header is that of its name in the header. If
// the path does not exist, the place is that of its last part that does, so that a missing key is
// reported at its table. Locate panics if a part is neither string nor int.
func Locate(data []byte, path ...any) (line, col int) {
	text := withoutMark(data)
	n := scanTOML(text)
	for _, part := range path {
		var next *node
		switch part := part.(type) {
		case string:
			next = n.children[part]
		case int:
			if part >= 0 && part < len(n.elems) {
				next = n.elems[part]
			}
		default:
			panic(fmt.Sprintf("targets: path part of type %T", part))
		}
		if next == nil {
			break
		}
		n = next
	}
	return lineCol(text, n.value)
}

// withoutMark drops the byte-order mark that some editors put in front of UTF-8 text. The TOML
// library drops one mark as well; withoutMark drops all of several, so that the library's offsets
// and ours are offsets into the same text.
func withoutMark(data []byte) string { return strings.TrimLeft(string(data), "\ufeff") }

// lineCol turns a byte offset into line and column, from 1; a column is a character.
func lineCol(text string, offset int) (line, col int) {
	before := text[:min(max(offset, 0), len(text))]
	return strings.Count(before, "\n") + 1,
		utf8.RuneCountInString(before[strings.LastIndexByte(before, '\n')+1:]) + 1
}

// scanTOML finds the places of all keys and values, which the TOML library does not give. The text
// must have passed the library's parser: scanTOML recognises no more than a walk over valid TOML
// needs.
func scanTOML(text string) *node {
	s := &scanner{text: text}
	root := &node{}
	table := root
	for s.skipBlank(); s.pos < len(s.text); s.skipBlank() {
		if s.text[s.pos] != '[' {
			s.pair(table)
			continue
		}
		s.pos++
		isList := s.accept('[')
		table = root.open(s.keys(), isList)
		s.accept(']')
		s.accept(']')
	}
	return root
}

// keyPart is one part of a dotted key.
type keyPart struct {
	name  string
	start int
}

// child returns the child with a name, and adds it if there is none yet.
func (n *node) child(k keyPart) *node {
	c := n.children[k.name]
	if c == nil {
		c = &node{key: k.start, value: k.start}
		if n.children == nil {
			n.children = map[string]*node{}
		}
		n.children[k.name] = c
	}
	return c
}

// descend returns the node that a dotted key leads to. A list of tables on the way stands for its
// latest table, as TOML has it.
func (n *node) descend(path []keyPart) *node {
	for _, k := range path {
		n = n.child(k)
		if len(n.elems) > 0 {
			n = n.elems[len(n.elems)-1]
		}
	}
	return n
}

// open returns the table that a header [path], or [[path]] with isList, starts.
func (n *node) open(path []keyPart, isList bool) *node {
	last := path[len(path)-1]
	c := n.descend(path[:len(path)-1]).child(last)
	if isList {
		e := &node{key: last.start, value: last.start}
		c.elems = append(c.elems, e)
		return e
	}
	c.key, c.value = last.start, last.start
	return c
}

// scanner walks over a TOML text.
type scanner struct {
	text string
	pos  int // byte offset of the next character
}

// accept steps over c and reports whether c was the next character.
func (s *scanner) accept(c byte) bool {
	if s.pos < len(s.text) && s.text[s.pos] == c {
		s.pos++
		return true
	}
	return false
}

// skipTo moves to the next character that is in set, or to the end.
func (s *scanner) skipTo(set string) {
	if i := strings.IndexAny(s.text[s.pos:], set); i >= 0 {
		s.pos += i
	} else {
		s.pos = len(s.text)
	}
}

// skipOver moves past all characters that are in set.
func (s *scanner) skipOver(set string) {
	s.pos = len(s.text) - len(strings.TrimLeft(s.text[s.pos:], set))
}

// skipBlank moves past blanks, line ends and comments.
func (s *scanner) skipBlank() {
	for s.skipOver(" \t\r\n"); s.pos < len(s.text) && s.text[s.pos] == '#'; s.skipOver(" \t\r\n") {
		s.skipTo("\n")
	}
}

// keys reads a dotted key and the blanks behind it.
func (s *scanner) keys() []keyPart {
	var path []keyPart
	for {
		s.skipOver(" \t")
		start := s.pos
		if s.pos < len(s.text) && (s.text[s.pos] == '"' || s.text[s.pos] == '\'') {
			s.quoted()
		} else {
			s.skipTo(" \t.=]")
		}
		path = append(path, keyPart{unquote(s.text[start:s.pos]), start})
		s.skipOver(" \t")
		if !s.accept('.') {
			return path
		}
	}
}

// unquote returns the name that a bare or quoted key stands for.
func unquote(raw string) string {
	if !strings.HasPrefix(raw, `"`) && !strings.HasPrefix(raw, "'") {
		return raw
	}
	var v struct{ K string }
	if _, err := toml.Decode("K = "+raw, &v); err != nil {
		panic("targets: key is not valid TOML: " + raw)
	}
	return v.K
}

// pair reads one key and its value.
func (s *scanner) pair(table *node) {
	n := table.descend(s.keys())
	s.accept('=')
	s.skipOver(" \t")
	s.read(n)
}

// read reads one value into n.
func (s *scanner) read(n *node) {
	n.value = s.pos
	switch {
	case s.accept('['):
		for s.skipBlank(); s.pos < len(s.text) && !s.accept(']'); s.skipBlank() {
			e := &node{key: s.pos}
			n.elems = append(n.elems, e)
			s.read(e)
			s.skipBlank()
			s.accept(',')
		}
	case s.accept('{'):
		for s.skipBlank(); s.pos < len(s.text) && !s.accept('}'); s.skipBlank() {
			s.pair(n)
			s.skipBlank()
			s.accept(',')
		}
	case s.pos < len(s.text) && (s.text[s.pos] == '"' || s.text[s.pos] == '\''):
		s.quoted()
	default:
		s.skipTo(",]}#\n")
	}
}

// quoted moves past a string in quotes: double or single ones, one or three of them.
func (s *scanner) quoted() {
	quote := s.text[s.pos : s.pos+1]
	isRaw := quote == "'"
	end := quote
	if strings.HasPrefix(s.text[s.pos:], quote+quote+quote) {
		end = quote + quote + quote
	}
	for s.pos += len(end); s.pos < len(s.text) && !strings.HasPrefix(s.text[s.pos:], end); s.pos++ {
		if !isRaw && s.text[s.pos] == '\\' {
			s.pos++
		}
	}
	s.pos = min(s.pos+len(end), len(s.text))
	// TOML allows up to two quotes right in front of the closing three; the library takes more.
	if len(end) == 3 {
		s.skipOver(quote)
	}
}
