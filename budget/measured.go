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

// Parts of a resource beside [Total] and [cost.FlashWait].
const (
	NetworkPart  = "network"   // of what was measured: the integer inference as a whole
	FrontEndPart = "front_end" // what the job declares of the code that computes features
)

// measuredCycles are the cycles of the network as measured; what flash adds stays an estimate,
// since emulated cores do not wait.
func measuredCycles(m *Measurement, estimated []part) []part {
	parts := []part{{NetworkPart, m.Cycles, Measured}}
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

// TakeMeasured puts measured figures in place of estimates and judges the limits anew. Front ends
// and flash wait states stay estimates, a sum has the kind of its weakest part, and the estimate
// stays beside every value that changed. Targets that are not among the measurements stay as they
// are.
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
		was, kind := valueOf(estimated, rows[i].Target, rows[i].Resource, rows[i].Part)
		if rows[i].Kind == Measured || was != rows[i].Value {
			rows[i].Estimate, rows[i].Estimated = was, kind
		}
	}
}

// Beside returns the measured figures beside their estimates: for every resource a row of the
// network, and where the estimate holds what no emulated core shows (the front end that the job
// declares, flash wait states) a row of the total with that, whose kind is Estimated. A limit is on
// the total. estimated are the rows of the target; without them there are no estimates, limits and
// times.
func (m *Measurement) Beside(estimated []Cost) []Cost {
	find := func(resource Resource, part string) float64 {
		return ValueOf(estimated, m.Target, resource, part)
	}
	var rows []Cost
	add := func(resource Resource, unit string, measured, beside float64) {
		row := Cost{Target: m.Target, Resource: resource, Part: NetworkPart, Value: measured,
			Unit: unit, Kind: Measured, Estimate: find(resource, Total) - beside,
			Limit: math.NaN()}
		_, row.Estimated = valueOf(estimated, m.Target, resource, NetworkPart)
		if beside != 0 {
			rows = append(rows, row)
			row.Part, row.Value, row.Kind = Total, measured+beside, Estimated
			row.Estimate, row.Estimated = valueOf(estimated, m.Target, resource, Total)
		}
		for _, c := range estimated {
			if c.Target == m.Target && c.Resource == resource && c.Part == Total {
				row.Limit = c.Limit
			}
		}
		rows = append(rows, row.judged())
	}
	beside := func(resource Resource) float64 {
		sum := 0.0
		for _, part := range []string{FrontEndPart, cost.FlashWait} {
			if v := find(resource, part); !math.IsNaN(v) {
				sum += v
			}
		}
		return sum
	}
	add(Flash, "B", m.Flash, beside(Flash))
	add(RAM, "B", m.RAM, beside(RAM))
	add(Stack, "B", m.Stack, beside(Stack))
	add(Cycles, "cycles", m.Cycles, beside(Cycles))
	if clock := find(Cycles, Total) / find(StepTime, Total); clock > 0 && !math.IsInf(clock, 0) {
		add(StepTime, "s", m.Cycles/clock, beside(Cycles)/clock)
	}
	return rows
}

// ValueOf finds a value among rows of cost. The network as a whole is the sum of its parts where
// rows have these, else the total less what is no network. The value is NaN if there is none.
func ValueOf(rows []Cost, target string, resource Resource, part string) float64 {
	value, _ := valueOf(rows, target, resource, part)
	return value
}

// valueOf is ValueOf with the kind of the value, which is that of its weakest part.
func valueOf(rows []Cost, target string, resource Resource,
	part string) (value float64, kind Kind) {
	total, network, beside := Cost{Value: math.NaN()}, Cost{Kind: Exact}, 0.0
	hasParts := false
	for _, c := range rows {
		switch {
		case c.Target != target || c.Resource != resource:
		case c.Part == part:
			return c.Value, c.Kind
		case c.Part == Total:
			total = c
		case c.Part == FrontEndPart || c.Part == cost.FlashWait:
			beside += c.Value
		default:
			hasParts = true
			network.Value, network.Kind = network.Value+c.Value, weaker(network.Kind, c.Kind)
		}
	}
	switch {
	case part != NetworkPart:
		return math.NaN(), ""
	case hasParts:
		return network.Value, network.Kind
	}
	return total.Value - beside, total.Kind
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
