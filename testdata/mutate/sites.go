package main

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"strings"
)

// edit replaces the text between two offsets of a file.
type edit struct {
	from, to int
	text     string
}

// mutant is one change of one place.
type mutant struct {
	id    int
	group string // quant, budget, exporter, C
	file  string // from the top of the tree
	line  int
	what  string // "+ becomes -"
	code  string // text of the line

	edits    []edit // of a Go file: the call in place of the operation
	from, to int    // offsets of the changed text
	old, new string // of a C file: the operator before and after
}

// goSites lists the mutants of a Go file. Text that the compiler evaluates
// (constants, sizes of arrays, tags) has none, because a call cannot stand there.
func goSites(root, group, file string) ([]*mutant, error) {
	text, err := os.ReadFile(filepath.Join(root, file))
	if err != nil {
		return nil, err
	}
	files := token.NewFileSet()
	tree, err := parser.ParseFile(files, file, text, parser.SkipObjectResolution)
	if err != nil {
		return nil, err
	}
	s := &goFile{group: group, name: file, text: string(text), files: files,
		lines: strings.Split(string(text), "\n")}
	ast.Inspect(tree, s.visit)
	return s.found, nil
}

// goFile collects the mutants of a Go file.
type goFile struct {
	group, name string
	text        string
	lines       []string
	files       *token.FileSet
	found       []*mutant
}

// offset returns the offset of a position in the file.
func (s *goFile) offset(p token.Pos) int { return s.files.Position(p).Offset }

// between returns a piece of the file.
func (s *goFile) between(from, to token.Pos) string { return s.text[s.offset(from):s.offset(to)] }

// add notes the mutant of the piece from..to; the first %s of with becomes its number.
func (s *goFile) add(from, to token.Pos, what, with string) {
	line := s.files.Position(from).Line
	s.found = append(s.found, &mutant{
		group: s.group, file: s.name, line: line, what: what,
		code: strings.TrimSpace(s.lines[line-1]),
		from: s.offset(from), to: s.offset(to), edits: []edit{{s.offset(from), s.offset(to), with}},
	})
}

// operation is a function of package flip, and the operator or function that its mutant computes.
type operation struct{ call, becomes string }

// operations are the mutants of operators.
var operations = map[token.Token][]operation{
	token.ADD: {{"Add", "-"}},
	token.SUB: {{"Sub", "+"}},
	token.MUL: {{"Mul", "/"}},
	token.QUO: {{"Quo", "*"}},
	token.SHL: {{"Shl", ">>"}, {"ShlMore", "<< 1 +"}},
	token.SHR: {{"Shr", "<<"}, {"ShrMore", ">> 1 +"}},
	token.LSS: {{"Less", "<="}},
	token.LEQ: {{"AtMost", "<"}},
	token.GTR: {{"More", ">="}},
	token.GEQ: {{"AtLeast", ">"}},
}

// opposite maps a comparison to the one that holds when it does not.
var opposite = map[token.Token]string{token.LSS: ">=", token.LEQ: ">", token.GTR: "<=",
	token.GEQ: "<", token.EQL: "!=", token.NEQ: "=="}

// compound maps assignments with an operator to the operator.
var compound = map[token.Token]token.Token{token.ADD_ASSIGN: token.ADD, token.SUB_ASSIGN: token.SUB,
	token.MUL_ASSIGN: token.MUL, token.QUO_ASSIGN: token.QUO}

// functions are the mutants of calls, by the function that is called.
var functions = map[string]operation{
	"max": {"Max", "min"}, "min": {"Min", "max"}, "math.Max": {"Max", "math.Min"},
	"math.Min":   {"Min", "math.Max"},
	"math.Round": {"Round", "math.Floor"}, "math.Floor": {"Floor", "math.Ceil"},
	"math.Ceil": {"Ceil", "math.Floor"}, "math.Abs": {"Abs", "nothing"},
}

// visit adds the mutants of a node and reports whether the nodes inside can have some.
func (s *goFile) visit(n ast.Node) bool {
	switch n := n.(type) {
	case *ast.GenDecl:
		return n.Tok == token.VAR
	case *ast.ArrayType:
		return false
	case *ast.BinaryExpr:
		s.binary(n)
	case *ast.AssignStmt:
		if op, ok := compound[n.Tok]; ok && !calls(n.Lhs[0]) {
			o := operations[op][0]
			left := s.between(n.Lhs[0].Pos(), n.Lhs[0].End())
			s.add(n.Pos(), n.End(), n.Tok.String()+" becomes "+o.becomes+"=",
				fmt.Sprintf("%s = flip.%s(%%d, %s, %s)", left, o.call, left,
					s.between(n.Rhs[0].Pos(), n.Rhs[0].End())))
		}
	case *ast.CallExpr:
		name := s.between(n.Fun.Pos(), n.Fun.End())
		if o, ok := functions[name]; ok && (len(n.Args) == 2 || strings.HasPrefix(name, "math.")) &&
			!n.Ellipsis.IsValid() {
			s.add(n.Pos(), n.End(), name+" becomes "+o.becomes,
				fmt.Sprintf("flip.%s(%%d, %s)", o.call,
					s.between(n.Args[0].Pos(), n.Args[len(n.Args)-1].End())))
		}
	}
	return true
}

// binary adds the mutants of a binary operator.
func (s *goFile) binary(n *ast.BinaryExpr) {
	left, right := s.between(n.X.Pos(), n.X.End()), s.between(n.Y.Pos(), n.Y.End())
	becomes := func(what string) string { return n.Op.String() + " becomes " + what }
	for _, o := range operations[n.Op] {
		s.add(n.Pos(), n.End(), becomes(o.becomes),
			fmt.Sprintf("flip.%s(%%d, %s, %s)", o.call, left, right))
	}
	if what, ok := opposite[n.Op]; ok {
		s.add(n.Pos(), n.End(), becomes(what),
			fmt.Sprintf("(flip.On(%%d) != (%s %s %s))", left, n.Op, right))
	}
	switch n.Op {
	case token.LAND:
		s.add(n.Pos(), n.End(), becomes("||"),
			fmt.Sprintf("flip.And(%%d, %s, func() bool { return %s })", left, right))
	case token.LOR:
		s.add(n.Pos(), n.End(), becomes("&&"),
			fmt.Sprintf("flip.Or(%%d, %s, func() bool { return %s })", left, right))
	}
}

// calls reports whether an expression calls a function, so that it must not be evaluated twice.
func calls(e ast.Expr) bool {
	found := false
	ast.Inspect(e, func(n ast.Node) bool {
		if _, ok := n.(*ast.CallExpr); ok {
			found = true
		}
		return !found
	})
	return found
}
