package prune

import (
	"slices"

	"kerf/dataset"
	"kerf/model/lanes"
)

// game is a network in which players come and go: groups of features, or hidden units. While a
// player is absent, its features or states are those of another sequence, the background, over the
// whole sequence: step by step from its start, and from its start again where the background ends
// too early.
type game struct {
	p       *dataset.Float
	names   []string
	feature []int   // player of every feature; nil: features are always there
	units   [][]int // player of every unit, per layer; nil: units are always there
}

// featureGame returns a game with one player per distinct name; owner names the player of every
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

// unitGame returns a game with one player per hidden unit, in the order of [Units].
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

// course is one sequence as the network sees it, in float32.
type course struct {
	steps  int
	x      []float32   // normalised features [steps × features]
	states [][]float32 // per layer [steps × units]; nil where no player is a unit
}

// coalition is a set of players that are present, against a background for the others.
type coalition struct {
	background *course
	present    []bool
}

// simulator runs the network of a game with memory of its own, up to eight coalitions side by side.
type simulator struct {
	*game
	state   *lanes.State
	outputs int
}

// newSimulator compiles the network.
func (g *game) newSimulator() *simulator {
	return &simulator{game: g, state: lanes.Compile(g.p.Net).NewState(), outputs: len(g.p.Outputs)}
}

// courses returns the courses of sequences, of each the first steps, most at most.
func (t *simulator) courses(sequences []*dataset.Sequence, most int) []*course {
	var all []*course
	for together := range slices.Chunk(sequences, lanes.Width) {
		courses := make([]*course, len(together))
		for lane, s := range together {
			courses[lane] = t.withoutStates(s, min(most, s.Steps))
		}
		if t.units != nil {
			t.fillStates(courses)
		}
		all = append(all, courses...)
	}
	return all
}

// withoutStates returns the course of the first steps of a sequence, without states.
func (t *simulator) withoutStates(s *dataset.Sequence, steps int) *course {
	features := len(t.p.Features)
	c := &course{steps: steps, x: make([]float32, 0, steps*features)}
	x := make([]float64, features)
	for step := range steps {
		t.p.Normalise(s.X[step*features:(step+1)*features], x)
		for _, v := range x {
			c.x = append(c.x, float32(v))
		}
	}
	return c
}

// fillStates adds the states to up to eight courses, by running the network.
func (t *simulator) fillStates(courses []*course) {
	longest := 0
	for _, c := range courses {
		longest = max(longest, c.steps)
		for _, players := range t.units {
			c.states = append(c.states, make([]float32, c.steps*len(players)))
		}
	}
	features := len(t.p.Features)
	t.state.Reset()
	for step := range longest {
		for lane, c := range courses {
			if step < c.steps {
				for i, x := range c.x[step*features : (step+1)*features] {
					t.state.Input()[i*lanes.Width+lane] = x
				}
			}
		}
		t.state.Step()
		for layer, players := range t.units {
			state := t.state.Hidden(layer)
			for lane, c := range courses {
				if step < c.steps {
					for j := range players {
						c.states[layer][step*len(players)+j] = state[j*lanes.Width+lane]
					}
				}
			}
		}
	}
}

// play returns the outputs of a sequence for every coalition, raw times their std [steps ×
// outputs], computed in float32.
func (t *simulator) play(c *course, coalitions ...coalition) [][]float64 {
	all := make([][]float64, 0, len(coalitions))
	for together := range slices.Chunk(coalitions, lanes.Width) {
		all = append(all, t.playTogether(c, together)...)
	}
	return all
}

// playTogether is play for up to eight coalitions.
func (t *simulator) playTogether(c *course, coalitions []coalition) [][]float64 {
	features := len(t.p.Features)
	all := make([][]float64, len(coalitions))
	for lane := range all {
		all[lane] = make([]float64, 0, c.steps*t.outputs)
	}
	t.state.Reset()
	for step := range c.steps {
		own := c.x[step*features : (step+1)*features]
		for lane, played := range coalitions {
			from := step % played.background.steps
			others := played.background.x[from*features : (from+1)*features]
			for i, x := range own {
				if t.feature != nil && !played.present[t.feature[i]] {
					x = others[i]
				}
				t.state.Input()[i*lanes.Width+lane] = x
			}
		}
		t.state.StepWith(t.holding(step, coalitions))
		y := t.state.Output()
		for lane := range all {
			for o, out := range t.p.Outputs {
				all[lane] = append(all[lane], float64(y[o*lanes.Width+lane])*out.Std)
			}
		}
	}
	return all
}

// holding returns a function that sets the states of absent units to those of the background at a
// step; nil where no player is a unit.
func (t *simulator) holding(step int, coalitions []coalition) func(layer int, state []float32) {
	if t.units == nil {
		return nil
	}
	return func(layer int, state []float32) {
		players := t.units[layer]
		for lane, played := range coalitions {
			from := step % played.background.steps
			others := played.background.states[layer][from*len(players) : (from+1)*len(players)]
			for j, player := range players {
				if !played.present[player] {
					state[j*lanes.Width+lane] = others[j]
				}
			}
		}
	}
}
