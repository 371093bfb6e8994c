// Command mutate checks the tests: it changes one operator, rounding, shift or bound at a time in
// quant, budget, exporter and the embedded C, and counts how many changes the tests notice. It
// works in a copy of the tree; README.md has the results.
//
//	go run ./testdata/mutate [-seed 1] [-count 200] [-only quant]
//
// Files, in the order in which to read them: sites.go and csites.go (the possible mutants),
// choose.go (the draw), weave.go (how they get into the copy, with package flip), suite.go (the
// tests), judge.go, print.go.
package main

import (
	"flag"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"slices"
	"strings"
)

func main() {
	seed := flag.Uint64("seed", 1, "seed of the choice")
	count := flag.Int("count", 200, "number of mutants")
	only := flag.String("only", "", "judge one group alone: "+strings.Join(groups, ", "))
	limit := flag.Float64("limit", 8, "tests that take more processor seconds judge nothing")
	flag.Parse()
	if err := mutate(*seed, *count, *only, *limit); err != nil {
		fmt.Fprintln(os.Stderr, "mutate:", err)
		os.Exit(1)
	}
}

// say prints a line about the progress.
func say(format string, args ...any) { fmt.Fprintf(os.Stderr, format+"\n", args...) }

// stage is a package whose tests judge, and the groups that it judges: first its own, then the
// mutants of the packages that it imports which earlier stages left alive.
type stage struct {
	pkg    string
	only   bool // the parts that compile C, and no other test
	groups []string
}

// judges reports whether the stage judges a mutant: it is of its groups, and not yet caught.
func (s stage) judges(v *verdict) bool {
	return slices.Contains(s.groups, v.group) && v.Result != caught && v.Result != notMade
}

var stages = []stage{
	{"quant/rows", false, []string{"quant"}},
	{"quant", false, []string{"quant"}},
	{"exporter/emit", true, []string{"C"}},
	{"budget/cost", false, []string{"budget", "quant"}},
	{"budget", false, []string{"budget", "quant"}},
	{"budget/draft", false, []string{"budget", "quant"}},
	{"exporter/emit", false, []string{"exporter", "budget", "quant"}},
	{"exporter/report", false, []string{"exporter", "budget", "quant"}},
	{"exporter/report/page", false, []string{"exporter", "budget", "quant"}},
	{"exporter", false, []string{"exporter", "budget", "quant"}},
	{"cmd/kerf", false, []string{"exporter", "budget", "quant"}},
}

// mutate draws, weaves and judges mutants and prints the table.
func mutate(seed uint64, count int, only string, limit float64) error {
	root, err := os.Getwd()
	if err != nil {
		return err
	}
	list, err := exec.Command("git", "ls-files", "--cached", "--others",
		"--exclude-standard").Output()
	if err != nil {
		return fmt.Errorf("git ls-files: %w", err)
	}
	place, err := os.MkdirTemp("", "mutate")
	if err != nil {
		return err
	}
	defer os.RemoveAll(place)
	copied := filepath.Join(place, "tree")
	if err := copyTree(root, copied, strings.Fields(string(list))); err != nil {
		return err
	}
	sites, err := allSites(root)
	if err != nil {
		return err
	}
	for _, group := range groups {
		say("%s: %d possible mutants", group, len(sites[group]))
	}
	chosen, err := compiling(root, copied, choose(sites, seed, count))
	if err != nil {
		return err
	}
	s := &suite{place: place}
	taken := map[string]int{}
	var verdicts []*verdict
	for _, m := range chosen {
		if only == "" || m.group == only {
			verdicts = append(verdicts, &verdict{mutant: m})
		}
	}
	interrupted := make(chan os.Signal, 1)
	signal.Notify(interrupted, os.Interrupt)
	for _, stage := range stages {
		if !slices.ContainsFunc(verdicts, stage.judges) {
			continue
		}
		b, err := s.build(copied, stage.pkg)
		if err != nil {
			return err
		}
		if err := s.learn(b, stage, limit, interrupted); err != nil {
			return err
		}
		for _, v := range verdicts {
			if len(interrupted) > 0 {
				break
			}
			if taken[v.group] == count*share[v.group]/200 && v.Result == "" ||
				!stage.judges(v) {
				continue
			}
			first := v.Result == ""
			if err := s.judge(v, b); err != nil {
				return err
			}
			if first && v.Result != notMade {
				taken[v.group]++
			}
			say("%s %s:%d %s: %s %s", v.group, v.file, v.line, v.what, v.Result, v.By)
		}
		s.tests = nil
	}
	verdicts = slices.DeleteFunc(verdicts, func(v *verdict) bool {
		return v.Result == "" || v.Result == notMade
	})
	printTable(os.Stdout, verdicts)
	return nil
}
