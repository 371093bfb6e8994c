package quant

import (
	"context"
	"math"
	"math/rand/v2"

	"kerf/dataset"
	"kerf/model"
)

// An attack is a sequence of inputs that a search makes worse, move by move. A move sets some
// features, over one block of steps or over all, to a value within their range, mostly an end of
// it.
//
// The sizes are our choice: with them the searches of the demo take 1.5 to 1.9 s of processor time
// and find more than as many random attacks do, see [Network.Extremes].
const (
	attackSteps  = 256  // steps of an attack at most; both networks begin at the zero state
	attackBlock  = 16   // steps that a value is held in a random attack, and at most in a move
	attackBatch  = 8    // moves that are tried side by side, of which the best is taken
	attackWork   = 16e8 // multiply-accumulates of one search if all attacks ran to their end
	attackLeast  = 8    // batches that a search tries at least, however large the networks
	attackMost   = 128  // batches that a search tries at most: 1024 attacks
	attackStarts = 16   // one batch in so many, and one more, is random; the others climb
	rangeSteps   = 48   // steps of an attack on accumulators: fast units need a block to their ends
	rangeBatches = 100  // attacks on the accumulators of each matrix
)

// attackBefore holds how many steps before the largest difference a move begins at most. Each move
// takes one of these: some differences follow at once, others after long memory.
var attackBefore = []int{4, 16, 48, 128}

// rival is a float network that the integer network is compared with, and from which attacks
// separate it.
type rival struct {
	dataset.Predictor
	products int                 // multiply-accumulates of a step
	others   *windows            // recorded steps, for features that it alone takes; nil: none
	outputs  []OutputExtreme     // how far apart both networks are
	worst    []*dataset.Sequence // per output, with every feature within its recorded range
}

// newRival returns a rival whose differences are not known yet.
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

// attacker searches for the largest difference in one output.
type attacker struct {
	net     *Network
	rival   *rival
	output  int
	bounds  bounds
	columns []int    // features that a move may set
	others  *windows // recorded steps, which all other features follow; nil: there are none
	random  *rand.Rand
}

// batches returns how many batches of attacks one search tries: as many as attackWork allows.
func (a *attacker) batches() int {
	products := a.net.Shape().MultiplyAccumulates() + a.rival.products
	work := float64(products) * attackSteps * attackBatch
	return int(max(attackLeast, min(attackMost, attackWork/work)))
}

// climb improves the best of some random attacks and of the given attack, and returns the attack
// with the largest difference. When ctx ends it returns the best so far.
func (a *attacker) climb(ctx context.Context, given *dataset.Sequence) *separation {
	best := a.worst(&separation{difference: -1}, []attack{wholeAttack(given)})
	batches := a.batches()
	attacks := make([]attack, attackBatch)
	for batch := range batches {
		if ctx.Err() != nil {
			break
		}
		for i := range attacks {
			if batch <= batches/attackStarts {
				attacks[i] = wholeAttack(a.start())
			} else {
				attacks[i] = a.bounds.move(a.random, best.attack, best.step, a.columns)
			}
		}
		best = a.worst(best, attacks)
	}
	return best
}

// start returns a random attack.
func (a *attacker) start() *dataset.Sequence {
	if a.others == nil {
		return a.bounds.random(a.random, attackSteps, a.columns)
	}
	s := a.others.draw(a.random)
	a.bounds.randomise(a.random, s, a.columns)
	return s
}

// separation is an attack, and the step at which it separates the networks furthest.
type separation struct {
	attack     *dataset.Sequence
	step       int
	difference float64    // magnitude, in the physical unit of the output
	path       trajectory // of the rival
}

// worst runs attacks that were made of the best attack so far, and returns the largest separation
// of all of them.
func (a *attacker) worst(best *separation, attacks []attack) *separation {
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
		path := a.rival.predictFrom(compared[i], s.from, best.path, float)
		for step := s.from; step < s.to; step++ {
			at := step*outputs + a.output
			if d := math.Abs(fixed[i][at] - float[at]); d > next.difference {
				next = &separation{s.Sequence, step, d, path}
			}
		}
	}
	return next
}

// trajectory holds the states of a float network before every step of an attack, one behind the
// other.
type trajectory []float64

// predictFrom predicts a sequence from step from on, where it begins to differ from another
// sequence whose trajectory is given. It fills dst [steps × outputs] from that step on and returns
// the trajectory of s. A predictor that is no float network runs the whole sequence and has no
// trajectory.
func (r *rival) predictFrom(s *dataset.Sequence, from int, other trajectory,
	dst []float64) trajectory {
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
	own := make(trajectory, s.Steps*size)
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
