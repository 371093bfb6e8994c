package report

import (
	"testing"

	"kerf/exporter/emit"
)

// Targets with the same options stand together, in the order of the job; a job without a target has
// no options.
func TestCompilerLine(t *testing.T) {
	s := &Signoff{}
	if got := s.CompilerLine(); got != "" {
		t.Errorf("without a target: %q", got)
	}
	s.Build = []emit.BuildTarget{{Name: "a", Optimise: "-O2"}, {Name: "b", Optimise: "-O1"},
		{Name: "c", Optimise: "-O2"}}
	if got, want := s.CompilerLine(), "Compiler: GCC -O2 on a, c; -O1 on b."; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}
