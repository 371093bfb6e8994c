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
	code  string // the line

	edits    []edit // of a Go file: the call in place of the operation
	from, to int    // the place
	old, new string // of a C file: the operator and what it becomes
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

type goFile struct {
	group, name string
	text        string
	lines       []string
	files       *token.FileSet
	found       []*mutant
}

func (s *goFile) offset(p token.Pos) int { return s.files.Position(p).Offset }

// between is the text of a piece of the file.
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

// operation is a function of package flip and what it turns an operator into.
type operation struct{ call, becomes string }

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

// opposite is the comparison that holds when the other does not.
var opposite = map[token.Token]string{token.LSS: ">=", token.LEQ: ">", token.GTR: "<=",
	token.GEQ: "<", token.EQL: "!=", token.NEQ: "=="}

var compound = map[token.Token]token.Token{token.ADD_ASSIGN: token.ADD, token.SUB_ASSIGN: token.SUB,
	token.MUL_ASSIGN: token.MUL, token.QUO_ASSIGN: token.QUO}

// functions are the calls that have mutants.
var functions = map[string]operation{
	"max": {"Max", "min"}, "min": {"Min", "max"}, "math.Max": {"Max", "math.Min"},
	"math.Min":   {"Min", "math.Max"},
	"math.Round": {"Round", "math.Floor"}, "math.Floor": {"Floor", "math.Ceil"},
	"math.Ceil": {"Ceil", "math.Floor"}, "math.Abs": {"Abs", "nothing"},
}

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

// calls tells whether an expression calls anything, so that it must not be evaluated twice.
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
