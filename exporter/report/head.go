package report

import (
	"cmp"
	"fmt"
	"strings"

	"kerf/budget"
	"kerf/dataset"
	"kerf/exporter/emit"
)

// Summary returns the lines at the head of the report: what was given, what was cut, and on which
// recordings the choice and the verdicts rest.
func (s *Signoff) Summary() []string {
	n := s.Network
	var lines []string
	if s.ModelVersion != "" {
		lines = append(lines, "Model version: "+s.ModelVersion+".")
	}
	if explained := s.ExplainedLine(); explained != "" {
		lines = append(lines, explained)
	}
	if tried := s.triedLine(); tried != "" {
		lines = append(lines, tried)
	}
	if checked := s.checkedLine(); checked != "" {
		lines = append(lines, checked)
	}
	lines = append(lines,
		fmt.Sprintf("Kept: %s.", s.KeptText()),
		fmt.Sprintf("Formats: %s, features int16 with %d fraction bits.", n.Formats,
			n.InputFraction),
	)
	for _, r := range s.Recorded {
		name := map[budget.Role]string{budget.SelectionRole: "Selection",
			budget.SignoffRole: "Sign-off"}[r.Use]
		lines = append(lines,
			fmt.Sprintf("%s recordings: %s, %s steps, %s.", name, Plural(r.Sequences, "sequence"),
				grouped(float64(r.Steps)), Plural(r.Scenarios, "scenario")))
	}
	lines = append(lines, s.startLines()...)
	lines = append(lines, s.recoveryLines()...)
	if len(s.Dropped.Features) > 0 {
		lines = append(lines, "Features cut: "+dataset.ListNames(s.Dropped.Features)+".")
	}
	for l, units := range s.Dropped.Units {
		if len(units) == 0 {
			continue
		}
		layer := ""
		if len(s.Dropped.Units) > 1 {
			layer = fmt.Sprintf(" of layer %d", l)
		}
		lines = append(lines,
			fmt.Sprintf("Units cut%s: %s (as trained, from 0).", layer, joinInts(units)))
	}
	if len(s.Dropped.FrontEnds) > 0 {
		freed := dataset.ListNames(s.Dropped.FrontEnds)
		lines = append(lines, "Front end freed by the cut: "+freed+".")
	}
	return lines
}

// KeptText says how many features and units stay, and what the network is then.
func (s *Signoff) KeptText() string {
	n := s.Network
	return fmt.Sprintf("%d of %d features, %d of %d units; %s", n.Features, n.TrainedFeatures,
		n.Units, n.TrainedUnits, n.Kept)
}

// CompilerLine says for which compilers and options the figures of code hold. It is empty without a
// target.
func (s *Signoff) CompilerLine() string {
	if len(s.Build) == 0 {
		return ""
	}
	return "Compiler: " + s.builds() + "."
}

// builds lists the compilers with their options, targets with the same together. A compiler is
// named where it is another one than before.
func (s *Signoff) builds() string {
	type build struct{ compiler, options string }
	var all []build
	targets := map[build][]string{}
	for _, t := range s.Build {
		b := build{s.CompilerOf(t), t.Options(s.Name)}
		if targets[b] == nil {
			all = append(all, b)
		}
		targets[b] = append(targets[b], t.Name)
	}
	var clauses []string
	for i, b := range all {
		compiler := b.compiler
		if i > 0 && compiler == all[i-1].compiler {
			compiler = ""
		}
		clauses = append(clauses, strings.TrimSpace(compiler+" "+b.options)+" on "+
			strings.Join(targets[b], ", "))
	}
	return strings.Join(clauses, "; ")
}

// CompilerOf names the compiler of a target with its version: the one that was run, or the one that
// the estimates hold for.
func (s *Signoff) CompilerOf(t emit.BuildTarget) string {
	for _, m := range s.Measured {
		if emit.BuildName(m.Target) == t.Name && len(m.Tools) > 0 {
			return m.Tools[0].Name + " " + m.Tools[0].Version
		}
	}
	return cmp.Or(t.Compiler, "GCC")
}

// BuildText names the compiler of a target with its options for optimising; empty where it is not
// known, as in a file of an old kerf.
func (s *Signoff) BuildText(target string) string {
	if t := s.buildOf(target); t != nil {
		return strings.TrimSpace(s.CompilerOf(*t) + " " + t.Options(s.Name))
	}
	return ""
}

// buildOf returns what compiling for a target takes; nil where that is not known.
func (s *Signoff) buildOf(target string) *emit.BuildTarget {
	for i := range s.Build {
		if s.Build[i].Name == emit.BuildName(target) {
			return &s.Build[i]
		}
	}
	return nil
}

// HasEstimate reports whether there is an estimate of a figure for the build of its target, also
// where it was measured.
func (s *Signoff) HasEstimate(c *CostRow) bool {
	t := s.buildOf(c.Target)
	return c.Kind != budget.NotEstimated && (c.Compiler == "" || t == nil || !t.NoEstimates)
}

// ShortCaution is [Caution] in one line of a terminal.
const ShortCaution = "Estimates until measured. For safety, standards, codes and an engineer " +
	"decide."

// VerdictLine returns the verdict with its reason in one line.
func (s *Signoff) VerdictLine() string { return "Verdict: " + s.verdictText() + "." }

// verdictText is the verdict, its reason, and how many limits and tolerances are met.
func (s *Signoff) verdictText() string {
	passed, judged := 0, 0
	count := func(verdict budget.Verdict) {
		if verdict != "" {
			judged++
		}
		if verdict == budget.Pass {
			passed++
		}
	}
	for _, l := range s.Loss {
		count(l.Verdict)
	}
	for _, c := range s.Cost {
		count(c.Verdict)
	}
	met := fmt.Sprintf("%d of %d limits and tolerances met", passed, judged)
	if s.Reason != "" {
		return fmt.Sprintf("%s: %s (%s)", s.Verdict, s.Reason, met)
	}
	return fmt.Sprintf("%s (%s)", s.Verdict, met)
}

// Signatures are the roles of those who sign.
var Signatures = []string{"Prepared", "Checked", "Approved"}

// HeadLine returns the verdict as every C file of the handoff states it, and with which macro it
// holds.
func (s *Signoff) HeadLine() string {
	line := s.VerdictLine()
	if s.Verdict != budget.Fits {
		line = "NOT SIGNED. " + line
	}
	if checked := s.checkedLine(); checked != "" {
		line += " " + checked
	}
	var small []string
	for _, t := range s.Build {
		if t.Portable {
			small = append(small, t.Name)
		}
	}
	if len(small) > 0 {
		line += fmt.Sprintf(" On %s this holds with %s.", dataset.ListNames(small),
			emit.PortableOption(s.Name))
	}
	return line
}

// checkedLine says against which findings the job lets the verdict stand, and why; empty where
// there are none or the job gives no reason.
func (s *Signoff) checkedLine() string {
	if s.Checked == "" || len(s.Causes) == 0 {
		return ""
	}
	return fmt.Sprintf("The job lets the verdict stand although %s; its reason: %s.",
		strings.Join(s.Findings(), "; "), s.Checked)
}
