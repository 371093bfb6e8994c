package emit

import (
	"fmt"
	"math/rand/v2"
	"os/exec"
	"path/filepath"
	"regexp"
	"testing"

	"kerf/budget/cost"
	"kerf/model"
	"kerf/testdata/randomnet"
)

// The board file on this host: every step is run as often as asked, the counter may
// wrap, and the lines say which network it was.
func TestBoardFile(t *testing.T) {
	program := randomProgram(t, rand.New(rand.NewPCG(1, 3)),
		randomnet.Layers{Kinds: []model.Kind{model.GRUResetAfter, model.LSTM},
			Activations: []model.Activation{model.ReLU, model.Identity}})
	dir := t.TempDir()
	writeC(t, program, dir)
	driver, err := filepath.Abs(filepath.Join("testdata", "board.c"))
	if err != nil {
		t.Fatal(err)
	}
	for _, compiler := range [][]string{{"gcc", "-std=c99"}, {"g++", "-std=c++11", "-x", "c++"}} {
		compile(t, dir, append(append(compiler, strict...), "-c", "leakair_board.c", "-o",
			"board.o")...)
		// With the counter of the debug unit it compiles; only a board can run it.
		compile(t, dir, append(append(compiler, strict...), "-DLEAKAIR_BOARD_DWT", "-c",
			"leakair_board.c", "-o", "dwt.o")...)
	}
	compile(t, dir,
		append([]string{"gcc", "-std=c99", "-I.", "-Wl,--wrap=leakair_step",
			"-fsanitize=undefined,address", "-fno-sanitize-recover=all"},
			append(strict, "leakair.c", "leakair_board.c", driver, "-o", "board")...)...)
	out, err := exec.Command(filepath.Join(dir, "board")).Output()
	if err != nil {
		t.Fatal(err)
	}
	steps := len(program.Vectors)
	head := "name,export,network,steps,cycles,overhead\n"
	line := func(runs int) string {
		return fmt.Sprintf("leakair,0x[0-9A-F]{8},%s,%d,%d,7\n",
			regexp.QuoteMeta(cost.ShapeText(program.Net.Shape())), runs*steps, runs*steps*1000+7)
	}
	if want := regexp.MustCompile("^" + head + line(1) + head + line(3) + "$"); !want.Match(out) {
		t.Errorf("printed\n%swant\n%s", out, want)
	}
}
