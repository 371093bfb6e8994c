package exporter

import (
	"math"

	"kerf/budget"
	"kerf/dataset"
	"kerf/model"
	"kerf/prune"
)

// OutputSpace is the space of two outputs (or of one, or of the classes) in cells:
// how often it was visited, what every hidden unit does there, and how large the
// errors are. Cells count along the first axis, then along the second; they go by the
// reference values.
type OutputSpace struct {
	Axes   []SpaceAxis  `json:"axes"`
	Steps  []int        `json:"steps"`  // selection recordings
	Units  []SpaceUnit  `json:"units"`  // the float network as given, on selection recordings
	Judged []int        `json:"judged"` // steps of the sign-off recordings
	Errors []SpaceError `json:"errors"` // on sign-off recordings
}

// SpaceAxis is one axis: cells of equal width from low to high, or classes.
type SpaceAxis struct {
	Output  string   `json:"output"`
	Unit    string   `json:"unit"`
	Low     float64  `json:"low"`
	High    float64  `json:"high"`
	Cells   int      `json:"cells"`
	Classes []string `json:"classes,omitempty"`

	output int
}

// SpaceUnit is the mean state of one hidden unit per cell; nil where no step lies.
type SpaceUnit struct {
	Unit  string     `json:"unit"`
	Kept  bool       `json:"kept"`
	State []*float64 `json:"state"`
}

// SpaceError is the root mean square error of an output per cell, in its unit; for
// a classifier the share of wrong steps. nil where no step lies.
type SpaceError struct {
	Output string     `json:"output"`
	Unit   string     `json:"unit"`
	Float  []*float64 `json:"float"`
	Fixed  []*float64 `json:"fixed"`
}

const (
	// spaceCells per axis: coarse enough that most cells hold many steps.
	spaceCells = 12
	// pairedOutputs limits the pairs: three outputs make three.
	pairedOutputs = 3
)

// outputRanges are the axes of all outputs, by the selection recordings.
func outputRanges(in *budget.Inputs) []SpaceAxis {
	if in.Float.Classes {
		names := dataset.OutputNames(in.Float.Outputs)
		return []SpaceAxis{{Output: in.Job.Outputs.Column, Low: 0, High: float64(len(names)), Cells: len(names), Classes: names}}
	}
	var axes []SpaceAxis
	for o, output := range in.Float.Outputs {
		a := SpaceAxis{Output: output.Name, Unit: output.Unit, Low: math.Inf(1), High: math.Inf(-1), Cells: spaceCells, output: o}
		for _, s := range in.Selection.Sequences {
			for i := o; i < len(s.Y); i += in.Selection.Outputs {
				a.Low, a.High = math.Min(a.Low, s.Y[i]), math.Max(a.High, s.Y[i])
			}
		}
		a.Low, a.High = shown(a.Low), shown(a.High)
		axes = append(axes, a)
	}
	return axes
}

// cell is the place of a value; what lies beyond the range belongs to the last cell.
func (a SpaceAxis) cell(v float64) int {
	if !(a.High > a.Low) {
		return 0
	}
	return max(0, min(a.Cells-1, int(float64(a.Cells)*(v-a.Low)/(a.High-a.Low))))
}

func (m *OutputSpace) cell(y []float64) int {
	cell := 0
	for i := len(m.Axes) - 1; i >= 0; i-- {
		cell = cell*m.Axes[i].Cells + m.Axes[i].cell(y[m.Axes[i].output])
	}
	return cell
}

func (m *OutputSpace) cells() int {
	n := 1
	for _, a := range m.Axes {
		n *= a.Cells
	}
	return n
}

func outputSpaces(r *budget.Result, axes []SpaceAxis) []OutputSpace {
	var pairs [][]SpaceAxis
	if len(axes) == 1 {
		pairs = append(pairs, axes)
	}
	for i := range min(len(axes), pairedOutputs) {
		for j := i + 1; j < min(len(axes), pairedOutputs); j++ {
			pairs = append(pairs, []SpaceAxis{axes[i], axes[j]})
		}
	}
	var all []OutputSpace
	for _, pair := range pairs {
		m := OutputSpace{Axes: pair}
		m.fillStates(r)
		m.fillErrors(r)
		all = append(all, m)
	}
	return all
}

// referenceAt is the row of a step that decides on its cell.
func (v signals) referenceAt(step int) []float64 {
	return v.reference[step*v.outputs : (step+1)*v.outputs]
}

// fillStates means the state of every unit over the steps of a cell.
func (m *OutputSpace) fillStates(r *budget.Result) {
	in := r.Inputs
	net := in.Float.Net
	units := prune.Units(net)
	type part struct {
		steps []int
		sum   []float64
	}
	parts := make([]part, len(in.Selection.Sequences))
	dataset.EachSequence(in.Selection, func(i int, s *dataset.Sequence) {
		p := part{make([]int, m.cells()), make([]float64, m.cells()*len(units))}
		v := signals{outputs: in.Selection.Outputs, reference: s.Y}
		if in.Float.Classes {
			v = signals{outputs: 1, reference: classes(s.Y, in.Selection.Outputs)}
		}
		in.Float.Visit(s, func(step int, run *model.Run, _ []float64) {
			cell := m.cell(v.referenceAt(step))
			p.steps[cell]++
			for u, unit := range units {
				p.sum[u*m.cells()+cell] += run.State(unit.Layer)[unit.Index]
			}
		})
		parts[i] = p
	})
	m.Steps = make([]int, m.cells())
	sum := make([]float64, m.cells()*len(units))
	for _, p := range parts {
		for i, n := range p.steps {
			m.Steps[i] += n
		}
		for i, v := range p.sum {
			sum[i] += v
		}
	}
	kept := map[prune.Unit]bool{}
	for layer, list := range r.Chosen.Candidate.Units {
		for _, j := range list {
			kept[prune.Unit{Layer: layer, Index: j}] = true
		}
	}
	for u, unit := range units {
		m.Units = append(m.Units, SpaceUnit{Unit: prune.UnitName(net, unit), Kept: kept[unit], State: perStep(sum[u*m.cells():(u+1)*m.cells()], m.Steps, func(mean float64) float64 { return mean })})
	}
}

// fillErrors takes the root mean square error of both networks over the steps of a cell.
func (m *OutputSpace) fillErrors(r *budget.Result) {
	in := r.Inputs
	type part struct {
		steps        []int
		float, fixed []float64 // sums of squares [outputs × cells]
	}
	parts := make([]part, len(in.Signoff.Sequences))
	dataset.EachSequence(in.Signoff, func(i int, s *dataset.Sequence) {
		v := signalsOf(r, s)
		p := part{make([]int, m.cells()), make([]float64, v.outputs*m.cells()), make([]float64, v.outputs*m.cells())}
		for step := range s.Steps {
			row := v.referenceAt(step)
			cell := m.cell(row)
			p.steps[cell]++
			for o, y := range row {
				a, b := v.float[step*v.outputs+o]-y, v.fixed[step*v.outputs+o]-y
				if in.Float.Classes && a != 0 {
					a = 1 // wrong, whichever class it is
				}
				if in.Float.Classes && b != 0 {
					b = 1
				}
				p.float[o*m.cells()+cell] += float64(a * a)
				p.fixed[o*m.cells()+cell] += float64(b * b)
			}
		}
		parts[i] = p
	})
	m.Judged = make([]int, m.cells())
	float, fixed := make([]float64, len(parts[0].float)), make([]float64, len(parts[0].fixed))
	for _, p := range parts {
		for i, n := range p.steps {
			m.Judged[i] += n
		}
		for i := range float {
			float[i] += p.float[i]
			fixed[i] += p.fixed[i]
		}
	}
	of := math.Sqrt
	if in.Float.Classes {
		of = func(mean float64) float64 { return mean }
	}
	for o := range len(float) / m.cells() {
		row := SpaceError{Output: in.Float.Outputs[o].Name, Unit: in.Float.Outputs[o].Unit}
		if in.Float.Classes {
			row.Output, row.Unit = in.Job.Outputs.Column, ""
		}
		row.Float = perStep(float[o*m.cells():(o+1)*m.cells()], m.Judged, of)
		row.Fixed = perStep(fixed[o*m.cells():(o+1)*m.cells()], m.Judged, of)
		m.Errors = append(m.Errors, row)
	}
}

// perStep is a function of the mean per cell.
func perStep(sum []float64, steps []int, of func(mean float64) float64) []*float64 {
	means := make([]*float64, len(sum))
	for i, v := range sum {
		if steps[i] > 0 {
			mean := shown(of(v / float64(steps[i])))
			means[i] = &mean
		}
	}
	return means
}
