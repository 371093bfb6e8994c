//go:build emulate

package emit

import (
	"maps"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"

	"kerf/testdata/randomnet"
)

// The deviations from MISRA C:2012 that the comment in NAME.c lists are those that the add-on of
// cppcheck reports, of every kind of layer, with and without a front end, in plain C and with a
// kernel. Their text is licensed, so they are named by their numbers.
func TestKernelsDeviateFromTheNamedRules(t *testing.T) {
	if _, err := exec.LookPath("cppcheck"); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("install the Debian package cppcheck")
		}
		t.Skip("deviations are NOT tested: install the Debian package cppcheck")
	}
	programs := []*Program{selftestProgram(t, 2), everyWord(t).program, stackedNetwork(t).program}
	for i, layers := range randomnet.All()[:3] {
		programs = append(programs,
			randomProgram(t, rand.New(rand.NewPCG(uint64(i), 5)), layers))
	}
	kernels := [][]string{{"-DLEAKAIR_PORTABLE"}, {"-D__thumb__"},
		{"-D__thumb__", "-D__thumb2__", "-D__ARM_FEATURE_SAT", "-D__ARM_FEATURE_SIMD32"}}
	var named []string
	reported := map[string]string{} // rules and where one is reported
	var lock sync.Mutex
	var all sync.WaitGroup
	slots := make(chan bool, 2)
	for i, p := range programs {
		dir := t.TempDir()
		writeC(t, p, dir)
		if i == 0 {
			named = namedRules(t, dir)
		}
		sources := []string{"leakair.c", "leakair_selftest.c", "leakair_board.c"}
		if p.Front != nil {
			sources = append(sources, "leakair_front.c")
		}
		for _, source := range sources {
			all.Add(1)
			go func() {
				defer all.Done()
				slots <- true
				defer func() { <-slots }()
				args := append([]string{"--std=c99", "--platform=unix32", "--addon=misra",
					"--quiet", "--template={file}:{line}: {id}", "-D__GNUC__=12",
					"-DUINT32_C(c)=c##UL", "-DINT32_C(c)=c##L", "-DLEAKAIR_WITH_FLOAT",
					"-DLEAKAIR_WITH_ENCODE_ONE", "-DLEAKAIR_WITH_CHECK",
					"-DLEAKAIR_WITH_RETAINED"}, kernels[i%len(kernels)]...)
				cmd := exec.Command("cppcheck", append(args, source)...)
				cmd.Dir = dir
				out, err := cmd.CombinedOutput()
				lock.Lock()
				defer lock.Unlock()
				if err != nil {
					t.Errorf("%v: %v\n%s", cmd.Args, err, tail(out))
				}
				for line := range strings.Lines(string(out)) {
					where, rule, ok := strings.Cut(strings.TrimSpace(line), ": misra-c2012-")
					if ok && reported[rule] == "" {
						reported[rule] = filepath.Base(dir) + "/" + where
					}
				}
			}()
		}
	}
	all.Wait()
	for _, rule := range slices.Sorted(maps.Keys(reported)) {
		if !slices.Contains(named, rule) {
			t.Errorf("rule %s is reported in %s, the C does not name it", rule, reported[rule])
		}
	}
	for _, rule := range named {
		if reported[rule] == "" {
			t.Errorf("the C names rule %s, which is never reported", rule)
		}
	}
}

// namedRules returns the rules that the comment in leakair.c names.
func namedRules(t *testing.T, dir string) []string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(dir, "leakair.c"))
	if err != nil {
		t.Fatal(err)
	}
	_, list, found := strings.Cut(string(text), "rules of MISRA C:2012")
	list, _, ended := strings.Cut(list, "*/")
	if !found || !ended {
		t.Fatal("leakair.c names no rules")
	}
	var rules []string
	named := regexp.MustCompile(`(?m)^ \*  - ([0-9., ]+):`)
	for _, m := range named.FindAllStringSubmatch(list, -1) {
		rules = append(rules, strings.Split(m[1], ", ")...)
	}
	return rules
}
