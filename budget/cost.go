package budget

import (
	"cmp"
	"math"

	"kerf/budget/cost"
)

// Kind says what a figure is.
type Kind string

// The kinds, from the strongest to the weakest. A sum has the kind of its
// weakest part.
const (
	Exact     Kind = "exact"     // follows from the emitted data
	Measured  Kind = "measured"  // read from a device or an emulator
	Bounded   Kind = "bounded"   // cannot be exceeded
	Estimated Kind = "estimated" // from counts and published timings, or declared in the job
	// an estimate for another compiler or other options than those that the job names
	NotEstimated Kind = "no estimate"
)

// Resource is what a network takes of a target: the name of a limit in the job.
type Resource string

// The resources of a target.
const (
	Flash    Resource = "flash"     // B: weights, tables, code and front ends
	RAM      Resource = "ram"       // B: data: state, front ends, and what is copied there
	Stack    Resource = "stack"     // B: of one step
	RAMTotal Resource = "ram_total" // B: data and stack together; of targets that limit it
	Cycles   Resource = "cycles"    // of one step
	// s: cycles over clock; where features are computed from samples, from the last sample on
	StepTime Resource = "step_time"
)

// The resources of a front end, which are part of no sum.
const (
	Interrupt     Resource = "interrupt"      // cycles: the longest call of name_sample
	InterruptTime Resource = "interrupt_time" // s: the same over clock
	// s: from the last sample of a window to the end of name_features
	FeaturesTime Resource = "features_time"
)

// The resources that follow from the cycles of a step.
const (
	Duty    Resource = "duty"    // share of the period that a step takes
	Energy  Resource = "energy"  // J: of one step, while it runs
	Current Resource = "current" // A: mean over a period
	// s: capacity over mean current; nothing else discharges the battery
	BatteryLife Resource = "battery_life"
)

// Total is the part that limits are compared with.
const Total = "total"

// Cost is one row of the cost table.
type Cost struct {
	Target    string // name in the job
	Profile   string
	Form      cost.Form // of the code that reads the weights
	Resource  Resource
	Part      string // Total or what it is made of
	Value     float64
	Unit      string // B, cycles, s, J, A; empty for a share
	Kind      Kind
	Estimate  float64 // of a value that was measured, or that has a measured part; else NaN
	Estimated Kind    // kind of the estimate
	Limit     float64 // NaN when there is none
	AtLeast   bool    // the limit is a least value, not a largest
	Known     float64 // of a total that is NotEstimated: what of it no compiler changes
	Verdict   Verdict // Pass, Fail or NoEstimate; empty when there is no limit
}

// Margin is the room to the limit as a fraction of it; NaN without a limit, and where it cannot be
// judged.
func (c *Cost) Margin() float64 {
	switch {
	case c.Limit == 0 || c.Verdict == NoEstimate:
		return math.NaN()
	case c.Kind == NotEstimated:
		return 1 - c.Known/c.Limit
	case c.AtLeast:
		return c.Value/c.Limit - 1
	}
	return 1 - c.Value/c.Limit
}

// Used is the share of the limit that the value takes: of a least value the limit over the value.
// It is NaN without a limit.
func (c *Cost) Used() float64 {
	switch {
	case math.IsNaN(c.Limit):
		return math.NaN()
	case c.AtLeast:
		return c.Limit / c.Value
	}
	return c.Value / c.Limit
}

// Costs gives every row of the cost of a candidate on every target.
func (in *Inputs) Costs(c Candidate) []Cost {
	var rows []Cost
	for _, t := range in.Targets {
		rows = append(rows, in.targetCosts(c, t)...)
	}
	return rows
}

// costsWith gives the rows of one target in the form that it has, which is fast where it has none;
// what was measured stands in place of estimates. measured may be nil.
func (in *Inputs) costsWith(c Candidate, t Target, measured *Measurement) []Cost {
	rows := &sheet{target: t}
	shape := in.Shape(c)
	frontEnds, _ := in.FrontEnds(c)
	var flash, ram, cycles float64
	for _, g := range frontEnds {
		flash += float64(g.Flash)
		ram += float64(g.RAM)
		cycles += g.Cycles[t.Core.Name]
	}
	withFrontEnd := func(value float64, parts ...part) []part {
		if len(in.Job.FrontEnds) == 0 {
			return parts
		}
		return append(parts, part{FrontEndPart, value, Estimated})
	}
	weights, tables := part{"weights", float64(shape.WeightBytes()), Exact},
		part{"tables", float64(shape.TableBytes()), Exact}
	memory := []part{{"state", float64(shape.StateBytes()), Exact}}
	if t.WeightsIn == inRAM {
		memory = append(memory, weights, tables)
	}
	estimate := cost.Of(shape, t.Core, t.flashWait(), t.WeightsInRAM(),
		cmp.Or(t.Code, cost.Fast))
	estimated := t.kindOf(Estimated)
	code := part{"code", float64(estimate.Code), estimated}
	stack := part{Total, float64(estimate.Stack), t.kindOf(Bounded)}
	front := in.frontCost(c, t, measured)
	var steps []part
	for _, p := range estimate.Cycles {
		steps = append(steps, part{p.Name, p.Cycles, estimated})
	}
	if m := measured; m != nil {
		code = part{"code", m.Flash - weights.value - tables.value, Measured}
		memory = m.memory(memory)
		stack = part{Total, m.Stack, Measured}
		steps = measuredCycles(m, steps)
	}
	readOnly := []part{weights, tables, code}
	if front.has {
		readOnly = append(readOnly, part{FrontTablesPart, front.tables, Exact},
			part{FrontCodePart, front.code, front.kind})
		memory = append(memory, part{FrontStatePart, front.state, Exact})
		if t.WeightsIn == inRAM {
			memory = append(memory, part{FrontTablesPart, front.tables, Exact})
		}
		stack.value = max(stack.value, front.featuresStack) + front.sampleStack
		steps = front.addTo(steps)
	}
	rows.add(Flash, "B", limitOf(t.Flash), withFrontEnd(flash, readOnly...)...)
	data := rows.add(RAM, "B", limitOf(t.RAM), withFrontEnd(ram, memory...)...)
	ofData := rows.last().Kind
	rows.add(Stack, "B", limitOf(t.Stack), stack)
	if t.RAMTotal != nil {
		rows.add(RAMTotal, "B", limitOf(t.RAMTotal), part{"data", data, ofData},
			part{"stack", stack.value, stack.kind})
	}
	total := rows.add(Cycles, "cycles", limitOf(t.Cycles), withFrontEnd(cycles, steps...)...)
	rows.add(StepTime, "s", timeLimit(t),
		part{Total, (total - front.beforeLast()) / float64(t.Clock), rows.last().Kind})
	rows.addPower(total/float64(t.Clock), in.conversions(c))
	rows.addFront(&front)
	return rows.rows
}

func weaker(a, b Kind) Kind {
	rank := map[Kind]int{Exact: 0, Measured: 1, Bounded: 2, Estimated: 3, NotEstimated: 4}
	if rank[b] > rank[a] {
		return b
	}
	return a
}

func limitOf[T ~int64 | ~float64](limit *T) float64 {
	if limit == nil {
		return math.NaN()
	}
	return float64(*limit)
}

// timeLimit is the smaller of step_time and period: a step that outlasts the
// period makes the next one late.
func timeLimit(t Target) float64 {
	limit := math.NaN()
	for _, s := range []*Seconds{t.StepTime, t.Period} {
		if s != nil && !(limit < float64(*s)) {
			limit = float64(*s)
		}
	}
	return limit
}
