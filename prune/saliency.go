package prune

import (
	"context"
	"math"
	"math/bits"
	"math/rand/v2"

	"kerf/dataset"
	"kerf/model/lanes"
)

// segmentSteps is how far derivatives are carried back. Our choice: what a value does later than
// that moves the figures of a ranking little, and the tape of a segment stays below 8 MB with 64
// units.
const segmentSteps = 256

// drawnPerScenario is the least number of draws that the figure of a scenario is the mean of: its
// relative standard error is then about √(2/64)/2 = 9 %.
const drawnPerScenario = 64

// Saliencies scores every kept feature and every hidden unit of a network by the change of the
// outputs when it is held at its mean, to first order: per scenario and output the root mean square
// of the change, in the unit of the output. features has the items of p.Kept, units those of
// [Units]. One run forward and one back for each output scores all items together, where
// [UnitEffects] takes a run for every unit.
//
// The change of an output at step t is the sum over steps s of the derivative of the output at t by
// the value at s, times the distance of the value from its mean. With the outputs of a segment
// weighted by random signs, the derivatives of that one sum are carried back, and the square of the
// sum of derivatives times distances has the sum of the squared changes as its expectation
// (Hutchinson 1990, "A stochastic estimator of the trace of the influence matrix"; values times
// derivatives as scores of units: Mozer and Smolensky 1989, "Skeletonization"). Signs are seeded
// per group of sequences. Every value is moved alone: what others replace of it is
// [Statistics.Unexplained]. The error is that of ctx.
func Saliencies(ctx context.Context, p *dataset.Float, selection *dataset.Recordings,
	prepared *dataset.Prepared) (features, units *Scores, err error) {
	of := map[string]int{}
	for i, name := range selection.Scenarios() {
		of[name] = i
	}
	outputs, items := len(p.Outputs), len(p.Kept)+len(Units(p.Net))
	parts := make([]saliencySums, len(selection.Sequences))
	draws := drawsFor(selection)
	random := map[int]*rand.Rand{}
	for group := range selection.Sequences { // there are no more groups than sequences
		random[group] = rand.New(rand.NewPCG(uint64(group), 0))
		parts[group] = newSaliencySums(items, outputs)
	}
	err = prepared.EachSegment(ctx, p, segmentSteps, func(t *lanes.Tape, s dataset.Segment) {
		parts := lanesOf(parts, s)
		for step := range s.Steps {
			counted := s.Counted(step)
			for lane, part := range parts {
				if counted>>lane&1 == 1 {
					part.counted++
				}
			}
			eachValue(p, t, step, false, func(item int, v, _ []float32) {
				for lane, part := range parts {
					if counted>>lane&1 == 1 {
						part.total[item] += float64(v[lane])
					}
				}
			})
		}
		for o := range outputs {
			for range draws {
				drawSigns(t, s, o, outputs, random[s.Group])
				t.Backward(nil, true)
				addDraw(p, t, s.Steps, o, parts, draws)
			}
		}
	})
	if err != nil {
		return nil, nil, err
	}
	features, units = &Scores{}, &Scores{}
	for _, k := range p.Kept {
		features.Items = append(features.Items, p.Features[k].Name)
	}
	for _, u := range Units(p.Net) {
		units.Items = append(units.Items, UnitName(p.Net, u))
	}
	means := newSaliencySums(items, outputs)
	for i := range parts {
		add(means.total, parts[i].total)
		means.counted += parts[i].counted
	}
	for _, scenario := range selection.Scenarios() {
		sum := newSaliencySums(items, outputs)
		for i, s := range selection.Sequences {
			if s.Scenario == scenario {
				sum.merge(&parts[i])
			}
		}
		for o, output := range p.Outputs {
			values := make([]float64, items)
			for i := range values {
				m := means.total[i] / math.Max(1, means.counted)
				at := i*outputs + o
				square := sum.values[at] - float64(2*m*sum.both[at]) +
					float64(m*m*sum.changes[at])
				values[i] = output.Std * math.Sqrt(math.Max(0, square)/math.Max(1, sum.counted))
			}
			features.Columns = append(features.Columns,
				Column{scenario, output.Name, values[:len(p.Kept)]})
			units.Columns = append(units.Columns,
				Column{scenario, output.Name, values[len(p.Kept):]})
		}
	}
	return features, units, nil
}

// drawsFor returns how many draws every segment takes, so that each scenario has enough.
func drawsFor(selection *dataset.Recordings) int {
	segments := map[string]int{}
	for _, s := range selection.Sequences {
		segments[s.Scenario] += (s.Steps + segmentSteps - 1) / segmentSteps
	}
	draws := 1
	for _, n := range segments {
		draws = max(draws, (drawnPerScenario+n-1)/n)
	}
	return draws
}

// saliencySums has the sums over the segments of one sequence. With the sum v of values times
// derivatives over a segment, and the sum g of derivatives, a value held at its mean m moves the
// drawn outputs by v - m g, whose square follows from the three sums.
type saliencySums struct {
	counted               float64   // steps
	total                 []float64 // of the values [items]
	values, both, changes []float64 // of v², v g and g² [items × outputs]
}

func newSaliencySums(items, outputs int) saliencySums {
	s := saliencySums{total: make([]float64, items)}
	for _, v := range []*[]float64{&s.values, &s.both, &s.changes} {
		*v = make([]float64, items*outputs)
	}
	return s
}

// merge adds the sums of another sequence.
func (s *saliencySums) merge(o *saliencySums) {
	s.counted += o.counted
	add(s.total, o.total)
	add(s.values, o.values)
	add(s.both, o.both)
	add(s.changes, o.changes)
}

// lanesOf returns the sums of the sequences of a segment, lane by lane.
func lanesOf(parts []saliencySums, s dataset.Segment) []*saliencySums {
	var all []*saliencySums
	for _, i := range s.Sequences {
		all = append(all, &parts[i])
	}
	return all
}

// drawSigns weights one output by random signs on the steps that count, and the others by 0.
func drawSigns(t *lanes.Tape, s dataset.Segment, output, outputs int, random *rand.Rand) {
	for step := range s.Steps {
		change := t.Change(step)
		clear(change[:outputs*lanes.Width])
		signs := random.Uint64()
		for set := s.Counted(step); set != 0; set &= set - 1 {
			lane := bits.TrailingZeros8(set)
			change[output*lanes.Width+lane] = float32(int(signs>>lane&1)*2 - 1)
		}
	}
}

// addDraw adds what the derivatives of one draw give to the sums of every lane.
func addDraw(p *dataset.Float, t *lanes.Tape, steps, output int, parts []*saliencySums, draws int) {
	outputs := len(p.Outputs)
	items := len(p.Kept) + len(Units(p.Net))
	v, g := make([][lanes.Width]float64, items), make([][lanes.Width]float64, items)
	for step := range steps {
		eachValue(p, t, step, true, func(item int, value, change []float32) {
			vs, gs := &v[item], &g[item]
			value, change = value[:lanes.Width], change[:lanes.Width]
			for lane, c := range change {
				vs[lane] += float64(float64(value[lane]) * float64(c))
				gs[lane] += float64(c)
			}
		})
	}
	for lane, part := range parts {
		for item := range items {
			at, v, g := item*outputs+output, v[item][lane], g[item][lane]
			part.values[at] += float64(v*v) / float64(draws)
			part.both[at] += float64(v*g) / float64(draws)
			part.changes[at] += float64(g*g) / float64(draws)
		}
	}
}

// eachValue calls do for every feature and unit with its values at a step, and with changes the
// derivatives by them [lanes].
func eachValue(p *dataset.Float, t *lanes.Tape, step int, changes bool,
	do func(item int, value, change []float32)) {
	item := 0
	list := func(values, derivatives []float32, n int) {
		for i := range n {
			at := i * lanes.Width
			if changes {
				do(item, values[at:at+lanes.Width], derivatives[at:at+lanes.Width])
			} else {
				do(item, values[at:at+lanes.Width], nil)
			}
			item++
		}
	}
	list(t.Input(step), t.InputChange(step), len(p.Kept))
	for l, layer := range p.Net.Recurrent {
		list(t.Hidden(l, step), t.HiddenChange(l, step), layer.Units)
	}
}
