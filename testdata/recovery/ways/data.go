package main

import (
	"context"
	"math"
	"math/rand/v2"

	"kerf/budget"
	"kerf/dataset"
	"kerf/model"
	"kerf/model/lanes"
	"kerf/prune"
	"kerf/recovery"
)

// What package recovery trained a cut and a new network with when the ways were compared.
const (
	recoveryRate   = 0.001
	recoveryLength = 30
	scratchRate    = 0.01
	scratchLength  = 100
)

// inventEvery is how many passes see the same invented sequences, as in package recovery.
const inventEvery = 4

// data is what one seed of a job ranks, trains and judges with.
type data struct {
	given   *dataset.Float // standardised
	teacher *dataset.Float
	rest    *dataset.Recordings // all but the part that judges
	judging *dataset.Recordings
	// training and heldBack make up the rest
	training, heldBack *dataset.Recordings
	weights            []float64 // of outputs in the loss; nil: cross-entropy
	recorded, checked  []example // of training and of heldBack
	invented           [][]example
	statistics         *prune.Statistics // of given on the rest
}

// example is a sequence with what the network as given answers.
type example struct {
	steps  int
	x      []float32 // normalised features [steps × features]
	target []float32 // raw outputs, or shares of classes [steps × outputs]
}

// newData deals the selection recordings and invents sequences for so much work.
func newData(in *budget.Inputs, seed, work int) (*data, error) {
	d := &data{teacher: in.Float}
	rest, judging := *in.Selection, *in.Selection
	rest.Sequences, judging.Sequences = nil, nil
	n := 0
	for _, scenario := range in.Selection.Scenarios() {
		for _, s := range in.Selection.Sequences {
			if s.Scenario != scenario {
				continue
			}
			if n%seeds == seed {
				judging.Sequences = append(judging.Sequences, s)
			} else {
				rest.Sequences = append(rest.Sequences, s)
			}
			n++
		}
	}
	d.rest, d.judging = &rest, &judging
	d.training, d.heldBack = recovery.Split(d.rest)
	d.given = standardised(in, d.rest)
	d.statistics = prune.MeasureStatistics(d.given, d.rest)
	for _, s := range d.training.Sequences {
		d.recorded = append(d.recorded, d.read(s, s, 1, make([]float64, len(d.given.Features))))
	}
	for _, s := range d.heldBack.Sequences {
		d.checked = append(d.checked, d.read(s, s, 1, make([]float64, len(d.given.Features))))
	}
	d.invent(rand.New(rand.NewPCG(uint64(seed+1), 1)), work)
	for _, list := range append([][]example{d.recorded, d.checked}, d.invented...) {
		d.answer(list)
	}
	d.weigh()
	return d, nil
}

// read returns a sequence mixed with another one and shifted, without a target.
func (d *data) read(a, b *dataset.Sequence, share float64, shifts []float64) example {
	e := example{steps: min(a.Steps, b.Steps)}
	features := len(d.given.Features)
	for step := range e.steps {
		for _, k := range d.given.Kept {
			at, f := step*features+k, d.given.Features[k]
			v := share*a.X[at] + (1-share)*b.X[at] + shifts[k]
			e.x = append(e.x, float32((v-f.Mean)/f.Std))
		}
	}
	return e
}

// blends is how many sequences are invented for each recorded one: three, and up to thirty for
// recordings of less than 20,000 steps together.
func blends(steps int) int { return max(3, min(30, 20000/steps)) }

// invent invents sequences as package recovery does where all features stay.
func (d *data) invent(random *rand.Rand, work int) {
	spreads := make([]float64, len(d.given.Features))
	for k := range spreads {
		sum, squares, n := 0.0, 0.0, 0.0
		for _, s := range d.training.Sequences {
			for at := k; at < len(s.X); at += len(spreads) {
				sum, squares, n = sum+s.X[at], squares+s.X[at]*s.X[at], n+1
			}
		}
		spreads[k] = math.Sqrt(math.Max(0, squares/n-sum/n*sum/n))
	}
	steps := d.training.Steps()
	pass := steps * (1 + blends(steps))
	for range (work + pass*inventEvery - 1) / (pass * inventEvery) {
		var set []example
		for range blends(steps) {
			for _, a := range d.training.Sequences {
				b := d.training.Sequences[random.IntN(len(d.training.Sequences))]
				shifts := make([]float64, len(spreads))
				share := random.Float64()
				for k := range shifts {
					shifts[k] = recovery.Defaults().Shift * spreads[k] * random.NormFloat64()
				}
				set = append(set, d.read(a, b, share, shifts))
			}
		}
		d.invented = append(d.invented, set)
	}
}

// answer sets the targets of examples.
func (d *data) answer(examples []example) {
	outputs := len(d.given.Outputs)
	eachStep(d.given.Net, examples, func(number int, y []float64) {
		if d.byShares() {
			model.Shares(y, y)
		}
		for _, v := range y[:outputs] {
			examples[number].target = append(examples[number].target, float32(v))
		}
	})
}

// byShares reports whether the loss is the cross-entropy.
func (d *data) byShares() bool { return d.given.Classes }

// eachStep runs a network over examples, eight side by side, and calls after with the raw outputs
// of every step of an example, in order.
func eachStep(net *model.Network, examples []example, after func(number int, y []float64)) {
	state := lanes.Compile(net).NewState()
	next := 0
	var number, step [lanes.Width]int
	for lane := range number {
		number[lane] = -1
	}
	inputs, y := 0, []float64(nil)
	for {
		running := false
		for lane := range number {
			if n := number[lane]; n < 0 || step[lane] == examples[n].steps {
				number[lane] = -1
				if next < len(examples) {
					number[lane], step[lane] = next, 0
					state.Begin(lane)
					next++
				}
			}
			if n := number[lane]; n >= 0 {
				running = true
				e := &examples[n]
				inputs = len(e.x) / e.steps
				for i, v := range e.x[step[lane]*inputs : (step[lane]+1)*inputs] {
					state.Input()[i*lanes.Width+lane] = v
				}
			}
		}
		if !running {
			return
		}
		state.Step()
		out := state.Output()
		y = make([]float64, len(out)/lanes.Width)
		for lane, n := range number {
			if n >= 0 {
				for o := range y {
					y[o] = float64(out[o*lanes.Width+lane])
				}
				after(n, y)
				step[lane]++
			}
		}
	}
}

// weigh sets the weights of outputs in the loss: squared errors count in those of the network as
// given.
func (d *data) weigh() {
	if d.byShares() {
		return
	}
	given := dataset.Measure(d.given, d.rest, nil)
	for o, out := range d.given.Outputs {
		rmse := given.Value(nil, dataset.Slice{Output: o, Region: -1}, dataset.RMSE) / out.Std
		d.weights = append(d.weights, 1/math.Max(rmse*rmse, 1e-4))
	}
}

// loss returns the sum of the losses of steps and sets change to its derivatives.
func (d *data) loss(y, target, change []float64) float64 {
	if d.byShares() {
		return model.CrossEntropy(y, target, len(d.given.Outputs), change)
	}
	return model.SquaredError(y, target, d.weights, change)
}

// check returns the loss on the held-back sequences.
func (d *data) check(net *model.Network) float64 {
	outputs := len(d.given.Outputs)
	sum, done := 0.0, make([]int, len(d.checked))
	target, change := make([]float64, outputs), make([]float64, outputs)
	eachStep(net, d.checked, func(number int, y []float64) {
		for o, v := range d.checked[number].target[done[number]*outputs:][:outputs] {
			target[o] = float64(v)
		}
		done[number]++
		sum += d.loss(y, target, change)
	})
	if math.IsNaN(sum) {
		return math.Inf(1)
	}
	return sum
}

// rise returns the largest rise of the RMSE of an output in percent, or the drop of the accuracy in
// percentage points, on the part that judges.
func (d *data) rise(p *dataset.Float) float64 {
	if p == nil {
		return math.NaN()
	}
	given, small := dataset.Measure(d.teacher, d.judging, nil), dataset.Measure(p, d.judging, nil)
	if p.Classes {
		slice := dataset.Slice{Region: -1}
		return 100 * (given.Value(nil, slice, dataset.Accuracy) -
			small.Value(nil, slice, dataset.Accuracy))
	}
	worst := math.Inf(-1)
	for o := range p.Outputs {
		slice := dataset.Slice{Output: o, Region: -1}
		worst = math.Max(worst, 100*(small.Value(nil, slice, dataset.RMSE)/
			given.Value(nil, slice, dataset.RMSE)-1))
	}
	return worst
}

// scratch returns a network with drawn weights.
func (d *data) scratch(counts []int, seed int) *dataset.Float {
	return recovery.Scratch(d.given, d.training, d.given.Kept, counts, uint64(seed+1))
}

// byPackage trains a network by recovery.Train.
func (d *data) byPackage(ctx context.Context, p *dataset.Float,
	s schedule) (*dataset.Float, error) {
	settings, steps := recovery.Defaults(), d.training.Steps()
	settings.Epochs = max(1, s.work/(steps*(1+blends(steps))))
	settings.Seed, settings.Rate, settings.Length = s.seed, s.rate, s.length
	r, err := recovery.Train(ctx, &recovery.Task{Start: p, Teacher: d.teacher,
		Training: d.training, HeldBack: d.heldBack}, settings, nil, func(*recovery.Result) {})
	if err != nil {
		return nil, err
	}
	return r.Net, nil
}
