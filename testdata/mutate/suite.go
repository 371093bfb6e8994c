package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"syscall"
	"time"

	"kerf/testdata/mutate/flip"
)

// test is one test of a package, or one part of a test that takes long.
type test struct {
	binary  *binary
	name    string          // pattern for -test.run
	seconds float64         // processor time without mutants
	reached map[string]bool // keys of the mutants that it reaches; nil: all of the C
}

// binary is the compiled tests of a package.
type binary struct {
	pkg, dir, path string // package, its folder in the copy, file of the program
}

// suite holds all tests, and the folder through which they learn of the mutant.
type suite struct {
	place string
	tests []*test
}

// cParts are the parts of tests that compile and run C, in the order in which they judge: networks
// of every kind against Go, numbers of columns, self-tests.
var cParts = func() []string {
	var all []string
	for i := range 22 {
		all = append(all, fmt.Sprintf("^TestCAndGoGiveTheSameIntegers$/^%d_", i))
	}
	for _, bits := range []int{4, 8, 16} {
		for _, columns := range []int{3, 25, 50} {
			all = append(all, fmt.Sprintf("^TestEveryNumberOfColumns$/^int%d,_%d_", bits, columns))
		}
	}
	for i := range 22 {
		all = append(all, fmt.Sprintf("^TestEmittedCCompilesAndPassesItsSelfTest$/^%d_", i))
	}
	return append(all, "^TestEncodeAndDecodeAgreeWithGo$", "^TestBoardFile$",
		"^TestSelfTestNamesTheFirstWrongInteger$", "^TestSelfTestTellsAnotherExport$",
		"^TestValuesAgreeWithGo$", "^TestRetainedStateIsRestoredWholeOrNotAtAll$")
}()

// nearest maps a C file to a pattern of the parts that most likely show its mutants and judge
// first: those of its kind of layer, those that read rows in every way. The order of networks is
// that of exporter/emit/c_test.go.
var nearest = map[string]*regexp.Regexp{
	"gru_after.c":    regexp.MustCompile(`AndGo.*/\^[01]_`),
	"gru_before.c":   regexp.MustCompile(`AndGo.*/\^[23]_`),
	"lstm.c":         regexp.MustCompile(`AndGo.*/\^[45]_`),
	"elman.c":        regexp.MustCompile(`AndGo.*/\^[6-9]_`),
	"dense.c":        regexp.MustCompile(`AndGo.*/\^1[0-7]_`),
	"rows_alone.c":   regexp.MustCompile(`Columns`),
	"rows_bytes.c":   regexp.MustCompile(`Columns`),
	"rows_dual.c":    regexp.MustCompile(`Columns`),
	"rows_pair.c":    regexp.MustCompile(`Columns`),
	"rows_three.c":   regexp.MustCompile(`Columns`),
	"rom.h":          regexp.MustCompile(`Columns`),
	"net_board.c":    regexp.MustCompile(`BoardFile`),
	"net_selftest.c": regexp.MustCompile(`SelfTestNames`),
	"scaled.c":       regexp.MustCompile(`ValuesAgree`),
	"encode.c":       regexp.MustCompile(`ValuesAgree`),
}

// partSeconds is about the processor time of a part in seconds, without compilers.
const partSeconds = 2

// set writes the choice that the tests read.
func (s *suite) set(c flip.Choice) error {
	text, err := json.Marshal(c)
	if err != nil {
		return err
	}
	return os.WriteFile(filepath.Join(s.place, flip.ActiveFile), text, 0o644)
}

// outcome is the outcome of a run of tests.
type outcome struct {
	passed   bool
	names    []string // of tests that failed
	output   string
	seconds  float64
	notMade  bool // the C does not compile
	timedOut bool
}

var (
	failedTest = regexp.MustCompile(`(?m)^\s*--- FAIL: (\S+)`)
	cError     = regexp.MustCompile(`\.[ch]:\d+:\d+: error: `)
)

// slowest bounds the time of a run by the clock, whatever the load of the machine. Our choice.
const slowest = 20 * time.Minute

// run runs some tests of a binary on one core. limit bounds the processor seconds of every process.
func (s *suite) run(b *binary, pattern string, limit float64, extra ...string) outcome {
	ctx, stop := context.WithTimeout(context.Background(), slowest)
	defer stop()
	args := append([]string{"-test.run", pattern, "-test.failfast", "-test.parallel", "1",
		"-test.timeout", "0"}, extra...)
	cmd := exec.CommandContext(ctx, "sh",
		append([]string{"-c", fmt.Sprintf(`ulimit -t %d; exec "$0" "$@"`, int(limit)+1), b.path},
			args...)...)
	cmd.Dir = b.dir
	cmd.Env = append(os.Environ(), "GOMAXPROCS=1", "GOMEMLIMIT=1GiB")
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	cmd.Cancel = func() error { return syscall.Kill(-cmd.Process.Pid, syscall.SIGKILL) }
	cmd.WaitDelay = time.Second
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	err := cmd.Run()
	o := outcome{passed: err == nil, output: out.String()}
	if cmd.ProcessState != nil {
		o.seconds = (cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()).Seconds()
		status, _ := cmd.ProcessState.Sys().(syscall.WaitStatus)
		o.timedOut = ctx.Err() != nil || status.Signaled()
	}
	for _, m := range failedTest.FindAllStringSubmatch(o.output, -1) {
		o.names = append(o.names, m[1])
	}
	o.notMade = !o.passed && cError.MatchString(o.output)
	return o
}

// build compiles the tests of a package of the copied tree.
func (s *suite) build(copied, pkg string) (*binary, error) {
	b := &binary{pkg: pkg, dir: filepath.Join(copied, pkg),
		path: filepath.Join(s.place, strings.ReplaceAll(pkg, "/", "_")+".test")}
	cmd := exec.Command("go", "test", "-c", "-vet=off", "-ldflags",
		"-X kerf/testdata/mutate/flip.place="+s.place, "-o", b.path, "./"+pkg)
	cmd.Dir = copied
	if out, err := cmd.CombinedOutput(); err != nil {
		return nil, fmt.Errorf("%s: %s", pkg, out)
	}
	return b, nil
}

// learn runs every test of a binary alone, without a mutant, and notes its time and the mutants
// that it reaches. A test that fails or takes longer than limit seconds judges nothing. The parts
// that compile C reach all of the C; learn does not run them.
func (s *suite) learn(b *binary, st stage, limit float64, interrupted <-chan os.Signal) error {
	if st.only {
		for _, p := range cParts {
			s.tests = append(s.tests, &test{binary: b, name: p, seconds: partSeconds})
		}
		return nil
	}
	cmd := exec.Command(b.path, "-test.list", "^Test")
	cmd.Dir = b.dir
	list, err := cmd.Output()
	if err != nil {
		return fmt.Errorf("%s: %w", b.pkg, err)
	}
	for name := range strings.FieldsSeq(string(list)) {
		isPart := slices.ContainsFunc(cParts, func(p string) bool {
			return strings.HasPrefix(p, "^"+name+"$/")
		})
		if !strings.HasPrefix(name, "Test") || isPart || len(interrupted) > 0 {
			continue
		}
		if err := s.learnOne(b, "^"+name+"$", limit); err != nil {
			return err
		}
	}
	return nil
}

// learnOne does the work of learn for the tests of a pattern.
func (s *suite) learnOne(b *binary, pattern string, limit float64) error {
	reached := filepath.Join(s.place, flip.ReachedFile)
	if err := os.RemoveAll(reached); err != nil {
		return err
	}
	if err := s.set(flip.Choice{Record: true}); err != nil {
		return err
	}
	o := s.run(b, pattern, limit, "-test.v")
	switch {
	case !o.passed:
		say("%s %s judges nothing: it fails or takes more than %.0f s without a mutant", b.pkg,
			pattern, limit)
		return nil
	case !strings.Contains(o.output, "--- PASS"):
		return nil
	}
	t := &test{binary: b, name: pattern, seconds: o.seconds, reached: map[string]bool{}}
	text, err := os.ReadFile(reached)
	if err != nil && !os.IsNotExist(err) {
		return err
	}
	for line := range strings.Lines(string(text)) {
		t.reached[strings.TrimSpace(line)] = true
	}
	if len(t.reached) > 0 {
		s.tests = append(s.tests, t)
	}
	say("%s %s: %.1f s, reaches %d", b.pkg, pattern, o.seconds, len(t.reached))
	return nil
}
