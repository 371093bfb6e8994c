package recovery

import (
	"kerf/dataset"
	"kerf/model"
	"kerf/quant"
)

// lane runs one sequence of a batch, segment by segment.
type lane struct {
	net      *dataset.Float // the unrounded network, in the frame of training
	tape     *model.Tape
	gradient *model.Gradient
	example  example
	loss     float64 // sum over the last segment

	x      []float64 // normalised features of a segment
	change []float64 // derivatives of the loss by the outputs of a segment
	fixed  fixedLane
}

// fixedLane is scratch of a lane whose forward pass is the integer network.
type fixedLane struct {
	state    *quant.State
	integers []int32 // features of a segment
	y        []int32 // outputs of a step
	physical []float64
	outputs  []float64 // of a segment, in the frame of training
}

// newLane returns a lane for segments of the given length. The tape reads the weights of run, which
// are those of net or rounded ones.
func newLane(net *dataset.Float, run *model.Network, length int) *lane {
	outputs := len(net.Outputs)
	return &lane{
		net: net, tape: run.NewTape(length), gradient: run.NewGradient(),
		x: make([]float64, length*len(net.Kept)), change: make([]float64, length*outputs),
		fixed: fixedLane{
			integers: make([]int32, length*len(net.Kept)), y: make([]int32, outputs),
			physical: make([]float64, outputs), outputs: make([]float64, length*outputs),
		},
	}
}

// begin starts a sequence from the zero state.
func (l *lane) begin(e example) {
	l.example = e
	l.tape.Run().Reset()
}

// segment runs steps from..to of the sequence and leaves the loss and its gradient in the lane.
// fixed is the integer network, or nil to run the float network.
func (l *lane) segment(from, to int, fixed *quant.Network,
	loss func(y, target, change []float64) float64) {
	columns, outputs := len(l.net.Features), len(l.net.Outputs)
	s := l.example.sequence
	rows := s.X[from*columns : to*columns]
	x := l.x[:(to-from)*len(l.net.Kept)]
	target, change := l.example.target[from*outputs:to*outputs], l.change[:(to-from)*outputs]
	var y []float64
	if fixed == nil {
		for step := range to - from {
			l.net.Normalise(rows[step*columns:(step+1)*columns], x[step*len(l.net.Kept):])
		}
		y = l.tape.Forward(x, nil)
	} else {
		fixed.EncodeSteps(rows, columns, l.fixed.integers, x)
		l.tape.Forward(x, l.override(fixed))
		y = l.fixed.outputs[:len(target)]
	}
	l.loss = loss(y, target, change)
	l.gradient.Zero()
	l.tape.Backward(change, l.gradient)
}

// override returns a function that puts the states of the integer network onto the tape, step by
// step, and keeps its outputs.
func (l *lane) override(fixed *quant.Network) model.Override {
	f := &l.fixed
	// The network was quantized anew since the last segment, perhaps to other fraction bits.
	f.state = fixed.NewState()
	for layer := range fixed.Layers {
		fixed.SetValues(f.state, layer, l.tape.Run().State(layer), l.tape.Run().Cell(layer))
	}
	features, outputs := len(fixed.Features), len(fixed.Outputs)
	return func(step, layer int, state, cell []float64) {
		if layer == 0 {
			fixed.Step(f.state, f.integers[step*features:(step+1)*features], f.y)
			fixed.Decode(f.y, f.physical)
			for o, v := range f.physical {
				out := l.net.Outputs[o]
				f.outputs[step*outputs+o] = (v - out.Mean) / out.Std
			}
		}
		fixed.Values(f.state, layer, state, cell)
	}
}
