package recovery

import (
	"kerf/dataset"
	"kerf/model/lanes"
)

// example is a sequence to learn: a recorded one, or one that is mixed from two, step by step, and
// shifted, see [invent]. What is mixed is computed when it is read, so that invented sequences take
// next to no memory.
type example struct {
	recorded *dataset.Sequence
	other    *dataset.Sequence // nil: recorded alone
	share    float64           // of recorded against other
	shifts   []float64         // of every feature, in its unit
	steps    int
	// what the network should give, in the frame of training [steps × outputs]; float32, because
	// there may be several times as many examples as recorded sequences
	target []float32
}

// reader normalises features as a network takes them.
type reader struct {
	kept      []int
	mean, std []float64 // of the features that are kept
	features  int       // of the recordings
}

// newReader returns the reader of a network.
func newReader(p *dataset.Float) *reader {
	r := &reader{kept: p.Kept, features: len(p.Features)}
	for _, k := range p.Kept {
		r.mean, r.std = append(r.mean, p.Features[k].Mean), append(r.std, p.Features[k].Std)
	}
	return r
}

// read writes the inputs of one step to a lane of x [kept × lanes.Width].
func (r *reader) read(x []float32, lane int, e *example, step int) {
	row := e.recorded.X[step*r.features : (step+1)*r.features]
	x = x[lane : (len(r.kept)-1)*lanes.Width+lane+1]
	mean, std := r.mean[:len(r.kept)], r.std[:len(r.kept)]
	if e.other == nil {
		for i, k := range r.kept {
			x[i*lanes.Width] = float32((row[k] - mean[i]) / std[i])
		}
		return
	}
	other, share, rest := e.other.X[step*r.features:(step+1)*r.features], e.share, 1-e.share
	for i, k := range r.kept {
		v := float64(share*row[k]) + float64(rest*other[k]) + e.shifts[k]
		x[i*lanes.Width] = float32((v - mean[i]) / std[i])
	}
}

// queue deals examples to the lanes: a lane takes the next example when its own has ended.
type queue struct {
	examples []example
	order    []int // of the examples that no lane has taken
	lanes    [lanes.Width]turn
}

// turn is the example of a lane.
type turn struct {
	example *example // nil: there is none left
	number  int      // in the list of examples
	step    int      // the next one
}

func newQueue(examples []example, order []int) *queue {
	return &queue{examples: examples, order: order}
}

// inOrder returns the numbers of examples from the first to the last.
func inOrder(examples []example) []int {
	order := make([]int, len(examples))
	for i := range order {
		order[i] = i
	}
	return order
}

// refill gives examples to the lanes that need one, and calls begin for each of these lanes. It
// reports whether any lane has an example.
func (q *queue) refill(begin func(lane int)) bool {
	running := false
	for lane := range q.lanes {
		t := &q.lanes[lane]
		if t.example != nil && t.step < t.example.steps {
			running = true
			continue
		}
		t.example = nil
		if len(q.order) > 0 {
			t.example, t.number, t.step = &q.examples[q.order[0]], q.order[0], 0
			q.order = q.order[1:]
			begin(lane)
			running = true
		}
	}
	return running
}

// stepper is a network in lanes, see [lanes.State] and [lanes.Ranges].
type stepper interface {
	Begin(lane int)
	Input() []float32
	Step()
}

// eachStep runs a network over all examples, and calls after when a lane has done a step of the
// example with a number.
func eachStep(net stepper, r *reader, examples []example, after func(lane, number, step int)) {
	q := newQueue(examples, inOrder(examples))
	for q.refill(net.Begin) {
		for lane, t := range q.lanes {
			if t.example != nil {
				r.read(net.Input(), lane, t.example, t.step)
			}
		}
		net.Step()
		for lane := range q.lanes {
			if t := &q.lanes[lane]; t.example != nil {
				after(lane, t.number, t.step)
				t.step++
			}
		}
	}
}
