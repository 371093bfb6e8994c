package quant

import (
	"slices"

	"gonum.org/v1/gonum/mat"

	"kerf/model"
	"kerf/portable"
)

// An error e of the weights of a row moves its pre-activation by e·v in every step, where v is the
// vector that the row multiplies, and moves the state of the unit by e·v times the slope of the
// state in the pre-activation. The unit keeps the change of its state for as long as it remembers.
// So, to first order and along the unit's own memory alone, the state is off by e·φ with
//
//	φ' = keep·φ + slope·v
//
// φ is the eligibility trace of Bellec et al. 2020 (a solution to the learning dilemma for
// recurrent networks of spiking neurons, Nature Communications 11, 3625), used there to learn and
// here to round. Its second moments say which errors of a row a slow unit adds up and which errors
// cancel over time.

// traceSum gathers the second moments of the traces φ of one recurrent layer. The φ of a row has a
// value for each input and one for the bias of W, then a value for each state and one for the bias
// of U. Either part ends with zeros where it does not fill whole vectors.
type traceSum struct {
	layer  *model.Recurrent
	every  int     // moments are added at every so many steps of a sequence
	steps  float64 // number of steps whose moments count
	stride int     // values of φ, zeros included
	// second holds rows × stride × stride values, upper halves: what lies below the diagonal has no
	// meaning.
	second []float64

	phi     []float64               // rows × stride; at the present step of the sequence
	waiting portable.WaitingVectors // φ of steps that count, but are not among second yet

	keep        []float64 // per row: share of its state that the unit keeps in the present step
	inputSlope  []float64 // per row: slope of the state in W x + b
	stateSlope  []float64 // per row: slope of the state in U h + d
	inputs      []float64 // that W and its bias multiply, padded
	states      []float64 // that U and its bias multiply, padded
	resetStates []float64 // r·h, which the candidate of a reset-before GRU multiplies, padded
	cell        []float64 // LSTM: the cell before the step
}

// traceLimit bounds the values that the second moments of a layer take: 4·2^20 values of 8 bytes
// are 32 MB. Layers beyond it (a GRU of 100 units and as many inputs) are rounded as if no unit had
// a memory.
const traceLimit = 4 << 20

// traceEvery sets how often moments are added: at one step in width/traceEvery, where width is the
// number of values of φ. So the traces take a few times as long as running the network, whatever
// its size; φ changes little from one step to the next. Of long recordings about traceSteps are
// added, some hundred for every value of φ, and of large networks as many as take traceWork
// multiply-accumulates: of a GRU of 64 units with 48 inputs 5800.
const (
	traceEvery = 8
	traceSteps = 12288
	traceWork  = 16e9
)

// beyondTraces reports whether the second moments of a layer would take more than traceLimit.
func beyondTraces(l *model.Recurrent) bool {
	width := l.Inputs + l.Units + 2
	return l.Kind.Gates()*l.Units*width*width > traceLimit
}

// newTraceSum returns a sum over no step of recordings with so many steps, nil for a layer beyond
// traceLimit.
func newTraceSum(l *model.Recurrent, steps int) *traceSum {
	if beyondTraces(l) {
		return nil
	}
	rows := l.Kind.Gates() * l.Units
	withBias := func(n int) []float64 {
		v := make([]float64, portable.Padded(n+1))
		v[n] = 1
		return v
	}
	f := &traceSum{
		layer: l, keep: make([]float64, rows), inputSlope: make([]float64, rows),
		stateSlope: make([]float64, rows), inputs: withBias(l.Inputs), states: withBias(l.Units),
		resetStates: withBias(l.Units), cell: make([]float64, l.Units),
	}
	f.stride = len(f.inputs) + len(f.states)
	moments := rows * f.stride * f.stride
	most := min(traceSteps, int(traceWork/float64(moments)))
	f.every = max(1, f.width()/traceEvery, steps/most)
	f.second, f.phi = make([]float64, moments), make([]float64, rows*f.stride)
	f.waiting = portable.NewWaitingVectors(len(f.phi))
	return f
}

// width returns the number of values of one φ.
func (f *traceSum) width() int { return f.layer.Inputs + f.layer.Units + 2 }

// place returns where value i of a φ stands, counted as in [LayerRange.Followed]: inputs, states,
// bias of W, bias of U.
func (f *traceSum) place(i int) int {
	inputs, units := f.layer.Inputs, f.layer.Units
	switch {
	case i == inputs+units:
		return inputs
	case i == inputs+units+1:
		return len(f.inputs) + units
	case i >= inputs:
		return len(f.inputs) + i - inputs
	}
	return i
}

// begin starts a sequence: no error has moved a state yet.
func (f *traceSum) begin() {
	clear(f.phi)
	clear(f.cell)
}

// add moves the traces by one step. in and before are the inputs of layer i and its states before
// the step; run holds the network after it.
func (f *traceSum) add(step int, run *model.Run, i int, in, before []float64) {
	l := f.layer
	f.slopes(run, i, before)
	copy(f.inputs, in)
	copy(f.states, before)
	for r, keep := range f.keep {
		states := f.states
		if l.Kind == model.GRUResetBefore && r >= 2*l.Units {
			states = f.resetStates
		}
		phi := f.phi[r*f.stride : (r+1)*f.stride]
		follow(phi[:len(f.inputs)], f.inputs, keep, f.inputSlope[r])
		follow(phi[len(f.inputs):], states, keep, f.stateSlope[r])
	}
	if step%f.every == 0 {
		f.steps++
		copy(f.waiting.Next(), f.phi)
		if f.waiting.Added() {
			f.addWaiting()
		}
	}
	copy(f.cell, run.Cell(i))
}

// addWaiting adds the moments of the steps that wait.
func (f *traceSum) addWaiting() {
	all := f.waiting.Take()
	for r := range f.keep {
		var x [portable.OutersAtOnce][]float64
		for i, phi := range all {
			x[i] = phi[r*f.stride : (r+1)*f.stride]
		}
		portable.AddOuters(f.second[r*f.stride*f.stride:(r+1)*f.stride*f.stride], x)
	}
}

// slopes fills keep and both slopes for the step that run has just made.
func (f *traceSum) slopes(run *model.Run, i int, before []float64) {
	l := f.layer
	set := func(gate, j int, keep, inputSlope, stateSlope float64) {
		r := gate*l.Units + j
		f.keep[r], f.inputSlope[r], f.stateSlope[r] = keep, inputSlope, stateSlope
	}
	for j, h := range before {
		switch l.Kind {
		case model.GRUResetAfter, model.GRUResetBefore:
			r, z, n := run.Gate(i, 0)[j], run.Gate(i, 1)[j], run.Gate(i, 2)[j]
			open := (1 - z) * (1 - float64(n*n))
			set(1, j, z, (h-n)*z*(1-z), (h-n)*z*(1-z))
			if l.Kind == model.GRUResetBefore {
				// The reset gate of a unit acts on the candidates of all units. Only its effect on
				// the unit's own state is taken into account.
				f.resetStates[j] = r * h
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

// merge adds the moments of other sequences.
func (f *traceSum) merge(o *traceSum) {
	f.addWaiting()
	o.addWaiting()
	f.steps += o.steps
	for i, v := range o.second {
		f.second[i] += v
	}
}

// rows returns the second moments of φ, one matrix per row; nil without a step.
func (f *traceSum) rows() []halfMatrix {
	if f == nil || f.steps == 0 {
		return nil
	}
	f.addWaiting()
	width := f.width()
	all := make([]halfMatrix, len(f.keep))
	for r := range all {
		all[r] = newHalfMatrix(width)
		second := f.second[r*f.stride*f.stride : (r+1)*f.stride*f.stride]
		for i := range width {
			for j := i; j < width; j++ {
				low, high := f.place(i), f.place(j)
				if low > high {
					low, high = high, low
				}
				*all[r].at(i, j) = second[low*f.stride+high] / f.steps
			}
		}
	}
	return all
}

// rowPlan says how one row of W and the same row of U are rounded together.
type rowPlan struct {
	input, recurrent *compensator
	// push has, per input and unit, by how much an error of 1 in W changes U; nil if U stays.
	push [][]float64
}

// plans makes the plans of all rows of a layer. The states and the bias take up the part of the
// error of the input weights that they can take up. So W is rounded by the part that they cannot
// take up (the Schur complement of the second moments), the bias gets its share at once, and U
// becomes U + push·e before U is rounded in turn. Rows whose states never move are rounded as
// [Compensated] does.
func (r *LayerRange) plans(inputs int) []rowPlan {
	plain := rowPlan{input: Compensated.compensatorFor(r.Inputs),
		recurrent: Compensated.compensatorFor(r.States)}
	all := make([]rowPlan, len(r.Followed))
	for i, second := range r.Followed {
		all[i] = plain
		if plan, ok := planRow(second, inputs); ok {
			all[i] = plan
		}
	}
	return all
}

// planRow makes the plan of one row from the second moments of its φ. ok is false where the states
// never move or the moments cannot be inverted.
func planRow(second portable.Symmetric, inputs int) (rowPlan, bool) {
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

// pushed returns U after it took up its part of the errors that rounding made in W.
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
