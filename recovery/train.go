package recovery

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"

	"kerf/dataset"
	"kerf/model"
	"kerf/model/lanes"
	"kerf/quant"
)

// Epoch has the loss after one pass over the training recordings, per step and output. For a
// regression, 1 is the loss of the teacher against the reference; for a classifier the loss is a
// cross-entropy.
type Epoch struct {
	Training float64 `json:"training"` // mean over the pass, while the weights moved
	HeldBack float64 `json:"held_back"`
}

// Result is a trained network.
type Result struct {
	Net    *dataset.Float // the best epoch; features and outputs as those of Task.Start
	Start  float64        // loss on the held-back recordings before the first epoch
	Epochs []Epoch
	// Best is the number of the best epoch, from 1; 0: none was better than the start, and Net is
	// Task.Start.
	Best    int
	Stopped string // why training ended before the last epoch: Interrupted, NoGain or ""
}

// Reasons to end before the last epoch.
const (
	Interrupted = "interrupted" // the context ended
	NoGain      = "no gain"     // no epoch was better for long
)

// patience returns how many epochs may pass without a better one before the training ends: half of
// all, since the falling rate settles late what a high one has stirred up (common practice, no
// source), but no fewer than leastPatience. The start does not count as an epoch: training stirs a
// network that is nearly as good as the teacher up before it makes it better.
func patience(epochs int) int { return max(leastPatience, (epochs+1)/2) }

// leastPatience is the patience of trainings of up to 10 epochs: half of 10 (our choice).
const leastPatience = 5

// Train runs the training. after is called after every epoch with the result so far. When ctx ends,
// the best network so far is returned. checkpoint may be nil. The error is that of the checkpoint
// or of [quant.Quantize].
func Train(ctx context.Context, task *Task, s Settings, checkpoint *Checkpoint,
	after func(r *Result)) (*Result, error) {
	t, err := begin(task, s, checkpoint)
	if err != nil {
		return nil, err
	}
	for t.goesOn() {
		done, err := t.epoch(ctx)
		if err != nil {
			return nil, err
		}
		if !done {
			t.result.Stopped = Interrupted
			if err := checkpoint.flush(); err != nil {
				return nil, err
			}
			break
		}
		if err := checkpoint.keep(t); err != nil {
			return nil, err
		}
		after(&t.result)
	}
	t.finish()
	return &t.result, nil
}

// goesOn reports whether there is another epoch, and notes in the result why not if some are left.
func (t *training) goesOn() bool {
	s, done := t.settings, len(t.result.Epochs)
	if done < s.Epochs && done-t.lowest() >= patience(s.Epochs) {
		t.result.Stopped = NoGain
	}
	return done < s.Epochs && t.result.Stopped == ""
}

// lowest returns the number of the trained epoch with the least loss, from 1; before the first
// epoch 0.
func (t *training) lowest() int {
	low := 0
	for i, e := range t.result.Epochs {
		if low == 0 || e.HeldBack < t.result.Epochs[low-1].HeldBack {
			low = i + 1
		}
	}
	return low
}

// training is the state of a run.
type training struct {
	task     *Task
	settings Settings
	net      *dataset.Float // in the frame of training, unrounded
	best     *model.Network // of the best epoch, or the start; in the frame of training
	adam     *adam
	weights  []float64 // of the outputs in the loss
	drift    *drift    // of invented sequences
	examples []example // recorded ones to train on
	invented []example // of the present epoch
	heldBack []example
	ranges   quant.Calibration // of the epoch; only with Task.Formats
	bestLoss float64           // of best on the held-back recordings
	result   Result

	tape         *lanes.Tape
	reader       *reader
	gradient     *model.Network
	y, t, change []float64 // of a segment of one lane
}

// begin prepares a training, from the start or from the checkpoint, and judges it.
func begin(task *Task, s Settings, checkpoint *Checkpoint) (*training, error) {
	if task.Answers == nil {
		own := *task
		own.Answers = &Answers{}
		task = &own
	}
	s = s.On(task.Training.Steps())
	net := task.frame()
	t := &training{task: task, settings: s, net: net, best: net.Net.Clone(),
		adam: newAdam(net.Net)}
	isKept, err := checkpoint.restore(t)
	if err != nil || !t.goesOn() {
		return t, err
	}
	t.weights = task.weights(net)
	segment := make([]float64, 3*s.Length*len(net.Outputs))
	part := func(n int) []float64 {
		return segment[n*len(segment)/3 : (n+1)*len(segment)/3]
	}
	t.y, t.t, t.change = part(0), part(1), part(2)
	t.drift = newDrift(task.Training, net.Kept)
	t.tape, t.reader = lanes.NewTape(net.Net, s.Length), newReader(net)
	t.gradient = net.Net.Clone()
	t.examples = task.recorded(net, task.Training, s.Share)
	t.heldBack = task.recorded(net, task.HeldBack, s.Share)
	loss, err := t.judge()
	if err != nil {
		return nil, err
	}
	if !isKept {
		t.result.Start, t.bestLoss = loss, loss
	}
	return t, nil
}

// inventEvery is how many epochs train on the same invented sequences: so often as an epoch the
// teacher, which may be many times as large as the network in training, need not answer. It was
// chosen on held-back selection recordings, see docs/recovery.md.
const inventEvery = 4

// invent makes the invented sequences of an epoch, unless those of the epoch before serve as well.
func (t *training) invent(epoch int) {
	if epoch%inventEvery != 0 && t.invented != nil {
		return
	}
	// a stream of its own, beside those of the orders
	random := rand.New(rand.NewPCG(t.settings.Seed, 1<<32+uint64(epoch/inventEvery)))
	t.invented = invent(t.task.Training, t.drift, t.settings.blends(t.task.Training.Steps()),
		t.settings.Shift, random)
	answer(t.task.Teacher, t.invented)
	t.task.teach(t.net, t.invented, t.settings.Share)
}

// epoch passes once over the training recordings and the invented sequences. done is false when ctx
// ended before the end.
func (t *training) epoch(ctx context.Context) (done bool, err error) {
	number := len(t.result.Epochs)
	t.invent(number)
	examples := append(slices.Clip(t.examples), t.invented...)
	order := rand.New(rand.NewPCG(t.settings.Seed, uint64(number))).Perm(len(examples))
	updates := updates(examples, order, t.settings.Length)
	sum, steps := 0.0, 0
	for q := newQueue(examples, order); q.refill(t.tape.Begin); {
		if ctx.Err() != nil {
			return false, nil
		}
		loss, n, err := t.segment(q)
		if err != nil {
			return false, err
		}
		if clip(t.gradient, t.settings.Clip) {
			t.adam.update(t.net.Net, t.gradient, rateAt(t.settings.Rate, t.adam.Updates,
				updates*t.settings.Epochs), t.settings.Decay)
		}
		sum += loss
		steps += n
	}
	loss, err := t.judge()
	if err != nil {
		return false, err
	}
	t.result.Epochs = append(t.result.Epochs,
		Epoch{Training: sum / float64(steps*len(t.weights)), HeldBack: loss})
	if loss < t.bestLoss {
		t.bestLoss, t.result.Best = loss, number+1
		t.best = t.net.Net.Clone()
	}
	return true, nil
}

// updates returns the number of updates of an epoch, which depends on the order where sequences are
// of unlike length. The schedule of rates takes the number of the present epoch for all epochs.
func updates(examples []example, order []int, length int) int {
	n := 0
	for q := newQueue(examples, order); q.refill(func(int) {}); n++ {
		for lane := range q.lanes {
			q.lanes[lane].step += length
		}
	}
	return n
}

// segment runs the next segment of every lane, forward and back, and leaves the mean gradient. It
// returns the sum of losses and the number of steps.
func (t *training) segment(q *queue) (loss float64, steps int, err error) {
	if _, err := t.round(); err != nil {
		return 0, 0, err
	}
	var lengths [lanes.Width]int
	longest := 0
	for lane, turn := range q.lanes {
		if turn.example != nil {
			lengths[lane] = min(t.settings.Length, turn.example.steps-turn.step)
		}
		longest = max(longest, lengths[lane])
		steps += lengths[lane]
	}
	for step := range longest {
		x := t.tape.Input(step)
		for lane, turn := range q.lanes {
			if step < lengths[lane] {
				t.reader.read(x, lane, turn.example, turn.step+step)
			} // else the values of an earlier segment, from which nothing flows back
		}
		clear(t.tape.Change(step))
	}
	t.tape.Forward(longest)
	for lane := range q.lanes {
		if lengths[lane] > 0 {
			loss += t.laneLoss(lane, lengths[lane], steps, &q.lanes[lane])
			q.lanes[lane].step += lengths[lane]
		}
	}
	t.tape.Backward(t.gradient, false)
	return loss, steps, nil
}

// laneLoss returns the loss of a lane over some steps, of all steps of the segment. It sets the
// changes of the lane to the derivatives of the mean loss.
func (t *training) laneLoss(lane, length, steps int, turn *turn) float64 {
	outputs := len(t.weights)
	y, target, change := t.y[:length*outputs], t.t[:length*outputs], t.change[:length*outputs]
	for step := range length {
		from := t.tape.Output(step)
		for o := range outputs {
			y[step*outputs+o] = float64(from[o*lanes.Width+lane])
			target[step*outputs+o] = float64(turn.example.target[(turn.step+step)*outputs+o])
		}
	}
	loss := t.loss(y, target, change)
	share := 1 / float64(steps*outputs)
	for step := range length {
		to := t.tape.Change(step)
		for o := range outputs {
			to[o*lanes.Width+lane] = float32(share * change[step*outputs+o])
		}
	}
	return loss
}

// round gives the tape the present weights, rounded where the network is trained for integers, and
// returns the integer network; nil when the float network is trained.
func (t *training) round() (*quant.Network, error) {
	if t.task.Formats == nil {
		t.tape.Load(t.net.Net)
		return nil, nil
	}
	fixed, err := quant.Quantize(t.net, t.ranges, *t.task.Formats, quant.Nearest)
	if err != nil {
		return nil, err
	}
	fixed.Onto(t.tape)
	return fixed, nil
}

// loss returns the sum of the losses of steps and sets change to its derivatives by the outputs y.
func (t *training) loss(y, target, change []float64) float64 {
	if t.task.byShares() {
		return model.CrossEntropy(y, target, len(t.weights), change)
	}
	return model.SquaredError(y, target, t.weights, change)
}

// judge returns the loss on the held-back recordings, of the integer network where there is one.
// That network is calibrated anew, and the next epoch keeps the ranges.
func (t *training) judge() (float64, error) {
	outputs, all := len(t.net.Outputs), make([][]float64, len(t.heldBack))
	for i := range all {
		all[i] = make([]float64, t.heldBack[i].steps*outputs)
	}
	if t.task.Formats == nil {
		state := lanes.Compile(t.net.Net).NewState()
		eachStep(state, t.reader, t.heldBack, func(lane, number, step int) {
			for o := range outputs {
				all[number][step*outputs+o] = float64(state.Output()[o*lanes.Width+lane])
			}
		})
	} else {
		t.ranges = ranges(t.net, t.examples)
		fixed, err := t.round()
		if err != nil {
			return 0, err
		}
		fixed.PredictAll(t.task.HeldBack.Sequences, all)
		for _, y := range all {
			for k := range y {
				out := t.net.Outputs[k%outputs]
				y[k] = (y[k] - out.Mean) / out.Std
			}
		}
	}
	sum := 0.0
	for i, y := range all {
		target := make([]float64, len(y))
		for k, v := range t.heldBack[i].target {
			target[k] = float64(v)
		}
		sum += t.loss(y, target, make([]float64, len(y)))
	}
	if math.IsNaN(sum) {
		sum = math.Inf(1) // no best epoch
	}
	return sum / float64(t.task.HeldBack.Steps()*outputs), nil
}

// finish sets the result to the best network, for the outputs of the start.
func (t *training) finish() {
	t.result.Net = t.task.Start
	if t.result.Best > 0 {
		p := *t.task.Start
		p.Net = t.best
		if !p.Classes && t.task.lastActivation() == model.Identity {
			rescaleOutputs(p.Net, t.net.Outputs, p.Outputs)
		}
		t.result.Net = &p
	}
}
