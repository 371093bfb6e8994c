package budget_test

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"maps"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// Nothing assigns to the fields of inputs, nor to what they hold, but the loader, which fills them:
// so plans can share them. The test follows names, no types: receivers and parameters of type
// *Inputs, what functions return that have such a result, and fields and methods of the names in
// inputsFields. What is written through a slice or a map that has got another name it does not see;
// the race detector does (TestTwoPlansOnTheSameInputs).
func TestInputsStayAsTheyWereRead(t *testing.T) {
	files := map[string]*ast.File{}
	set := token.NewFileSet()
	for _, root := range []string{".", "../exporter", "../cmd/kerf"} {
		err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") ||
				strings.HasSuffix(path, "_test.go") {
				return err
			}
			files[path], err = parser.ParseFile(set, path, nil, 0)
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	functions, found := writesToInputs(set, files)
	for _, f := range found {
		t.Error(f)
	}
	if functions < 100 {
		t.Errorf("only %d functions have inputs: does the test look in the right place?", functions)
	}
}

// What the test must find, and what it must not.
func TestWritesToInputsAreFound(t *testing.T) {
	const text = `package budget
func (in *Inputs) rename() { in.Job.Name = "" }
func (in *Inputs) warn() { in.Warnings = append(in.Warnings, "") }
func count(of int, in *Inputs) { in.Shared++ }
func (r *Result) change() { r.Inputs.Job.Formats.State = "" }
func (r *Result) name() { a, of := 1, r.Inputs; of.Shared = a }
func (pl *Planner) drop() { pl.in.Selection.Sequences[0] = nil }
func (pl *Planner) share() { pl.Inputs().Shared += 1 }
func (in *Inputs) forget() { delete(in.Job.Tolerances, "") }
func (in *Inputs) order() { slices.Sort(in.Job.Units.Keep) }
func (in *Inputs) take() { fill(&in.Regions) }
func (in *Inputs) inside() { func() { *in = Inputs{} }() }
func Load() *Inputs { return nil }
func plan() { in := Load(); in.Scores = nil }
func later() { var err error; read, err := Load(); read.Scores, _ = nil, err }
func (in loader) read() { in.Shared = 1 }
func (in *Inputs) copied() { changed := *in; changed.Shared = 1; job := *in.Job; job.Name = "" }
func (in *Inputs) local() { c := in.Whole(); c.Units = nil }
func other(in *Cases) { in.Shared = 1 }
func result(in *Inputs) { r := &Result{}; r.Inputs = in }
`
	set := token.NewFileSet()
	file, err := parser.ParseFile(set, "text.go", text, 0)
	if err != nil {
		t.Fatal(err)
	}
	_, found := writesToInputs(set, map[string]*ast.File{"text.go": file})
	var lines []string
	for _, f := range found {
		line, _, _ := strings.Cut(strings.TrimPrefix(f, "text.go:"), ":")
		lines = append(lines, line)
	}
	want := []string{"2", "3", "4", "5", "6", "7", "8", "9", "10", "11", "12", "14", "15"}
	if !slices.Equal(lines, want) {
		t.Errorf("found in lines %v, want %v", lines, want)
	}
}

// inputsFields are the names of fields and methods that lead to inputs.
var inputsFields = []string{"in", "Inputs"}

// changing are the functions that change what their first argument holds.
var changing = []string{"delete", "clear", "copy", "Sort", "SortFunc", "SortStableFunc", "Reverse",
	"Delete", "DeleteFunc", "Compact", "CompactFunc"}

// writesToInputs lists where functions write to inputs that are not their own, in the order of the
// files and lines, and counts the functions that have inputs by a receiver or a parameter.
func writesToInputs(set *token.FileSet, files map[string]*ast.File) (functions int,
	found []string) {
	var giving []string // functions with inputs as their result
	each := func(visit func(d *ast.FuncDecl)) {
		for _, path := range slices.Sorted(maps.Keys(files)) {
			for _, d := range files[path].Decls {
				if d, ok := d.(*ast.FuncDecl); ok {
					visit(d)
				}
			}
		}
	}
	each(func(d *ast.FuncDecl) {
		if r := d.Type.Results; r != nil && slices.ContainsFunc(r.List, isInputs) {
			giving = append(giving, d.Name.Name)
		}
	})
	each(func(d *ast.FuncDecl) {
		f := function{giving: giving}
		for _, list := range []*ast.FieldList{d.Recv, d.Type.Params} {
			if list == nil {
				continue
			}
			for _, field := range list.List {
				for _, name := range field.Names {
					if isInputs(field) {
						f.inputs = append(f.inputs, name.Name)
					} else {
						f.others = append(f.others, name.Name)
					}
				}
			}
		}
		if len(f.inputs) > 0 {
			functions++
		}
		if d.Body == nil {
			return
		}
		ast.Inspect(d.Body, func(n ast.Node) bool {
			for _, written := range f.writes(n) {
				found = append(found, fmt.Sprintf("%s: %s writes to its inputs",
					set.Position(written.Pos()), d.Name.Name))
			}
			return true
		})
	})
	return functions, found
}

// isInputs reports whether a receiver, parameter or result is a pointer to inputs.
func isInputs(f *ast.Field) bool {
	star, ok := f.Type.(*ast.StarExpr)
	if !ok {
		return false
	}
	switch of := star.X.(type) {
	case *ast.Ident:
		return of.Name == "Inputs"
	case *ast.SelectorExpr:
		return of.Sel.Name == "Inputs"
	}
	return false
}

// function is what is known of the names in a function.
type function struct {
	inputs []string // names of inputs
	others []string // receivers and parameters of other types
	giving []string // functions with inputs as their result
}

// writes returns what a statement or an expression writes to, as far as inputs hold it. It takes
// note of variables that inputs are assigned to.
func (f *function) writes(n ast.Node) (written []ast.Expr) {
	switch n := n.(type) {
	case *ast.AssignStmt:
		for i, to := range n.Lhs {
			name, isName := to.(*ast.Ident)
			switch {
			case isName && i < len(n.Rhs) && f.gives(n.Rhs[i]):
				f.inputs = append(f.inputs, name.Name)
			case !isName && f.holdsPart(to):
				written = append(written, to)
			}
		}
	case *ast.IncDecStmt:
		if f.holdsPart(n.X) {
			written = append(written, n.X)
		}
	case *ast.UnaryExpr:
		if _, isName := n.X.(*ast.Ident); n.Op == token.AND && !isName && f.holdsPart(n.X) {
			written = append(written, n.X)
		}
	case *ast.CallExpr:
		name := ""
		switch called := n.Fun.(type) {
		case *ast.Ident:
			name = called.Name
		case *ast.SelectorExpr:
			name = called.Sel.Name
		}
		if len(n.Args) > 0 && slices.Contains(changing, name) && f.holdsPart(n.Args[0]) {
			written = append(written, n.Args[0])
		}
	}
	return written
}

// gives reports whether an expression is inputs: a field, or a call that returns them.
func (f *function) gives(e ast.Expr) bool {
	call, isCall := e.(*ast.CallExpr)
	if isCall {
		e = call.Fun
	}
	switch e := e.(type) {
	case *ast.Ident:
		return isCall && slices.Contains(f.giving, e.Name)
	case *ast.SelectorExpr:
		return isCall && slices.Contains(f.giving, e.Sel.Name) ||
			slices.Contains(inputsFields, e.Sel.Name)
	}
	return false
}

// holdsPart reports whether inputs hold what is written to: a field that leads to inputs may be
// set.
func (f *function) holdsPart(e ast.Expr) bool {
	if s, ok := e.(*ast.SelectorExpr); ok {
		return f.holds(s.X)
	}
	return f.holds(e)
}

// holds reports whether inputs hold what an expression stands for.
func (f *function) holds(e ast.Expr) bool {
	switch e := e.(type) {
	case *ast.Ident:
		return slices.Contains(f.inputs, e.Name) && !slices.Contains(f.others, e.Name)
	case *ast.SelectorExpr:
		return slices.Contains(inputsFields, e.Sel.Name) || f.holds(e.X)
	case *ast.IndexExpr:
		return f.holds(e.X)
	case *ast.SliceExpr:
		return f.holds(e.X)
	case *ast.StarExpr:
		return f.holds(e.X)
	case *ast.ParenExpr:
		return f.holds(e.X)
	case *ast.CallExpr:
		return f.gives(e) // a call of a method gives a value of its own
	}
	return false
}
