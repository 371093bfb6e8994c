package budget

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"kerf/budget/cost"
)

// Measurement is what the emitted C of a candidate takes on one target, read from linked programs
// and emulated cores.
type Measurement struct {
	Target string  // name in the job
	Flash  float64 // bytes that the network adds to a program
	// bytes of one state, and of weights and tables that are copied there
	RAM         float64
	Stack       float64           // bytes of the deepest chain of calls
	Cycles      float64           // of the longest step that was found
	Front       *FrontMeasurement // nil: no feature is computed from samples
	Times       StepTimes
	Optimise    string // flags of the compiler
	CyclesFrom  string // what counted the cycles
	ToolNames   []string
	ToolVersion []string // in the same order
}

// FrontMeasurement is what the emitted C takes that computes features from samples: bytes that it
// adds to a program with the network, bytes of stack, and cycles of calls.
type FrontMeasurement struct {
	Flash, RAM                 float64
	SampleStack, FeaturesStack float64
	Sampling                   float64 // the calls of name_sample of a window, the mean
	Last, Longest              float64 // of name_sample: the last call of a window, the longest
	Features                   float64 // of name_features, the longest that was found
	Windows                    int     // that were run to find these
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

// notNetwork are the parts that are no network.
var notNetwork = []string{FrontEndPart, cost.FlashWait, SamplingPart, FeaturesPart,
	FrontTablesPart, FrontCodePart, FrontStatePart, ConvertersPart}

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
		rows, built := estimated, t
		built.Code = estimated[0].Form
		for i := range all {
			if all[i].Target == t.Name {
				rows = r.Inputs.costsWith(c, built, &all[i])
				withEstimates(rows, estimated)
				r.Warnings = append(r.Warnings, all[i].origin())
				if note := t.trySmall(rows); note != "" {
					r.Warnings = append(r.Warnings, note)
				}
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
		if kind != NotEstimated && (rows[i].Kind == Measured || was != rows[i].Value) {
			rows[i].Estimate, rows[i].Estimated = was, kind
		}
	}
}

// Beside returns the measured figures beside their estimates: for every resource a row of the
// network, rows of what computes features from samples, and where there is more than the network a
// row of the total. What the estimate holds that no emulated core shows (the front end that the job
// declares, flash wait states) makes that Estimated. A limit is on the total. estimated are the
// rows of the target; without them there are no estimates, limits and times.
func (m *Measurement) Beside(estimated []Cost) []Cost {
	b := measuredRows{target: m.Target, estimated: estimated}
	if m.Front == nil {
		b.add(Flash, "B", m.Flash, b.unseen(Flash))
		b.add(RAM, "B", m.RAM, b.unseen(RAM))
		b.add(Stack, "B", m.Stack, b.unseen(Stack))
		b.add(Cycles, "cycles", m.Cycles, b.unseen(Cycles))
		if clock := b.find(Cycles, Total) / b.find(StepTime, Total); isAbove0(clock) {
			b.add(StepTime, "s", m.Cycles/clock, b.unseen(Cycles).over(clock))
		}
		return b.rows
	}
	f := m.Front
	tables := b.find(Flash, FrontTablesPart)
	if math.IsNaN(tables) {
		tables = 0
	}
	b.add(Flash, "B", m.Flash, b.unseen(Flash), part{FrontTablesPart, tables, Exact},
		part{FrontCodePart, f.Flash - tables, Measured})
	b.add(RAM, "B", m.RAM, b.unseen(RAM), part{FrontStatePart, f.RAM, Measured})
	b.addTotal(Stack, "B", max(m.Stack, f.FeaturesStack)+f.SampleStack, unseen{})
	b.add(Cycles, "cycles", m.Cycles, b.unseen(Cycles), part{SamplingPart, f.Sampling, Measured},
		part{FeaturesPart, f.Features, Measured})
	b.addTotal(Interrupt, "cycles", f.Longest, b.unseen(Interrupt))
	if clock := b.find(Interrupt, Total) / b.find(InterruptTime, Total); isAbove0(clock) {
		b.addTotal(StepTime, "s", (f.Last+f.Features+m.Cycles)/clock, b.unseen(Cycles).over(clock))
		b.addTotal(InterruptTime, "s", f.Longest/clock, b.unseen(InterruptTime))
		b.addTotal(FeaturesTime, "s", (f.Last+f.Features)/clock, b.unseen(FeaturesTime))
	}
	return b.rows
}

func isAbove0(v float64) bool { return v > 0 && !math.IsInf(v, 0) }

// measuredRows gathers measured figures beside estimated ones of a target.
type measuredRows struct {
	target          string
	estimated, rows []Cost
}

func (b *measuredRows) find(resource Resource, part string) float64 {
	return ValueOf(b.estimated, b.target, resource, part)
}

// unseen is what the estimate of a resource holds that no emulated core shows.
func (b *measuredRows) unseen(resource Resource) unseen {
	all := unseen{kind: Measured}
	for _, part := range []string{FrontEndPart, cost.FlashWait} {
		if v, kind := valueOf(b.estimated, b.target, resource, part); !math.IsNaN(v) && v != 0 {
			all.sum, all.kind = all.sum+v, weaker(all.kind, kind)
			if kind != NotEstimated {
				all.known += v
			}
		}
	}
	return all
}

// unseen is a part of a figure that no emulated core shows.
type unseen struct {
	sum, known float64 // known: without what is NotEstimated
	kind       Kind    // Measured where there is nothing
}

// over is the same, divided.
func (u unseen) over(by float64) unseen { return unseen{u.sum / by, u.known / by, u.kind} }

// add adds the rows of a resource: what was measured of the network, further measured parts, and
// their total with what is unseen.
func (b *measuredRows) add(resource Resource, unit string, network float64, more unseen,
	parts ...part) {
	row := b.row(resource, unit, NetworkPart)
	row.Value, row.Estimate = network, b.find(resource, Total)-more.sum
	total := network
	var rows []Cost
	for _, p := range parts {
		one := b.row(resource, unit, p.name)
		one.Value, one.Kind = p.value, p.kind
		one.Estimate, one.Estimated = valueOf(b.estimated, b.target, resource, p.name)
		row.Estimate -= one.Estimate
		total += p.value
		rows = append(rows, one)
	}
	_, row.Estimated = valueOf(b.estimated, b.target, resource, NetworkPart)
	if more.sum == 0 && len(parts) == 0 {
		row.Limit = b.limit(resource)
		b.rows = append(b.rows, row.judged())
		return
	}
	b.rows = append(append(b.rows, row), rows...)
	b.addTotal(resource, unit, total, more)
}

// addTotal adds the row of a total of which the parts that are seen take so much.
func (b *measuredRows) addTotal(resource Resource, unit string, seen float64, more unseen) {
	row := b.row(resource, unit, Total)
	row.Value, row.Limit = seen+more.sum, b.limit(resource)
	if more.sum != 0 {
		row.Kind, row.Known = more.kind, seen+more.known
	}
	row.Estimate, row.Estimated = valueOf(b.estimated, b.target, resource, Total)
	b.rows = append(b.rows, row.judged())
}

func (b *measuredRows) row(resource Resource, unit, part string) Cost {
	return Cost{Target: b.target, Resource: resource, Part: part, Unit: unit, Kind: Measured,
		Limit: math.NaN()}
}

func (b *measuredRows) limit(resource Resource) float64 {
	for _, c := range b.estimated {
		if c.Target == b.target && c.Resource == resource && c.Part == Total {
			return c.Limit
		}
	}
	return math.NaN()
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
		case slices.Contains(notNetwork, c.Part):
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
	text := fmt.Sprintf("%s: flash, RAM, stack and cycles of the network are measured with %s at "+
		"%s; cycles are those of the longest step that was found; %s (%s)", m.Target,
		strings.Join(tools, ", "), m.Optimise, m.Times.Text, m.CyclesFrom)
	if m.Front != nil {
		text += fmt.Sprintf("; so are those of what computes features: of %d windows the longest "+
			"calls, and of name_sample also the mean", m.Front.Windows)
	}
	return text
}
