package quant

import (
	"slices"

	"gonum.org/v1/gonum/mat"

	"kerf/model"
	"kerf/portable"
)

// An error e of the weights of a row moves its pre-activation by e·v in every
// step, and the unit's state by that times the slope of the state in the
// pre-activation. The state keeps what it was moved by for as long as the unit
// remembers. So, to first order and along the unit's own memory alone, the state
// is off by e·φ with
//
//	φ' = keep·φ + slope·v
//
// This is the eligibility trace of Bellec et al. 2020 (a solution to the learning
// dilemma for recurrent networks of spiking neurons, Nature Communications 11,
// 3625), used there to learn and here to round. Its second moments say which
// errors of a row a slow unit adds up and which ones cancel over time.

// followed gathers the second moments of φ of one recurrent layer. A row has one
// φ for its inputs, its states, the bias that goes with either, in this order.
type followed struct {
	layer  *model.Recurrent
	steps  float64
	second []float64 // rows × width × width, upper halves

	phi             []float64 // rows × width; of the sequence that is walked
	keep, slope, by []float64 // of the step, per row: keep, slope in W x + b and in U h + d
	reset           []float64 // r·h, what the candidate of a reset-before GRU multiplies
	cell            []float64 // LSTM: the cell before the step
}

// followLimit bounds the values that the second moments of a layer take: 32 MB.
// Layers beyond it (a GRU of 100 units and as many inputs) are rounded as if no
// unit had a memory.
const followLimit = 4 << 20

// followEvery is the share of φ's width that lies between two steps that count:
// following then takes a few times as long as running the network, whatever its
// size. Neighbouring steps of φ tell almost the same.
const followEvery = 8

func newFollowed(l *model.Recurrent) *followed {
	rows, width := l.Kind.Gates()*l.Units, l.Inputs+l.Units+2
	if rows*width*width > followLimit {
		return nil
	}
	return &followed{
		layer: l, second: make([]float64, rows*width*width), phi: make([]float64, rows*width),
		keep: make([]float64, rows), slope: make([]float64, rows), by: make([]float64, rows),
		reset: make([]float64, l.Units), cell: make([]float64, l.Units),
	}
}

func (f *followed) width() int { return f.layer.Inputs + f.layer.Units + 2 }

// begin forgets the last sequence.
func (f *followed) begin() {
	clear(f.phi)
	clear(f.cell)
}

// add takes in a step: inputs, the states before it, and what layer i of run shows after it.
func (f *followed) add(step int, run *model.Run, i int, in, before []float64) {
	l, width := f.layer, f.width()
	f.slopes(run, i, before)
	counts := step%max(1, width/followEvery) == 0
	if counts {
		f.steps++
	}
	for r := range f.keep {
		states := before
		if l.Kind == model.GRUResetBefore && r >= 2*l.Units {
			states = f.reset
		}
		phi := f.phi[r*width : (r+1)*width]
		keep, slope, by := f.keep[r], f.slope[r], f.by[r]
		for c, v := range in {
			phi[c] = float64(keep*phi[c]) + float64(slope*v)
		}
		for c, v := range states {
			phi[l.Inputs+c] = float64(keep*phi[l.Inputs+c]) + float64(by*v)
		}
		phi[width-2] = float64(keep*phi[width-2]) + slope
		phi[width-1] = float64(keep*phi[width-1]) + by
		if counts {
			addOuter(f.second[r*width*width:(r+1)*width*width], phi)
		}
	}
	copy(f.cell, run.Cell(i))
}

// addOuter adds the upper half of v vᵀ.
func addOuter(to, v []float64) {
	for i, a := range v {
		row := to[i*len(v)+i : (i+1)*len(v)]
		for j, b := range v[i:] {
			row[j] += float64(a * b)
		}
	}
}

// slopes fills keep, slope and by for the step that run just made.
func (f *followed) slopes(run *model.Run, i int, before []float64) {
	l := f.layer
	set := func(gate, j int, keep, slope, by float64) {
		r := gate*l.Units + j
		f.keep[r], f.slope[r], f.by[r] = keep, slope, by
	}
	for j, h := range before {
		switch l.Kind {
		case model.GRUResetAfter, model.GRUResetBefore:
			r, z, n := run.Gate(i, 0)[j], run.Gate(i, 1)[j], run.Gate(i, 2)[j]
			open := (1 - z) * (1 - float64(n*n))
			set(1, j, z, (h-n)*z*(1-z), (h-n)*z*(1-z))
			if l.Kind == model.GRUResetBefore {
				// The reset gate of a unit acts on all candidates; what they make of it is not
				// followed.
				f.reset[j] = r * h
				set(0, j, 0, h*r*(1-r), h*r*(1-r))
				set(2, j, z, open, open)
				continue
			}
			inside := l.D[2*l.Units+j]
			for c, v := range before {
				inside += float64(l.U[(2*l.Units+j)*l.Units+c] * v)
			}
			set(0, j, z, open*inside*r*(1-r), open*inside*r*(1-r))
			set(2, j, z, open, open*r)
		case model.LSTM: // along the cell
			in, forget, g, out := run.Gate(i, 0)[j], run.Gate(i, 1)[j], run.Gate(i, 2)[j],
				run.Gate(i, 3)[j]
			set(0, j, forget, g*in*(1-in), g*in*(1-in))
			set(1, j, forget, f.cell[j]*forget*(1-forget), f.cell[j]*forget*(1-forget))
			set(2, j, forget, in*(1-float64(g*g)), in*(1-float64(g*g)))
			open := portable.Tanh(run.Cell(i)[j]) * out * (1 - out)
			set(3, j, 0, open, open)
		case model.ElmanTanh:
			y := run.State(i)[j]
			set(0, j, 0, 1-float64(y*y), 1-float64(y*y))
		case model.ElmanReLU:
			slope := 0.0
			if run.State(i)[j] > 0 {
				slope = 1
			}
			set(0, j, 0, slope, slope)
		}
	}
}

func (f *followed) merge(o *followed) {
	f.steps += o.steps
	for i, v := range o.second {
		f.second[i] += v
	}
}

// rows are the second moments of φ, one matrix per row.
func (f *followed) rows() []*mat.SymDense {
	if f == nil || f.steps == 0 {
		return nil
	}
	width := f.width()
	all := make([]*mat.SymDense, len(f.keep))
	for r := range all {
		all[r] = mat.NewSymDense(width, nil)
		for i := range width {
			for j := i; j < width; j++ {
				all[r].SetSym(i, j, f.second[(r*width+i)*width+j]/f.steps)
			}
		}
	}
	return all
}

// rowPlan is how one row of W and U is rounded when both are seen as one.
type rowPlan struct {
	input, recurrent *compensator
	// per input and unit: what an error of W adds to U; nil for nothing
	push [][]float64
}

// plans makes the plans of a layer. The states and the bias take up what they can
// of the error of the input weights: so W is rounded by what they cannot take,
// the Schur complement, the bias gets its share at once, and U becomes U + push·e
// before it is rounded in turn. Rows whose states never move are rounded as
// [Compensated] does.
func (r *LayerRange) plans(inputs int) []rowPlan {
	plain := rowPlan{input: Compensated.prepare(r.Inputs), recurrent: Compensated.prepare(r.States)}
	all := make([]rowPlan, len(r.Followed))
	for i, second := range r.Followed {
		all[i] = plain
		if plan, ok := planRow(second, inputs); ok {
			all[i] = plan
		}
	}
	return all
}

func planRow(second *mat.SymDense, inputs int) (rowPlan, bool) {
	width := second.SymmetricDim()
	units := width - inputs - 2
	bias, back := width-2, width-1 // of W and of U
	index := func(i int) int {     // states, then the bias of W
		if i < units {
			return inputs + i
		}
		return bias
	}
	rest := mat.NewSymDense(units+1, nil)
	shared := make([][]float64, inputs) // per input, states and bias
	for c := range shared {
		shared[c] = make([]float64, units+1)
	}
	trace := 0.0
	for i := range units {
		trace += second.At(inputs+i, inputs+i)
	}
	for i := range units + 1 {
		for j := i; j <= units; j++ {
			rest.SetSym(i, j, second.At(index(i), index(j)))
		}
		if i < units {
			rest.SetSym(i, i, rest.At(i, i)+damping*trace/float64(units))
		}
		for c := range inputs {
			shared[c][i] = second.At(c, index(i))
		}
	}
	factor, ok := portable.Cholesky(rest)
	if !(trace > 0) || !ok || !(second.At(back, back) > 0) {
		return rowPlan{}, false
	}
	solved := make([][]float64, inputs) // per input, states and bias
	for c := range inputs {
		solved[c] = slices.Clone(shared[c])
		factor.Solve(solved[c])
	}
	in := &Moments{Mean: make([]float64, inputs), Covariance: mat.NewSymDense(inputs, nil)}
	for i := range inputs {
		in.Mean[i] = solved[i][units]
		for j := i; j < inputs; j++ {
			in.Covariance.SetSym(i, j, second.At(i, j)-portable.Dot(shared[i], solved[j]))
		}
	}
	re := &Moments{Mean: make([]float64, units), Covariance: mat.NewSymDense(units, nil)}
	for i := range units {
		re.Mean[i] = second.At(inputs+i, back) / second.At(back, back)
	}
	for i := range units {
		for j := i; j < units; j++ {
			re.Covariance.SetSym(i, j,
				second.At(inputs+i, inputs+j)-float64(second.At(back, back)*re.Mean[i]*re.Mean[j]))
		}
	}
	plan := rowPlan{input: newCompensator(in), recurrent: newCompensator(re), push: solved}
	return plan, plan.input != nil && plan.recurrent != nil
}

// pushed is U after it took up its part of what rounding did to W.
func pushed(l *model.Recurrent, input *Matrix, plans []rowPlan) []float64 {
	u := make([]float64, len(l.U))
	copy(u, l.U)
	for r, plan := range plans {
		if plan.push == nil {
			continue
		}
		for c, push := range plan.push {
			e := l.W[r*l.Inputs+c] - float64(input.W[r*l.Inputs+c])/scale(input.Fraction[r])
			for j := range l.Units {
				u[r*l.Units+j] += float64(push[j] * e)
			}
		}
	}
	return u
}
