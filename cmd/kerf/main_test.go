package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){
		"kerf":    func() { exit(run(os.Args[1:], os.Stdin, os.Stdout, os.Stderr)) },
		guardName: guard,
	})
}

// The scripts run in a folder that holds a copy of the open data set in city/, and board.csv.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:   "testdata/script",
		Setup: copyInputs,
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"replace":  replace,
			"samedirs": sameDirs,
		},
		UpdateScripts: os.Getenv("UPDATE_SCRIPTS") != "",
	})
}

func copyInputs(env *testscript.Env) error {
	to := filepath.Join(env.WorkDir, "city")
	if err := writeBoardLines(env.WorkDir); err != nil {
		return err
	}
	return os.CopyFS(to, os.DirFS(filepath.Join("..", "..", "testdata", "cityweather")))
}

// replace FILE OLD NEW replaces the first OLD in a file, which must be there.
func replace(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 3 {
		ts.Fatalf("usage: replace FILE OLD NEW")
	}
	path := ts.MkAbs(args[0])
	text, err := os.ReadFile(path)
	ts.Check(err)
	unescape := strings.NewReplacer(`\n`, "\n", `\t`, "\t")
	old, fresh := unescape.Replace(args[1]), unescape.Replace(args[2])
	if !strings.Contains(string(text), old) {
		ts.Fatalf("%s does not contain %q", args[0], old)
	}
	ts.Check(os.WriteFile(path, []byte(strings.Replace(string(text), old, fresh, 1)), 0o644))
}

// samedirs A B compares two folders file by file.
func sameDirs(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: samedirs A B")
	}
	a, err := os.ReadDir(ts.MkAbs(args[0]))
	ts.Check(err)
	b, err := os.ReadDir(ts.MkAbs(args[1]))
	ts.Check(err)
	if len(a) != len(b) {
		ts.Fatalf("%s has %d files, %s has %d", args[0], len(a), args[1], len(b))
	}
	for _, e := range a {
		x, err := os.ReadFile(filepath.Join(ts.MkAbs(args[0]), e.Name()))
		ts.Check(err)
		y, err := os.ReadFile(filepath.Join(ts.MkAbs(args[1]), e.Name()))
		ts.Check(err)
		if string(x) != string(y) {
			ts.Fatalf("%s differs", e.Name())
		}
	}
}
