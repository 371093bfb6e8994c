package main

import (
	"cmp"
	"fmt"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"kerf/testdata/mutate/flip"
)

// verdict is the verdict of the tests on a mutant.
type verdict struct {
	*mutant
	Result string // empty before it is judged
	By     string // the test that failed
	Tests  int    // tests that reach it and may judge
}

// Results.
const (
	caught     = "caught"
	alive      = "alive"
	notReached = "not reached"
	notMade    = "not made" // the C does not compile
)

// key returns the line of flip.ReachedFile that says that a test reaches the mutant.
func (m *mutant) key() string {
	if m.group == "C" {
		return "c/" + filepath.Base(m.file) // as embedded
	}
	return strconv.Itoa(m.id)
}

// choice returns the choice that switches the mutant on.
func (m *mutant) choice() flip.Choice {
	if m.group == "C" {
		return flip.Choice{Mutant: m.id,
			C: &flip.CEdit{File: m.key(), Offset: m.from, Old: m.old, Replacement: m.new}}
	}
	return flip.Choice{Mutant: m.id}
}

// A run with a mutant may take slower times the processor time of the tests without one, and
// patient seconds more. Our choice.
const (
	slower  = 5
	patient = 5.0
)

// judge runs the tests of a package that reach a mutant, the fastest first, until one fails.
func (s *suite) judge(v *verdict, b *binary) error {
	m := v.mutant
	var reaching []*test
	for _, t := range s.tests {
		if t.reached == nil || t.reached[m.key()] {
			reaching = append(reaching, t)
		}
	}
	v.Tests += len(reaching)
	v.Result = alive
	if v.Tests == 0 {
		v.Result = notReached
		return nil
	}
	slices.SortStableFunc(reaching, func(a, b *test) int {
		return cmp.Compare(a.seconds, b.seconds)
	})
	if first := nearest[filepath.Base(m.file)]; first != nil {
		slices.SortStableFunc(reaching, func(a, b *test) int {
			return order(!first.MatchString(a.name), !first.MatchString(b.name))
		})
	}
	if err := s.set(m.choice()); err != nil {
		return err
	}
	for _, together := range rounds(reaching) {
		total, patterns := 0.0, make([]string, len(together))
		for i, t := range together {
			total += t.seconds
			patterns[i] = t.name
		}
		o := s.run(b, strings.Join(patterns, "|"), patient+slower*total)
		switch {
		case o.notMade:
			v.Result = notMade
			return nil
		case !o.passed:
			v.Result, v.By = caught, b.pkg+" "+why(o)
			return nil
		}
	}
	return nil
}

// order puts false before true.
func order(a, b bool) int {
	switch {
	case a == b:
		return 0
	case a:
		return 1
	}
	return -1
}

// rounds puts tests of one binary together, in runs each of which takes about twice as long as the
// one before. Parts of a test stay alone, since their patterns have levels.
func rounds(tests []*test) [][]*test {
	var all [][]*test
	room, spent := 1.0, 0.0
	for _, t := range tests {
		part := strings.Contains(t.name, "/")
		if n := len(all); n == 0 || part || all[n-1][0].binary != t.binary ||
			strings.Contains(all[n-1][0].name, "/") || spent+t.seconds > room {
			all = append(all, nil)
			room, spent = 2*room, 0
		}
		all[len(all)-1] = append(all[len(all)-1], t)
		spent += t.seconds
	}
	return all
}

// panicLine matches the line with which a program of Go ends early.
var panicLine = regexp.MustCompile(`(?m)^(?:panic: |fatal error: )(.*)$`)

// why returns the name of the test that failed first, without its parts, or how the run ended.
func why(o outcome) string {
	switch {
	case o.timedOut:
		return "(runs without end)"
	case len(o.names) > 0:
		return strings.SplitN(o.names[0], "/", 2)[0]
	}
	if m := panicLine.FindStringSubmatch(o.output); m != nil {
		return fmt.Sprintf("(panics: %.60s)", m[1])
	}
	return "(ends early)"
}
