package prune

import (
	"kerf/dataset"
	"kerf/model"
)

// game is a network in which players come and go: sets of features or of hidden
// units. While a player is absent, its features or states are those of another
// sequence, the background, over the whole sequence: step by step from its start,
// and from its start again where it ends too early.
type game struct {
	p       *dataset.Float
	names   []string
	feature []int   // player of every feature; nil: features are always there
	units   [][]int // player of every unit, per layer; nil: units are always there
}

// featureGame has one player per distinct name; owner names the player of every
// feature.
func featureGame(p *dataset.Float, owner []string) *game {
	g := &game{p: p}
	seen := map[string]int{}
	for _, name := range owner {
		if _, known := seen[name]; !known {
			seen[name] = len(g.names)
			g.names = append(g.names, name)
		}
		g.feature = append(g.feature, seen[name])
	}
	return g
}

// unitGame has one player per hidden unit, in the order of [Units].
func unitGame(p *dataset.Float) *game {
	g := &game{p: p}
	for l, layer := range p.Net.Recurrent {
		players := make([]int, layer.Units)
		for j := range players {
			players[j] = len(g.names)
			g.names = append(g.names, UnitName(p.Net, Unit{l, j}))
		}
		g.units = append(g.units, players)
	}
	return g
}

// course is one sequence as the network sees it.
type course struct {
	steps  int
	x      []float64   // normalised features [steps × features]
	states [][]float64 // per layer [steps × units]; nil where no player is a unit
}

func (g *game) course(s *dataset.Sequence) *course {
	features := len(g.p.Features)
	c := &course{steps: s.Steps, x: make([]float64, s.Steps*features)}
	for step := range s.Steps {
		g.p.Normalise(s.X[step*features:(step+1)*features], c.x[step*features:(step+1)*features])
	}
	if g.units == nil {
		return c
	}
	c.states = make([][]float64, len(g.units))
	g.p.Visit(s, func(_ int, run *model.Run, _ []float64) {
		for l := range c.states {
			c.states[l] = append(c.states[l], run.State(l)...)
		}
	})
	return c
}

// table plays one sequence against backgrounds, with memory of its own.
type table struct {
	*game
	run  *model.Run
	x, y []float64 // one step
}

func (g *game) newTable() *table {
	return &table{game: g, run: g.p.Net.NewRun(), x: make([]float64, len(g.p.Features)), y: make([]float64, len(g.p.Outputs))}
}

// play writes the outputs of a sequence, raw times their std [steps × outputs],
// with some players present.
func (t *table) play(c, background *course, present []bool, dst []float64) {
	t.run.Reset()
	step, from := 0, 0
	hold := func(layer int, state []float64) {
		others := background.states[layer][from*len(state) : (from+1)*len(state)]
		for j, player := range t.units[layer] {
			if !present[player] {
				state[j] = others[j]
			}
		}
	}
	if t.units == nil {
		hold = nil
	}
	features, outputs := len(t.x), len(t.y)
	for step = range c.steps {
		from = step % background.steps
		copy(t.x, c.x[step*features:(step+1)*features])
		for i, player := range t.feature {
			if !present[player] {
				t.x[i] = background.x[from*features+i]
			}
		}
		t.run.StepWith(t.x, t.y, hold)
		for o, v := range t.y {
			dst[step*outputs+o] = v * t.p.Outputs[o].Std
		}
	}
}
