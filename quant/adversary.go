package quant

import (
	"math"
	"math/rand/v2"

	"kerf/dataset"
	"kerf/model"
)

// An attack is a sequence of inputs that a search makes worse, move by move. A move
// sets some features, over one block of steps or over all, to a value within their
// range, mostly an end of it.
const (
	attackSteps  = 256  // per attack at most; from a zero state
	attackBlock  = 16   // steps that hold still in a random attack, and at most in a move
	attackBatch  = 8    // moves that are tried side by side, of which the best is taken
	attackWork   = 16e8 // multiply-accumulates of one search if all attacks ran whole; few do
	attackLeast  = 8    // batches that a search tries, however large the networks
	attackMost   = 128
	attackStarts = 16 // one batch in so many, and one more, is random; the others climb
	rangeSteps   = 48 // per attack on accumulators: fast units reach their ends within a block
	rangeBatches = 100
)

// attackBefore is how many steps before the largest difference a move begins at
// most, one of these: some differences follow at once, some after long memory.
var attackBefore = []int{4, 16, 48, 128}

// rival is a float network from which attacks part the fixed-point network.
type rival struct {
	dataset.Predictor
	products int                 // multiply-accumulates of a step
	others   *windows            // of features that it alone takes; nil: there are none
	outputs  []OutputExtreme     // how far apart both are
	worst    []*dataset.Sequence // per output, with every feature within its recorded range
}

func newRival(p *dataset.Float) *rival {
	r := &rival{Predictor: p}
	for _, l := range p.Net.Recurrent {
		r.products += len(l.W) + len(l.U)
	}
	for _, d := range p.Net.Dense {
		r.products += len(d.W)
	}
	return r
}

// attacker looks for the largest difference in one output.
type attacker struct {
	net     *Network
	rival   *rival
	output  int
	bounds  bounds
	columns []int    // features that a move may set
	others  *windows // recorded steps, which all others follow; nil: no network takes others
	random  *rand.Rand
}

// batches is how many batches one search tries.
func (a *attacker) batches() int {
	products := a.net.Shape().MultiplyAccumulates() + a.rival.products
	work := float64(products) * attackSteps * attackBatch
	return int(max(attackLeast, min(attackMost, attackWork/work)))
}

// climb improves the best of some random attacks and of the given one, and returns
// what parts the networks furthest.
func (a *attacker) climb(given *dataset.Sequence) *parting {
	best := a.worst(&parting{difference: -1}, []attack{wholly(given)})
	batches := a.batches()
	attacks := make([]attack, attackBatch)
	for batch := range batches {
		for i := range attacks {
			if batch <= batches/attackStarts {
				attacks[i] = wholly(a.start())
			} else {
				attacks[i] = a.bounds.move(a.random, best.attack, best.step, a.columns)
			}
		}
		best = a.worst(best, attacks)
	}
	return best
}

// start is a random attack.
func (a *attacker) start() *dataset.Sequence {
	if a.others == nil {
		return a.bounds.random(a.random, attackSteps, a.columns)
	}
	s := a.others.draw(a.random)
	a.bounds.randomise(a.random, s, a.columns)
	return s
}

// parting is an attack and where the networks are furthest apart.
type parting struct {
	attack     *dataset.Sequence
	step       int
	difference float64
	way        way // of the rival
}

// worst runs attacks that were made of the best one, and returns which of them all
// parts the networks furthest.
func (a *attacker) worst(best *parting, attacks []attack) *parting {
	outputs := len(a.net.Outputs)
	compared, fixed := make([]*dataset.Sequence, len(attacks)), make([][]float64, len(attacks))
	for i, s := range attacks {
		compared[i] = &dataset.Sequence{Steps: s.to, X: s.X[:len(s.X)/s.Steps*s.to]}
		fixed[i] = make([]float64, s.to*outputs)
	}
	a.net.PredictAll(compared, fixed)
	next := best
	for i, s := range attacks {
		float := make([]float64, s.to*outputs)
		way := a.rival.follow(compared[i], s.from, best.way, float)
		for step := s.from; step < s.to; step++ {
			at := step*outputs + a.output
			if d := math.Abs(fixed[i][at] - float[at]); d > next.difference {
				next = &parting{s.Sequence, step, d, way}
			}
		}
	}
	return next
}

// way is the states of a float network before every step of an attack, one behind
// the other.
type way []float64

// follow predicts a sequence [steps × outputs] from the first step on at which it
// differs from another one, whose way is given, and returns its own way. A predictor
// that is no float network runs all of it.
func (r *rival) follow(s *dataset.Sequence, from int, other way, dst []float64) way {
	p, ok := r.Predictor.(*dataset.Float)
	if !ok {
		r.Predict(s, dst)
		return nil
	}
	run := p.Net.NewRun()
	var state [][]float64
	size := 0
	for i := range p.Net.Recurrent {
		state = append(state, run.State(i), run.Cell(i))
		size += len(run.State(i)) + len(run.Cell(i))
	}
	own := make(way, s.Steps*size)
	if from > 0 {
		at := copy(own, other[:(from+1)*size]) - size
		for _, v := range state {
			at += copy(v, own[at:])
		}
	}
	p.VisitFrom(from, run, s, func(step int, _ *model.Run, raw []float64) {
		if at := (step + 1) * size; at < len(own) {
			for _, v := range state {
				at += copy(own[at:], v)
			}
		}
		y := dst[step*len(raw) : (step+1)*len(raw)]
		copy(y, raw)
		p.Physical(y)
	})
	return own
}
