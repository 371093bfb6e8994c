package report

import (
	"math"
	"slices"

	"kerf/budget"
	"kerf/dataset"
	"kerf/model"
	"kerf/prune"
)

// OutputSpace is the space of two outputs (or of one, or of the classes) in cells: how often it was
// visited, the mean state of every hidden unit there, and the size of the errors. Cells count along
// the first axis, then along the second; the recorded outputs of a step decide on its cell.
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

// outputRanges returns the axes of all outputs, by the selection recordings.
func outputRanges(in *budget.Inputs) []SpaceAxis {
	if in.Float.Classes {
		names := dataset.OutputNames(in.Float.Outputs)
		return []SpaceAxis{{Output: in.Job.Outputs.Column, Low: 0, High: float64(len(names)),
			Cells: len(names), Classes: names}}
	}
	var axes []SpaceAxis
	for o, output := range in.Float.Outputs {
		a := SpaceAxis{Output: output.Name, Unit: output.Unit, Low: math.Inf(1), High: math.Inf(-1),
			Cells: spaceCells, output: o}
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

// cell returns the index of a value along an axis; a value beyond the range belongs to the last
// cell.
func (a SpaceAxis) cell(v float64) int {
	if !(a.High > a.Low) {
		return 0
	}
	return max(0, min(a.Cells-1, int(float64(a.Cells)*(v-a.Low)/(a.High-a.Low))))
}

// cell returns the index of the cell of the recorded outputs of a step.
func (m *OutputSpace) cell(y []float64) int {
	cell := 0
	for i := len(m.Axes) - 1; i >= 0; i-- {
		cell = cell*m.Axes[i].Cells + m.Axes[i].cell(y[m.Axes[i].output])
	}
	return cell
}

// cells is the number of cells of a space.
func (m *OutputSpace) cells() int {
	n := 1
	for _, a := range m.Axes {
		n *= a.Cells
	}
	return n
}

// outputSpaces returns the spaces of all pairs of outputs, or the only one, still without figures.
func outputSpaces(axes []SpaceAxis) []OutputSpace {
	if len(axes) == 1 {
		return []OutputSpace{{Axes: axes}}
	}
	var all []OutputSpace
	for i := range min(len(axes), pairedOutputs) {
		for j := i + 1; j < min(len(axes), pairedOutputs); j++ {
			all = append(all, OutputSpace{Axes: []SpaceAxis{axes[i], axes[j]}})
		}
	}
	return all
}

// inOrder works on sequences on all cores and takes the results in the order of the
// sequences, so that sums do not depend on the machine. Results are held for a block
// of sequences at a time.
func inOrder[T any](rec *dataset.Recordings, work func(s *dataset.Sequence) T,
	take func(i int, result T)) {
	const together = 64
	done := 0
	for sequences := range slices.Chunk(rec.Sequences, together) {
		block := *rec
		block.Sequences = sequences
		results := make([]T, len(sequences))
		dataset.EachSequence(&block, func(i int, s *dataset.Sequence) { results[i] = work(s) })
		for _, result := range results {
			take(done, result)
			done++
		}
	}
}

// cellSums are sums over the steps in every cell of one space.
type cellSums struct {
	steps []int
	sum   []float64 // one row of cells after the other
}

// sums returns empty sums with so many rows of cells.
func (m *OutputSpace) sums(rows int) cellSums {
	return cellSums{make([]int, m.cells()), make([]float64, rows*m.cells())}
}

// merge adds the sums of other sequences.
func (c *cellSums) merge(other cellSums) {
	for i, n := range other.steps {
		c.steps[i] += n
	}
	for i, v := range other.sum {
		c.sum[i] += v
	}
}

// row returns a row of cells, each the mean over its steps after of; nil where no step lies.
func (c *cellSums) row(i int, of func(mean float64) float64) []*float64 {
	means := make([]*float64, len(c.steps))
	for cell, n := range c.steps {
		if n > 0 {
			mean := shown(of(c.sum[i*len(c.steps)+cell] / float64(n)))
			means[cell] = &mean
		}
	}
	return means
}

// fillStates takes the mean of the state of every unit over the steps of a cell.
func fillStates(r *budget.Result, spaces []OutputSpace) {
	in := r.Inputs
	net := in.Float.Net
	units := prune.Units(net)
	empty := func() []cellSums {
		all := make([]cellSums, len(spaces))
		for i := range spaces {
			all[i] = spaces[i].sums(len(units))
		}
		return all
	}
	total := empty()
	inOrder(in.Selection, func(s *dataset.Sequence) []cellSums {
		sums := empty()
		v := signals{outputs: in.Selection.Outputs, reference: s.Y}
		if in.Float.Classes {
			v = signals{outputs: 1, reference: classes(s.Y, in.Selection.Outputs)}
		}
		in.Float.Visit(s, func(step int, run *model.Run, _ []float64) {
			for i := range spaces {
				cell := spaces[i].cell(v.referenceAt(step))
				sums[i].steps[cell]++
				for u, unit := range units {
					sums[i].sum[u*spaces[i].cells()+cell] += run.State(unit.Layer)[unit.Index]
				}
			}
		})
		return sums
	}, func(_ int, sums []cellSums) {
		for i := range total {
			total[i].merge(sums[i])
		}
	})
	kept := map[prune.Unit]bool{}
	for layer, list := range r.Chosen.Candidate.Units {
		for _, j := range list {
			kept[prune.Unit{Layer: layer, Index: j}] = true
		}
	}
	for i := range spaces {
		spaces[i].Steps = total[i].steps
		for u, unit := range units {
			spaces[i].Units = append(spaces[i].Units,
				SpaceUnit{Unit: prune.UnitName(net, unit), Kept: kept[unit],
					State: total[i].row(u, func(mean float64) float64 {
						return mean
					})})
		}
	}
}

// referenceAt returns the recorded outputs of a step, which decide on its cell.
func (v signals) referenceAt(step int) []float64 {
	return v.reference[step*v.outputs : (step+1)*v.outputs]
}

// errorSums sums the squared errors of both networks by cell: a row per output of the
// float network, then one per output of the integer network.
func (m *OutputSpace) errorSums(v signals, isClass bool) cellSums {
	c := m.sums(2 * v.outputs)
	for step := range len(v.reference) / v.outputs {
		row := v.referenceAt(step)
		cell := m.cell(row)
		c.steps[cell]++
		for o, y := range row {
			for k, values := range [][]float64{v.float, v.fixed} {
				e := values[step*v.outputs+o] - y
				if isClass && e != 0 {
					e = 1 // wrong, whichever class it is
				}
				c.sum[(k*v.outputs+o)*m.cells()+cell] += float64(e * e)
			}
		}
	}
	return c
}

// fillErrors takes the errors of both networks from sums of squares.
func (m *OutputSpace) fillErrors(in *budget.Inputs, c cellSums) {
	m.Judged = c.steps
	if in.Float.Classes {
		same := func(mean float64) float64 { return mean }
		m.Errors = []SpaceError{{Output: in.Job.Outputs.Column, Float: c.row(0, same),
			Fixed: c.row(1, same)}}
		return
	}
	n := len(in.Float.Outputs)
	for o, output := range in.Float.Outputs {
		m.Errors = append(m.Errors, SpaceError{Output: output.Name, Unit: output.Unit,
			Float: c.row(o, math.Sqrt), Fixed: c.row(n+o, math.Sqrt)})
	}
}
