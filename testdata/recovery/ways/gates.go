package main

import (
	"math"
	"math/rand/v2"

	"kerf/dataset"
	"kerf/model"
)

// Constants of the hard-concrete distribution, as its authors give them (Louizos, Welling and
// Kingma 2018, arXiv:1712.01312, section 4): temperature and the ends of the stretched interval.
const (
	temperature = 2.0 / 3
	lowEnd      = -0.1
	highEnd     = 1.1
)

// Our choices, made so that the gates close in the time that they have; no loss was looked at.
const (
	startOpen  = 2.0  // log alpha of a gate at the start: open with a probability of 0.97
	mostOpen   = 3.0  // log alpha is at most this and at least leastOpen, so that no gate is
	leastOpen  = -6.0 // beyond reach: open with probabilities of 0.99 and 0.01
	gateRate   = 0.02 // of Adam for log alpha
	pressure   = 0.07 // rise of the penalty per update and surplus share of open gates
	closeUntil = 0.7  // share of the work in which the wanted number falls from all to what is kept
)

// gates is a network whose units are multiplied, where they are read, by gates that are drawn anew
// for every update. The penalty on the expected number of open gates of a layer is a Lagrange
// multiplier that rises while there are more than wanted (Wang, Wohlwend and Lei 2020,
// arXiv:1910.04732, section 3.3), since the number of units is given here.
type gates struct {
	p       *dataset.Float
	counts  []int
	random  *rand.Rand
	alphas  [][]float64 // log alpha by layer and unit
	drawn   [][]float64 // gates of the update
	by      [][]float64 // their derivatives by log alpha
	slope   [][]float64 // of the loss by log alpha
	penalty []float64   // by layer
	adam    *adam
}

func newGates(p *dataset.Float, counts []int, seed uint64) *gates {
	g := &gates{p: withNet(p, p.Net.Clone()), counts: counts,
		random: rand.New(rand.NewPCG(seed, 3)), penalty: make([]float64, len(counts))}
	for _, l := range p.Net.Recurrent {
		alphas := make([]float64, l.Units)
		for j := range alphas {
			alphas[j] = startOpen
		}
		g.alphas = append(g.alphas, alphas)
	}
	g.drawn, g.by, g.slope = zeros(g.alphas), zeros(g.alphas), zeros(g.alphas)
	g.adam = newAdam(g.alphas)
	return g
}

func logistic(x float64) float64 { return 1 / (1 + math.Exp(-x)) }

// predictor has every gate at its value without noise.
func (g *gates) predictor() *dataset.Float {
	q := withNet(g.p, g.p.Net.Clone())
	for l, alphas := range g.alphas {
		for j, a := range alphas {
			z := min(1, max(0, logistic(a)*(highEnd-lowEnd)+lowEnd))
			for _, w := range readers(q.Net, l, j) {
				*w *= z
			}
		}
	}
	return q
}

func (g *gates) weights() [][]float64 { return g.p.Net.Values() }

func (g *gates) effective(to *model.Network) {
	copyAll(to.Values(), g.p.Net.Values())
	for l, alphas := range g.alphas {
		for j, a := range alphas {
			u := min(max(g.random.Float64(), 1e-6), 1-1e-6)
			s := logistic((math.Log(u/(1-u)) + a) / temperature)
			stretched := s*(highEnd-lowEnd) + lowEnd
			g.drawn[l][j], g.by[l][j] = min(1, max(0, stretched)), 0
			if stretched > 0 && stretched < 1 {
				g.by[l][j] = (highEnd - lowEnd) * s * (1 - s) / temperature
			}
			for _, w := range readers(to, l, j) {
				*w *= g.drawn[l][j]
			}
		}
	}
}

func (g *gates) slopes(by *model.Network, to [][]float64) {
	for l, alphas := range g.alphas {
		for j := range alphas {
			sum, own := 0.0, readers(g.p.Net, l, j)
			for i, w := range readers(by, l, j) {
				sum += *w * *own[i]
				*w *= g.drawn[l][j]
			}
			g.slope[l][j] = sum * g.by[l][j]
		}
	}
	copyAll(to, by.Values())
}

// updated moves the gates.
func (g *gates) updated(_, done float64) {
	for l, alphas := range g.alphas {
		n := float64(len(alphas))
		wanted := n - (n-float64(g.counts[l]))*min(1, done/closeUntil)
		open := 0.0
		for j, a := range alphas {
			share := logistic(a - temperature*math.Log(-lowEnd/highEnd))
			open += share
			g.slope[l][j] += g.penalty[l] * share * (1 - share)
		}
		g.penalty[l] += pressure * (open - wanted) / n
	}
	g.adam.update(g.alphas, g.slope, gateRate)
	for _, alphas := range g.alphas {
		for j, a := range alphas {
			alphas[j] = min(mostOpen, max(leastOpen, a))
		}
	}
}

// cut keeps the units whose gates are most open.
func (g *gates) cut(d *data) *dataset.Float {
	units := make([][]int, len(g.counts))
	for l, n := range g.counts {
		units[l] = largest(g.alphas[l], n)
	}
	return cutFrom(d, g.predictor(), units)
}
