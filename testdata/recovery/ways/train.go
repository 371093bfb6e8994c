package main

import (
	"math"
	"math/rand/v2"

	"kerf/dataset"
	"kerf/model"
	"kerf/model/lanes"
)

// form is how a network in training is made of what is trained.
type form interface {
	// predictor returns the network as it would be used now.
	predictor() *dataset.Float
	// weights returns what Adam moves.
	weights() [][]float64
	// effective writes the weights of the next update to a network.
	effective(to *model.Network)
	// slopes turns derivatives by effective weights into those by weights.
	slopes(by *model.Network, to [][]float64)
	// updated is called after every update, with its rate and the share of the work that is done.
	updated(rate, done float64)
}

// schedule says how to train.
type schedule struct {
	work     int
	rate     float64
	length   int // of segments
	keepBest bool
	seed     uint64
}

// rateAt returns the rate when a share of the work is done: package recovery's.
func (s schedule) rateAt(done float64) float64 {
	const warmUp = 0.05
	if done < warmUp {
		return s.rate * done / warmUp
	}
	return s.rate * (1 + math.Cos(math.Pi*(done-warmUp)/(1-warmUp))) / 2
}

// stream deals recorded and invented examples to lanes without end.
type stream struct {
	d      *data
	random *rand.Rand
	pass   int
	left   []*example
	lanes  [lanes.Width]struct {
		example *example
		step    int
	}
}

func (s *stream) next() *example {
	if len(s.left) == 0 {
		var all []*example
		for i := range s.d.recorded {
			all = append(all, &s.d.recorded[i])
		}
		set := s.d.invented[s.pass/inventEvery%len(s.d.invented)]
		for i := range set {
			all = append(all, &set[i])
		}
		for _, i := range s.random.Perm(len(all)) {
			s.left = append(s.left, all[i])
		}
		s.pass++
	}
	e := s.left[0]
	s.left = s.left[1:]
	return e
}

// segment runs the next segment of every lane forward, and calls change with the lane, the steps of
// all lanes, what the lane gave, what it should give, and where to put derivatives. It returns the
// number of steps.
func (s *stream) segment(tape *lanes.Tape, length int,
	change func(steps int, y, target, to []float64)) int {
	var lengths [lanes.Width]int
	longest, steps := 0, 0
	for lane := range s.lanes {
		t := &s.lanes[lane]
		if t.example == nil || t.step == t.example.steps {
			t.example, t.step = s.next(), 0
			tape.Begin(lane)
		}
		lengths[lane] = min(length, t.example.steps-t.step)
		longest, steps = max(longest, lengths[lane]), steps+lengths[lane]
	}
	inputs, outputs := len(s.d.given.Kept), len(s.d.given.Outputs)
	for step := range longest {
		x := tape.Input(step)
		for lane, t := range s.lanes {
			if step < lengths[lane] {
				for i, v := range t.example.x[(t.step+step)*inputs:][:inputs] {
					x[i*lanes.Width+lane] = v
				}
			}
		}
		clear(tape.Change(step))
	}
	tape.Forward(longest)
	y, target, to := make([]float64, length*outputs), make([]float64, length*outputs),
		make([]float64, length*outputs)
	for lane := range s.lanes {
		t, n := &s.lanes[lane], lengths[lane]
		for step := range n {
			from := tape.Output(step)
			for o := range outputs {
				y[step*outputs+o] = float64(from[o*lanes.Width+lane])
				target[step*outputs+o] = float64(t.example.target[(t.step+step)*outputs+o])
			}
		}
		change(steps, y[:n*outputs], target[:n*outputs], to[:n*outputs])
		for step := range n {
			c := tape.Change(step)
			for o := range outputs {
				c[o*lanes.Width+lane] = float32(to[step*outputs+o])
			}
		}
		t.step += n
	}
	return steps
}

// train trains a form, and returns the network of the best check, or else the last.
func (d *data) train(f form, s schedule) *dataset.Float {
	net := f.predictor().Net.Clone()
	tape, gradient := lanes.NewTape(net, s.length), net.Clone()
	examples := &stream{d: d, random: rand.New(rand.NewPCG(s.seed, 2))}
	adam, slopes := newAdam(f.weights()), zeros(f.weights())
	best := f.predictor()
	least, checked := d.check(best.Net), 0
	for done := 0; done < s.work; {
		f.effective(net)
		tape.Load(net)
		n := examples.segment(tape, s.length, func(steps int, y, target, to []float64) {
			d.loss(y, target, to)
			for i := range to {
				to[i] /= float64(steps * len(d.given.Outputs))
			}
		})
		tape.Backward(gradient, false)
		f.slopes(gradient, slopes)
		rate := s.rateAt(float64(done) / float64(s.work))
		done += n
		if clip(slopes) {
			adam.update(f.weights(), slopes, rate)
		}
		f.updated(rate, float64(done)/float64(s.work))
		if s.keepBest && done*checks/s.work > checked {
			checked = done * checks / s.work
			p := f.predictor()
			if loss := d.check(p.Net); loss < least {
				least, best = loss, p
			}
		}
	}
	if !s.keepBest {
		return f.predictor()
	}
	return best
}

// adam is Adam (Kingma and Ba 2015, arXiv:1412.6980, algorithm 1) with the constants given there.
type adam struct {
	updates      int
	mean, square [][]float64
}

func newAdam(weights [][]float64) *adam {
	return &adam{mean: zeros(weights), square: zeros(weights)}
}

func zeros(like [][]float64) [][]float64 {
	all := make([][]float64, len(like))
	for i := range like {
		all[i] = make([]float64, len(like[i]))
	}
	return all
}

func (a *adam) update(weights, slopes [][]float64, rate float64) {
	a.updates++
	m, v := 1-math.Pow(0.9, float64(a.updates)), 1-math.Pow(0.999, float64(a.updates))
	for i := range weights {
		for j, g := range slopes[i] {
			a.mean[i][j] = 0.9*a.mean[i][j] + 0.1*g
			a.square[i][j] = 0.999*a.square[i][j] + 0.001*g*g
			weights[i][j] -= rate * a.mean[i][j] / m / (math.Sqrt(a.square[i][j]/v) + 1e-8)
		}
	}
}

// clip scales derivatives down to a norm of 1 and reports whether they are finite.
func clip(slopes [][]float64) bool {
	sum := 0.0
	for _, values := range slopes {
		for _, g := range values {
			sum += g * g
		}
	}
	norm := math.Sqrt(sum)
	if norm > 1 {
		for _, values := range slopes {
			for j := range values {
				values[j] /= norm
			}
		}
	}
	return !math.IsNaN(norm) && !math.IsInf(norm, 0)
}

// direct is a network whose own weights are trained.
type direct struct{ p *dataset.Float }

func plain(p *dataset.Float) *direct { return &direct{withNet(p, p.Net.Clone())} }

// withNet returns p with another network.
func withNet(p *dataset.Float, net *model.Network) *dataset.Float {
	q := *p
	q.Net = net
	return &q
}

func (f *direct) predictor() *dataset.Float { return withNet(f.p, f.p.Net.Clone()) }
func (f *direct) weights() [][]float64      { return f.p.Net.Values() }
func (f *direct) updated(_, _ float64)      {}

func (f *direct) effective(to *model.Network) { copyAll(to.Values(), f.p.Net.Values()) }

func (f *direct) slopes(by *model.Network, to [][]float64) { copyAll(to, by.Values()) }

func copyAll(to, from [][]float64) {
	for i := range from {
		copy(to[i], from[i])
	}
}
