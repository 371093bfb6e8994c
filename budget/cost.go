package budget

import (
	"fmt"
	"math"

	"kerf/model"
	"kerf/quant"
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
)

// The resources of a target.
const (
	Flash    = "flash"
	RAM      = "ram"
	Stack    = "stack"
	Cycles   = "cycles"
	StepTime = "step_time"
)

// Total is the part that limits are compared with.
const Total = "total"

// Cost is one row of the cost table.
type Cost struct {
	Target   string // name in the job
	Profile  string
	Resource string
	Part     string // Total or what it is made of
	Value    float64
	Unit     string // B, cycles, s, J, A; empty for a share
	Kind     Kind
	Limit    float64 // NaN when there is none
	AtLeast  bool    // the limit is a least value, not a largest
	Verdict  string  // Pass or Fail; empty when there is no limit
}

// Margin is the room to the limit as a fraction of it; NaN without a limit.
func (c *Cost) Margin() float64 {
	switch {
	case c.Limit == 0:
		return math.NaN()
	case c.AtLeast:
		return c.Value/c.Limit - 1
	}
	return 1 - c.Value/c.Limit
}

// Costs gives every row of the cost of a candidate on every target.
func (in *Inputs) Costs(c Candidate) []Cost {
	var rows []Cost
	for _, t := range in.Targets {
		rows = append(rows, in.targetCosts(c, t)...)
	}
	return rows
}

func (in *Inputs) targetCosts(c Candidate, t Target) []Cost {
	rows := &sheet{target: t}
	shape := in.Shape(c)
	kernels := kernelsFor(t.Core.ISA)
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
		return append(parts, part{"front_end", value, Estimated})
	}
	weights, tables := part{"weights", float64(shape.WeightBytes()), Exact}, part{"tables", float64(shape.TableBytes()), Exact}
	memory := []part{{"state", float64(shape.StateBytes()), Exact}}
	if t.WeightsIn == inRAM {
		memory = append(memory, weights, tables)
	}
	rows.add(Flash, "B", limitOf(t.Flash), withFrontEnd(flash, weights, tables, part{"code", float64(kernels.codeBytes(shape)), Estimated})...)
	rows.add(RAM, "B", limitOf(t.RAM), withFrontEnd(ram, memory...)...)
	rows.add(Stack, "B", limitOf(t.Stack), part{Total, float64(kernels.stackBytes(shape)), Bounded})
	total := rows.add(Cycles, "cycles", limitOf(t.Cycles), withFrontEnd(cycles, t.stepCycles(shape, kernels)...)...)
	stepTime := rows.add(StepTime, "s", timeLimit(t), part{Total, total / float64(t.Clock), Estimated})
	rows.addPower(stepTime)
	return rows.rows
}

// groupColumns is the number of columns of a matrix row that count as a group;
// what is left at its end counts column by column.
const groupColumns = 4

// rowFamilies name the recurrent layers whose rows are read by like code.
var rowFamilies = map[model.Kind]string{
	model.GRUResetAfter: "gru_after", model.GRUResetBefore: "gru_before", model.LSTM: "lstm",
	model.ElmanTanh: "elman", model.ElmanReLU: "elman",
}

// cycleParts adds up the kernels that the emitted C runs in one step. step and
// layer are entry and exit; rowB_F, groupB_F and leftB_F are a row of int-B weights
// in a layer of family F, a group of its columns and a column beyond the groups; a
// unit has all else in one kernel, activations included; of dense rows, dense_row,
// tanh_row and logistic_row are what follows the sum.
func cycleParts(s quant.Shape, k *kernelSet, t Target) []part {
	cost := func(kernel string) float64 { return k.cycles(kernel, t.Core) }
	matrix := func(bits int, family string, rows, columns int) float64 {
		row := func(kernel string) float64 { return cost(fmt.Sprintf("%s%d_%s", kernel, bits, family)) }
		groups := float64(float64(columns/groupColumns) * row("group"))
		left := float64(float64(columns%groupColumns) * row("left"))
		return float64(float64(rows) * (row("row") + groups + left))
	}
	input, recurrent, gates, dense := 0.0, 0.0, cost("step"), 0.0
	in := s.Features
	for i, l := range s.Layers {
		f := s.Formats.Layers[i]
		rows := l.Kind.Gates() * l.Units
		input += matrix(f.InputBits, rowFamilies[l.Kind], rows, in)
		recurrent += matrix(f.RecurrentBits, rowFamilies[l.Kind], rows, l.Units)
		gates += cost("layer") + float64(float64(l.Units)*cost(layerKey(l.Kind, f.StateBits)))
		in = l.Units
	}
	for i, d := range s.Dense {
		dense += cost("layer") + matrix(s.Formats.Dense[i], "dense", d.Outputs, in)
		switch {
		case usesTable(d.Activation):
			dense += float64(float64(d.Outputs) * cost(d.Activation.String()+"_row"))
		case i < len(s.Dense)-1:
			dense += float64(float64(d.Outputs) * cost("dense_row"))
		}
		in = d.Outputs
	}
	return []part{{"input", input, Estimated}, {"recurrent", recurrent, Estimated}, {"gates", gates, Estimated}, {"dense", dense, Estimated}}
}

func weaker(a, b Kind) Kind {
	rank := map[Kind]int{Exact: 0, Measured: 1, Bounded: 2, Estimated: 3}
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
