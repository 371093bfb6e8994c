package recovery

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"kerf/dataset"
	"kerf/model"
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
	Stopped string // why training ended before the last epoch: Interrupted, OutOfTime, NoGain or ""
}

// Reasons to end before the last epoch.
const (
	Interrupted = "interrupted" // the context ended
	OutOfTime   = "out of time" // Settings.Time ran out
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
// or the time is over, the best network so far is returned. checkpoint may be nil. The error is
// that of the checkpoint or of [quant.Quantize].
func Train(ctx context.Context, task *Task, s Settings, checkpoint *Checkpoint,
	after func(r *Result)) (*Result, error) {
	t, err := begin(task, s, checkpoint)
	if err != nil {
		return nil, err
	}
	started := time.Now()
	for t.goesOn(started) {
		done, err := t.epoch(ctx)
		if err != nil {
			return nil, err
		}
		if !done {
			t.result.Stopped = Interrupted
			break
		}
		if err := checkpoint.save(t); err != nil {
			return nil, err
		}
		after(&t.result)
	}
	t.finish()
	return &t.result, nil
}

// goesOn reports whether there is another epoch, and notes in the result why not if some are left.
func (t *training) goesOn(started time.Time) bool {
	s, done := t.settings, len(t.result.Epochs)
	switch {
	case done >= s.Epochs:
		return false
	case done-t.lowest() >= patience(s.Epochs):
		t.result.Stopped = NoGain
	case s.Time > 0 && done > 0 && time.Since(started) >= s.Time:
		t.result.Stopped = OutOfTime
	}
	return t.result.Stopped == ""
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
	run      *model.Network // what the tapes read: net.Net, or its rounded weights
	best     *model.Network // of the best epoch, or the start; in the frame of training
	adam     *adam
	weights  []float64 // of the outputs in the loss
	drift    *drift    // of invented sequences
	examples []example // recorded ones to train on
	heldBack []example
	lanes    []*lane           // one per sequence of a batch
	ranges   quant.Calibration // of the epoch; only with Task.Formats
	bestLoss float64           // of best on the held-back recordings
	result   Result
}

// begin prepares a training, from the start or from the checkpoint, and judges it.
func begin(task *Task, s Settings, checkpoint *Checkpoint) (*training, error) {
	net := task.frame()
	t := &training{task: task, settings: s, net: net, run: net.Net, best: net.Net.Clone(),
		adam: newAdam(net.Net), weights: task.weights(net),
		drift: newDrift(task.Training, net.Kept)}
	if task.Formats != nil {
		t.run = net.Net.Clone()
	}
	t.examples = task.examples(net, task.Training, s.Share)
	t.heldBack = task.examples(net, task.HeldBack, s.Share)
	for range s.Batch {
		t.lanes = append(t.lanes, newLane(net, t.run, s.Length))
	}
	resumed, err := checkpoint.load(t)
	if err != nil {
		return nil, err
	}
	loss, err := t.judge()
	if err != nil {
		return nil, err
	}
	if !resumed {
		t.result.Start, t.bestLoss = loss, loss
	}
	return t, nil
}

// epoch passes once over the training recordings. done is false when ctx ended before the end.
func (t *training) epoch(ctx context.Context) (done bool, err error) {
	number := len(t.result.Epochs)
	random := rand.New(rand.NewPCG(t.settings.Seed, uint64(number)))
	examples := t.examples
	if t.settings.Share > 0 {
		examples = append(slices.Clip(examples),
			t.task.examples(t.net,
				blends(t.task.Training, t.drift, t.settings.blends(t.task.Training.Steps()),
					t.settings.Shift, random), t.settings.Share)...)
	}
	order := random.Perm(len(examples))
	updates := t.updates(examples, order)
	sum, steps := 0.0, 0
	for batch := range slices.Chunk(order, len(t.lanes)) {
		for i, e := range batch {
			t.lanes[i].begin(examples[e])
		}
		for from := 0; ; from += t.settings.Length {
			if ctx.Err() != nil {
				return false, nil
			}
			running := t.running(len(batch), from)
			if len(running) == 0 {
				break
			}
			loss, n, err := t.segment(running, from)
			if err != nil {
				return false, err
			}
			clip(running[0].gradient.Weights, t.settings.Clip)
			t.adam.update(t.net.Net, running[0].gradient.Weights,
				rateAt(t.settings.Rate, t.adam.Updates, updates*t.settings.Epochs),
				t.settings.Decay)
			sum += loss
			steps += n
		}
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
func (t *training) updates(examples []example, order []int) int {
	n := 0
	for batch := range slices.Chunk(order, len(t.lanes)) {
		longest := 0
		for _, e := range batch {
			longest = max(longest, examples[e].sequence.Steps)
		}
		n += (longest + t.settings.Length - 1) / t.settings.Length
	}
	return n
}

// running returns the lanes of a batch whose sequence reaches beyond step from.
func (t *training) running(batch, from int) []*lane {
	var all []*lane
	for _, l := range t.lanes[:batch] {
		if l.example.sequence.Steps > from {
			all = append(all, l)
		}
	}
	return all
}

// segment runs one segment of every lane, on all cores, and leaves the mean gradient in the first
// lane. It returns the sum of losses and the number of steps.
func (t *training) segment(lanes []*lane, from int) (loss float64, steps int, err error) {
	fixed, err := t.quantize()
	if err != nil {
		return 0, 0, err
	}
	sequences := make([]*dataset.Sequence, len(lanes))
	for i, l := range lanes {
		sequences[i] = l.example.sequence
	}
	dataset.EachSequence(&dataset.Recordings{Sequences: sequences},
		func(i int, s *dataset.Sequence) {
			lanes[i].segment(from, min(from+t.settings.Length, s.Steps), fixed, t.loss)
		})
	for i, l := range lanes {
		loss += l.loss
		steps += min(from+t.settings.Length, l.example.sequence.Steps) - from
		if i > 0 {
			lanes[0].gradient.Add(l.gradient)
		}
	}
	scaleAll(lanes[0].gradient.Weights, 1/float64(steps*len(t.weights)))
	return loss, steps, nil
}

// quantize rounds the present weights into the network that the tapes read, and returns the integer
// network; nil when the float network is trained.
func (t *training) quantize() (*quant.Network, error) {
	if t.task.Formats == nil {
		return nil, nil
	}
	fixed, err := quant.Quantize(t.net, t.ranges, *t.task.Formats, quant.Nearest)
	if err != nil {
		return nil, err
	}
	rounded := fixed.Rounded().Values()
	for i, values := range t.run.Values() {
		copy(values, rounded[i])
	}
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
	var p dataset.Predictor = t.net
	if t.task.Formats != nil {
		t.ranges = quant.CalibrateRanges(t.net, t.task.Training)
		fixed, err := t.quantize()
		if err != nil {
			return 0, err
		}
		p = fixed
	}
	losses := make([]float64, len(t.heldBack))
	dataset.EachSequence(t.task.HeldBack, func(i int, s *dataset.Sequence) {
		outputs := len(t.net.Outputs)
		y := make([]float64, s.Steps*outputs)
		p.Predict(s, y)
		for k, v := range y {
			out := t.net.Outputs[k%outputs]
			y[k] = (v - out.Mean) / out.Std
		}
		losses[i] = t.loss(y, t.heldBack[i].target, make([]float64, len(y)))
	})
	sum := 0.0
	for _, l := range losses {
		sum += l
	}
	if math.IsNaN(sum) {
		sum = math.Inf(1) // no best epoch
	}
	return sum / float64(t.task.HeldBack.Steps()*len(t.weights)), nil
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
