package prune

import (
	"math"
	"sort"

	"kerf/dataset"
	"kerf/model"
)

// Observed says what the hidden units of a network do over recordings.
type Observed struct {
	Layers []LayerView
	Events []Event
}

// LayerView says what the units of one recurrent layer do.
type LayerView struct {
	Kind  model.Kind
	Units []UnitView
	// Correlation has the correlations of the states [units × units]; NaN where one is constant.
	Correlation [][]float64
	// Dimensions is the participation ratio of the covariance C of the states,
	// (trace C)² / trace C²: the number of units if they vary alike and
	// independently of each other, 1 if all carry one signal (Gao et al. 2017, "A
	// theory of multineuronal dimensionality, dynamics and measurement").
	Dimensions float64
}

// UnitView says what one unit does.
type UnitView struct {
	Name                string
	Min, Max, Mean, Std float64 // of the state
	Positive            float64 // share of steps with a state above 0
	// Saturated is the share of steps at an end of the range; NaN for ReLU, which has none.
	Saturated float64
	// TimeConstant is in steps, from the unit's own feedback alone; +Inf if that does not decay.
	TimeConstant float64
	// Correlation is that of the state with the reference of every output; NaN if one is constant.
	Correlation []float64
	Overlaps    []Overlap // per event
}

// Event is a set of steps that a unit may respond to: the lowest or highest quarter of an output, a
// class, or a region, by the reference values.
type Event struct {
	Name  string  // in words
	Of    string  // the output, class or region
	Share float64 // of all steps
}

// Overlap says how well the sign of a unit's state tells an event: steps with both over steps with
// either (intersection over union, Bau et al. 2017, "Network dissection").
type Overlap struct {
	IoU      float64 // for the sign with the larger one
	Positive bool    // that sign: above 0, or not
}

const (
	// saturation is the magnitude from which a state counts as at an end of its range: there tanh
	// has less than a tenth of its slope at 0, 1 - 0.95² = 0.0975.
	saturation = 0.95
	// eventShare is the share of an output's distribution that counts as low or as high (our
	// choice).
	eventShare = 0.25
)

// condition is an event with the test that finds it in the reference values of a step.
type condition struct {
	name, of string
	is       func(y []float64) bool
}

// conditions returns the events of the outputs and the regions.
func conditions(p *dataset.Float, rec *dataset.Recordings, regions []dataset.Region) []condition {
	var all []condition
	for o, output := range p.Outputs {
		if p.Classes {
			is := func(y []float64) bool { return y[o] == 1 }
			all = append(all, condition{output.Name, output.Name, is})
			continue
		}
		var values []float64
		for _, s := range rec.Sequences {
			for step := range s.Steps {
				values = append(values, s.Y[step*rec.Outputs+o])
			}
		}
		sort.Float64s(values)
		low, high := values[int(eventShare*float64(len(values)-1))],
			values[int((1-eventShare)*float64(len(values)-1))]
		isLow := func(y []float64) bool { return y[o] <= low }
		isHigh := func(y []float64) bool { return y[o] >= high }
		all = append(all, condition{"low " + output.Name, output.Name, isLow},
			condition{"high " + output.Name, output.Name, isHigh})
	}
	for _, region := range regions {
		all = append(all, condition{"region " + region.Name, region.Name, region.Contains})
	}
	return all
}

// layerSums is what one sequence adds to the view of a layer.
type layerSums struct {
	moments  *gram // of the states, and behind them the reference outputs
	min, max []float64
	positive []float64 // steps with a state above 0
	ends     []float64 // steps at an end of the range
	feedback []float64 // sums of the share of its state that a unit carries over
	both     []float64 // steps with a positive state and the event [units × events]
}

// newLayerSums returns sums over no step.
func newLayerSums(l *model.Recurrent, outputs, events int) *layerSums {
	s := &layerSums{moments: newGram(l.Units + outputs)}
	for _, v := range []*[]float64{&s.min, &s.max, &s.positive, &s.ends, &s.feedback} {
		*v = make([]float64, l.Units)
	}
	for j := range s.min {
		s.min[j], s.max[j] = math.Inf(1), math.Inf(-1)
	}
	s.both = make([]float64, l.Units*events)
	return s
}

// merge adds the steps of another sequence.
func (s *layerSums) merge(o *layerSums) {
	s.moments.merge(o.moments)
	for j := range s.min {
		s.min[j], s.max[j] = math.Min(s.min[j], o.min[j]), math.Max(s.max[j], o.max[j])
	}
	add(s.positive, o.positive)
	add(s.ends, o.ends)
	add(s.feedback, o.feedback)
	add(s.both, o.both)
}

// step adds one step: the state in run, the reference y, and per event whether it happens.
func (s *layerSums) step(l *model.Recurrent, run *model.Run, layer int, y []float64,
	happens []bool) {
	state := run.State(layer)
	s.moments.add(state, y)
	for j, h := range state {
		s.min[j], s.max[j] = math.Min(s.min[j], h), math.Max(s.max[j], h)
		if math.Abs(h) >= saturation {
			s.ends[j]++
		}
		s.feedback[j] += carried(l, run, layer, j)
		if h <= 0 {
			continue
		}
		s.positive[j]++
		for e, now := range happens {
			if now {
				s.both[j*len(happens)+e]++
			}
		}
	}
}

// carried returns the share of its state that a unit carries over a step by itself: the update gate
// of a GRU, the forget gate of an LSTM, the slope of its activation times its own recurrent weight
// of an Elman unit.
func carried(l *model.Recurrent, run *model.Run, layer, unit int) float64 {
	own := l.U[unit*l.Units+unit]
	h := run.State(layer)[unit]
	switch l.Kind {
	case model.ElmanTanh:
		return own * (1 - float64(h*h))
	case model.ElmanReLU:
		if h > 0 {
			return own
		}
		return 0
	}
	return run.Gate(layer, 1)[unit] // the second gate of a GRU and of an LSTM
}

// Observe runs the network over recordings, which need reference values. The time constant of a
// unit is 1/(1 - the mean share of its state that it carries over).
func Observe(p *dataset.Float, rec *dataset.Recordings, regions []dataset.Region) *Observed {
	events := conditions(p, rec, regions)
	parts := make([][]*layerSums, len(rec.Sequences))
	shares := make([][]float64, len(rec.Sequences))
	dataset.EachSequence(rec, func(i int, s *dataset.Sequence) {
		for _, l := range p.Net.Recurrent {
			parts[i] = append(parts[i], newLayerSums(l, rec.Outputs, len(events)))
		}
		shares[i] = make([]float64, len(events))
		happens := make([]bool, len(events))
		p.Visit(s, func(step int, run *model.Run, _ []float64) {
			y := s.Y[step*rec.Outputs : (step+1)*rec.Outputs]
			for e, c := range events {
				if happens[e] = c.is(y); happens[e] {
					shares[i][e]++
				}
			}
			for l, layer := range p.Net.Recurrent {
				parts[i][l].step(layer, run, l, y, happens)
			}
		})
	})
	o := &Observed{}
	counts := make([]float64, len(events))
	for _, s := range shares {
		add(counts, s)
	}
	for e, c := range events {
		o.Events = append(o.Events, Event{c.name, c.of, counts[e] / float64(rec.Steps())})
	}
	for l, layer := range p.Net.Recurrent {
		sum := newLayerSums(layer, rec.Outputs, len(events))
		for _, part := range parts {
			sum.merge(part[l])
		}
		o.Layers = append(o.Layers, sum.view(p.Net, l, rec.Outputs, counts))
	}
	return o
}

// view turns sums into the view of a layer; events has the number of steps of each event.
func (s *layerSums) view(net *model.Network, layer, outputs int, events []float64) LayerView {
	l := net.Recurrent[layer]
	steps := s.moments.steps()
	v := LayerView{Kind: l.Kind}
	for j := range l.Units {
		u := UnitView{
			Name: UnitName(net, Unit{layer, j}),
			Min:  s.min[j], Max: s.max[j], Mean: s.moments.mean(j),
			Std:      math.Sqrt(math.Max(0, s.moments.covariance(j, j))),
			Positive: s.positive[j] / steps, Saturated: s.ends[j] / steps,
			TimeConstant: math.Inf(1),
		}
		if l.Kind == model.ElmanReLU {
			u.Saturated = math.NaN()
		}
		if share := s.feedback[j] / steps; share < 1 {
			u.TimeConstant = 1 / (1 - share)
		}
		for o := range outputs {
			u.Correlation = append(u.Correlation, s.moments.correlation(j, l.Units+o))
		}
		for e, count := range events {
			u.Overlaps = append(u.Overlaps,
				overlap(steps, s.positive[j], count, s.both[j*len(events)+e]))
		}
		row := make([]float64, l.Units)
		for k := range row {
			row[k] = s.moments.correlation(j, k)
		}
		v.Units, v.Correlation = append(v.Units, u), append(v.Correlation, row)
	}
	v.Dimensions = s.moments.dimensions(AllUnits(net)[layer])
	return v
}

// dimensions returns the participation ratio of some values, see [LayerView.Dimensions]; 0 where
// none moves.
func (g *gram) dimensions(values []int) float64 {
	trace, square := 0.0, 0.0
	for _, j := range values {
		for _, k := range values {
			c := g.covariance(j, k)
			square += float64(c * c)
		}
		trace += g.covariance(j, j)
	}
	if square == 0 {
		return 0
	}
	return trace * trace / square
}

// overlap returns the overlap from counts of steps: all, with a positive state, with the event,
// with both.
func overlap(steps, positive, event, both float64) Overlap {
	share := func(common, either float64) float64 {
		if either == 0 {
			return 0
		}
		return common / either
	}
	on := share(both, positive+event-both)
	negative, common := steps-positive, event-both
	if off := share(common, negative+event-common); off > on {
		return Overlap{off, false}
	}
	return Overlap{on, true}
}

// correlation returns the correlation of values i and j; NaN where one of them is constant.
func (g *gram) correlation(i, j int) float64 {
	a, b := g.covariance(i, i), g.covariance(j, j)
	if !(a > g.least(i)) || !(b > g.least(j)) {
		return math.NaN()
	}
	return max(-1, min(1, g.covariance(i, j)/math.Sqrt(a*b)))
}

// least returns the variance that rounding alone leaves of a constant: some units in the last place
// of its mean square.
func (g *gram) least(i int) float64 {
	const roundings = 1e-12
	return roundings * g.sum.At(i, i) / g.steps()
}
