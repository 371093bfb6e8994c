package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
)

// cOperators maps the binary operators of C to their mutants. Binary operators stand between
// spaces, which tells them from signs and pointers.
var cOperators = map[string]string{
	"+": "-", "-": "+", "*": "+", "<<": ">>", ">>": "<<", "&": "|", "|": "&", "^": "&",
	"<": "<=", "<=": "<", ">": ">=", ">=": ">", "==": "!=", "!=": "==", "&&": "||", "||": "&&",
	"+=": "-=", "-=": "+=",
}

var (
	cOperator = regexp.MustCompile(` ([-+*<>&|^=!]+) `)
	// notCode matches text that does not run: comments, strings, lines of the preprocessor,
	// conditions that are checked while compiling.
	notCode = regexp.MustCompile(`(?s)/\*.*?\*/|"(?:[^"\\\n]|\\.)*"|(?m:^[ ` +
		`\t]*#(?:[^\n]*\\\n)*[^\n]*$)|(?m:^NET_CHECK[^\n]*$)`)
)

// cSites lists the mutants of an embedded C file.
func cSites(root, file string) ([]*mutant, error) {
	raw, err := os.ReadFile(filepath.Join(root, file))
	if err != nil {
		return nil, err
	}
	text := string(raw)
	code := notCode.ReplaceAllStringFunc(text, func(s string) string {
		return strings.Repeat("_", len(s))
	})
	var found []*mutant
	for _, at := range cOperator.FindAllStringSubmatchIndex(code, -1) {
		old := text[at[2]:at[3]]
		becomes, known := cOperators[old]
		if !known {
			continue
		}
		line := strings.Count(text[:at[2]], "\n")
		found = append(found, &mutant{
			group: "C", file: file, line: line + 1, what: old + " becomes " + becomes,
			code: strings.TrimSpace(strings.Split(text, "\n")[line]),
			from: at[2], to: at[3], old: old, new: becomes,
		})
	}
	return found, nil
}
