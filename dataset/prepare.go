package dataset

import (
	"context"
	"slices"

	"kerf/model/lanes"
)

// Prepared holds recordings in the layout in which searches score many candidates: normalised, in
// float32, eight sequences side by side (package lanes). The layout takes 4 bytes per value of the
// recordings, beside the 8 that are in memory anyway; the states and sums of a candidate do not
// grow with the length of the recordings.
type Prepared struct {
	rec      *Recordings
	regions  []Region
	features []Feature
	outputs  []Output
	groups   []group
}

// group is up to eight sequences, one per lane, the longest first. A lane whose sequence has ended
// holds zeros.
type group struct {
	sequences []int     // per lane: the index in the recordings
	lengths   []int     // per lane: the number of steps
	settle    []int     // per lane: the first steps whose errors do not count
	settled   int       // the largest of settle
	x         []float32 // normalised features [steps × features × lanes]
	y         []float32 // reference: normalised outputs [steps × outputs × lanes]
	// lanes whose step lies in a region [steps × regions]; lane 0 is the lowest bit
	within []uint8
}

func (g *group) steps() int { return g.lengths[0] }

// counted returns the set of lanes whose errors at a step count; lane 0 is the lowest bit. The
// sequences of the first active lanes have not ended.
func (g *group) counted(step, active int) uint8 {
	set := uint8(1<<active - 1)
	if step < g.settled {
		for lane, settle := range g.settle {
			if step < settle {
				set &^= 1 << lane
			}
		}
	}
	return set
}

// Prepare lays out recordings for candidates with the features and outputs of f.
func Prepare(f *Float, rec *Recordings, regions []Region) *Prepared {
	p := &Prepared{rec: rec, regions: regions, features: f.Features, outputs: f.Outputs}
	for _, sequences := range batches(rec) {
		p.groups = append(p.groups, group{sequences: sequences})
	}
	InParallel(len(p.groups), func(i int) { p.lay(&p.groups[i]) })
	return p
}

// lay fills a group whose sequences are known.
func (p *Prepared) lay(g *group) {
	for _, i := range g.sequences {
		s := p.rec.Sequences[i]
		g.lengths, g.settle = append(g.lengths, s.Steps), append(g.settle, s.Settle)
		g.settled = max(g.settled, s.Settle)
	}
	features, outputs, regions := len(p.features), len(p.outputs), len(p.regions)
	g.x = make([]float32, g.steps()*features*lanes.Width)
	g.y = make([]float32, g.steps()*outputs*lanes.Width)
	g.within = make([]uint8, g.steps()*regions)
	for lane, i := range g.sequences {
		s := p.rec.Sequences[i]
		for step := range s.Steps {
			for k, v := range s.X[step*features : (step+1)*features] {
				g.x[(step*features+k)*lanes.Width+lane] = float32((v - p.features[k].Mean) /
					p.features[k].Std)
			}
			if len(s.Y) == 0 {
				continue // no reference values: EachStep needs none
			}
			y := s.Y[step*outputs : (step+1)*outputs]
			for o, v := range y {
				g.y[(step*outputs+o)*lanes.Width+lane] = float32((v - p.outputs[o].Mean) /
					p.outputs[o].Std)
			}
			for r, region := range p.regions {
				if region.Contains(y) {
					g.within[step*regions+r] |= 1 << lane
				}
			}
		}
	}
}

// Against returns the same recordings with the predictions of a network as their reference. The
// scores of a classifier are then compared as plain numbers, not as classes.
func (p *Prepared) Against(f *Float) *Prepared {
	p.mustFit(f)
	against, rec := *p, *p.rec
	rec.Classes = false
	against.rec, against.groups = &rec, slices.Clone(p.groups)
	program := lanes.Compile(f.Net)
	InParallel(len(against.groups), func(i int) {
		g, state := &against.groups[i], program.NewState()
		g.y = make([]float32, 0, g.steps()*len(p.outputs)*lanes.Width)
		for step := range g.steps() {
			p.step(state, f, g, step)
			g.y = append(g.y, state.Output()...)
		}
	})
	return &against
}

// Score measures one candidate, as [Prepared.ScoreAll] does.
func (p *Prepared) Score(f *Float) *Score {
	scores, _ := p.ScoreAll(context.Background(), []*Float{f}) // which does not end
	return scores[0]
}

// ScoreAll measures candidates as [Measure] does, several times as fast: it deals candidates ×
// groups of eight sequences to all cores. The networks have the features and outputs that the
// recordings were prepared for; each may take some of the features.
//
// It computes in float32, which serves to choose between candidates: a figure for a report comes
// from [Measure]. The result depends neither on the number of cores nor on the machine.
// The error is that of ctx.
func (p *Prepared) ScoreAll(ctx context.Context, candidates []*Float) ([]*Score, error) {
	scores := make([]*Score, len(candidates))
	programs := make([]*lanes.Program, len(candidates))
	for i, f := range candidates {
		p.mustFit(f)
		programs[i] = lanes.Compile(f.Net)
		scores[i] = newScore(p.rec, len(p.regions))
	}
	err := InParallelUntil(ctx, len(candidates)*len(p.groups), func(job int) {
		i, g := job%len(candidates), &p.groups[job/len(candidates)]
		p.run(programs[i].NewState(), candidates[i], g, scores[i])
	})
	if err != nil {
		return nil, err
	}
	return scores, nil
}

// run scores a network on a group.
func (p *Prepared) run(state *lanes.State, f *Float, g *group, score *Score) {
	outputs := len(p.outputs) * lanes.Width
	sums := newGroupSums(p, g)
	for step := range g.steps() {
		p.step(state, f, g, step)
		sums.add(step, state.Output(), g.y[step*outputs:(step+1)*outputs])
		if last := step == g.steps()-1; last || score.piece > 0 && (step+1)%score.piece == 0 {
			sums.store(score, step)
		}
	}
}

// step advances a group by one time step.
func (p *Prepared) step(state *lanes.State, f *Float, g *group, step int) {
	p.fill(state.Input(), f, g, step)
	state.Step()
}

// fill copies the features that a network takes, of one time step, to in [Kept × lanes].
func (p *Prepared) fill(in []float32, f *Float, g *group, step int) {
	features := len(p.features) * lanes.Width
	x := g.x[step*features : (step+1)*features]
	for i := 0; i < len(f.Kept); { // features that stand side by side are copied together
		first, k := i, f.Kept[i]
		for i < len(f.Kept) && f.Kept[i]-k == i-first {
			i++
		}
		copy(in[first*lanes.Width:i*lanes.Width], x[k*lanes.Width:])
	}
}

// EachStep runs a network over all sequences, on all cores, up to eight side by side. For each such
// group it calls begin with the sequences, one per lane, the longest first, and then after every
// step what begin returned: with the number of lanes whose sequence has not ended, which are the
// first ones, and with the state, which the next step overwrites. Calls for different groups may
// come at once. The states have the precision of float32.
func (p *Prepared) EachStep(f *Float,
	begin func(sequences []int) func(step, active int, state *lanes.State)) {
	p.mustFit(f)
	program := lanes.Compile(f.Net)
	InParallel(len(p.groups), func(i int) {
		g, state := &p.groups[i], program.NewState()
		after := begin(g.sequences)
		active := len(g.lengths)
		for step := range g.steps() {
			for g.lengths[active-1] <= step {
				active--
			}
			p.step(state, f, g, step)
			after(step, active, state)
		}
	})
}

// mustFit panics if the recordings were prepared for other features or outputs.
func (p *Prepared) mustFit(f *Float) {
	if !slices.Equal(f.Features, p.features) || !slices.Equal(f.Outputs, p.outputs) {
		panic("dataset: a candidate has other features or outputs than the recordings were " +
			"prepared for")
	}
}

// Segment is a part of up to eight sequences, one per lane, that a tape holds.
type Segment struct {
	Sequences []int // per lane: the index in the recordings
	Steps     int
	Group     int // number of the eight sequences; its segments come in the order of their steps

	group *group
	first int
}

// Counted returns the set of lanes whose errors at a step of the segment count; lane 0 is the
// lowest bit.
func (s Segment) Counted(step int) uint8 {
	at, active := s.first+step, 0
	for active < len(s.group.lengths) && s.group.lengths[active] > at {
		active++
	}
	return s.group.counted(at, active)
}

// EachSegment runs a network over all sequences, on all cores, in segments of at most so many
// steps. After each it calls work with a tape that holds the segment. Calls for one group of
// sequences come in order; calls for different groups may come at once. The error is that of ctx.
func (p *Prepared) EachSegment(ctx context.Context, f *Float, most int,
	work func(t *lanes.Tape, s Segment)) error {
	p.mustFit(f)
	return InParallelUntil(ctx, len(p.groups), func(i int) {
		g := &p.groups[i]
		tape := lanes.NewTape(f.Net, min(most, g.steps()))
		for first := 0; first < g.steps(); first += most {
			s := Segment{g.sequences, min(most, g.steps()-first), i, g, first}
			for step := range s.Steps {
				p.fill(tape.Input(step), f, g, first+step)
			}
			tape.Forward(s.Steps)
			work(tape, s)
		}
	})
}
