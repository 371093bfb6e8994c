package budget

import (
	"fmt"
	"math"
	"strings"

	"kerf/budget/cost"
)

// Measurement is what the emitted C of a candidate takes on one target, read from linked programs
// and emulated cores.
type Measurement struct {
	Target      string  // name in the job
	Flash       float64 // bytes that the network adds to a program
	RAM         float64 // bytes of one state, and of weights and tables that are copied there
	Stack       float64 // bytes of the deepest chain of calls
	Cycles      float64 // of the longest step that was found
	Times       StepTimes
	Optimise    string // flags of the compiler
	CyclesFrom  string // what counted the cycles
	ToolNames   []string
	ToolVersion []string // in the same order
}

// StepTimes are the cycles of steps on drawn inputs, and of how many further ones the longest was
// searched.
type StepTimes struct {
	Steps             int
	Least, Mean, Most float64
	Searched          int
	Text              string // the same in words
}

// networkPart is the part of the cycles that was measured as a whole.
const networkPart = "network"

// frontEndPart is what the job declares of the code that computes features.
const frontEndPart = "front_end"

// measuredCycles are the cycles of the network as measured; what flash adds stays an estimate,
// since emulated cores do not wait.
func measuredCycles(m *Measurement, estimated []part) []part {
	parts := []part{{networkPart, m.Cycles, Measured}}
	if last := estimated[len(estimated)-1]; last.name == cost.FlashWait {
		parts = append(parts, last)
	}
	return parts
}

// memory is the RAM of the network: exact where the linked program takes what follows from the
// data.
func (m *Measurement) memory(exact []part) []part {
	sum := 0.0
	for _, p := range exact {
		sum += p.value
	}
	if sum == m.RAM {
		return exact
	}
	state := exact[0]
	state.value, state.kind = state.value+m.RAM-sum, Measured
	return append([]part{state}, exact[1:]...)
}

// TakeMeasured puts measured figures in place of estimates, keeps those beside them, and judges the
// limits anew. Targets that are not among the measurements stay as they are.
func (r *Result) TakeMeasured(all []Measurement) {
	c := r.Chosen.Candidate
	r.Measured = all
	r.Costs = nil
	for _, t := range r.Inputs.Targets {
		estimated := r.Inputs.targetCosts(c, t)
		rows := estimated
		for i := range all {
			if all[i].Target == t.Name {
				rows = r.Inputs.costsWith(c, t, &all[i])
				withEstimates(rows, estimated)
				r.Warnings = append(r.Warnings, all[i].origin())
			}
		}
		r.Costs = append(r.Costs, rows...)
	}
	r.judge()
}

// withEstimates puts the estimate beside every value that differs in kind or size because something
// was measured.
func withEstimates(rows, estimated []Cost) {
	for i := range rows {
		was := ValueOf(estimated, rows[i].Target, rows[i].Resource, rows[i].Part)
		if rows[i].Kind != Measured && was == rows[i].Value {
			continue
		}
		rows[i].Estimate, rows[i].Estimated = was, Estimated
		for _, c := range estimated {
			if c.Resource == rows[i].Resource && c.Part == rows[i].Part {
				rows[i].Estimated = c.Kind
			}
		}
	}
}

// ValueOf finds a value among rows of cost. The network as a whole is the sum of its parts where
// rows have these. It is NaN if there is none.
func ValueOf(rows []Cost, target, resource, part string) float64 {
	sum, found := 0.0, false
	for _, c := range rows {
		switch {
		case c.Target != target || c.Resource != resource:
		case c.Part == part:
			return c.Value
		case part == networkPart && c.Part != Total && c.Part != frontEndPart &&
			c.Part != cost.FlashWait:
			sum, found = sum+c.Value, true
		}
	}
	if !found {
		return math.NaN()
	}
	return sum
}

// origin says what measured.
func (m *Measurement) origin() string {
	var tools []string
	for i, name := range m.ToolNames {
		tools = append(tools, name+" "+m.ToolVersion[i])
	}
	return fmt.Sprintf("%s: flash, RAM, stack and cycles of the network are measured with %s at "+
		"%s; cycles are those of the longest step that was found; %s (%s)", m.Target,
		strings.Join(tools, ", "), m.Optimise, m.Times.Text, m.CyclesFrom)
}
