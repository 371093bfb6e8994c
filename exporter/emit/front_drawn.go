package emit

import (
	"math"
	"math/bits"
	"math/rand/v2"
	"slices"

	"kerf/frontend"
)

const (
	// mostSkipped bounds the windows that are run to get to the end of a baseline. Our choice:
	// about three seconds on an 8-bit core.
	mostSkipped = 1000
	// mostSamples bounds the samples of these windows, and those of windows that are drawn. Our
	// choice: as many as a thousand windows of 64 have.
	mostSamples = 1 << 16
	// baselineSteps are compared about the end of a baseline: two of it, and two behind.
	baselineSteps = 4
)

// baselineEnds returns windows about the steps at which baselines freeze, in one run from a reset.
// A baseline that takes too long is left out.
func (v *FrontVectors) baselineEnds(n *frontend.Integer) []FrontWindow {
	var ends []int
	for c := range n.Channels {
		if n.Channels[c].BaseSteps > 0 {
			ends = append(ends, n.Channels[c].BaseSteps)
		}
	}
	slices.Sort(ends)
	wave := Middle
	if len(v.Recorded) > 0 {
		wave = Recorded
	}
	// The less noise, the less is limited; the more, the more a wrong step shows.
	for width := 14; ; width-- {
		var windows []FrontWindow
		done := 0
		for _, end := range slices.Compact(ends) {
			skip := end - baselineSteps/2 - done
			if skip > mostSkipped || skip*n.Front.Sampling.Samples > mostSamples {
				break
			}
			if skip > 0 {
				windows = append(windows, FrontWindow{Wave: wave, Skip: skip - 1})
				done += skip
			}
			for ; done < end+baselineSteps/2; done++ {
				windows = append(windows, FrontWindow{Wave: wave,
					Seed: uint16(16*(done+1) + width)})
			}
		}
		if len(windows) > 0 {
			windows[0].Reset = true
		}
		if width == 1 || !limited(n, v.encoded(n, windows)) {
			return windows
		}
	}
}

// limited reports whether a baseline makes an x at an end of its range.
func limited(n *frontend.Integer, rows [][]int16) bool {
	for _, row := range rows {
		for i, x := range row {
			if hasBaseline(n, i) && (x == math.MaxInt16 || x == math.MinInt16) {
				return true
			}
		}
	}
	return false
}

// hasBaseline reports whether a feature is relative to a baseline of steps.
func hasBaseline(n *frontend.Integer, feature int) bool {
	f := &n.Front.Features[feature]
	return f.Definition.Kind == frontend.Relative && n.Channels[f.Channel].BaseSteps > 0
}

// probe tells of codes which mistakes they would show.
type probe struct {
	of      *frontend.Integer
	integer *frontend.Integer // of, with features that tell how near floors are
	changes [][]frontend.Scaling
	floors  []floorProbe
}

// floorProbe is a floor of a feature.
type floorProbe struct {
	feature     int
	floor       int64
	length      int // feature of the probe: what is compared with the floor
	met, missed int // the feature if the floor were met, and if it were not; -1 of a baseline
}

// newProbe returns the probe of a front end.
func newProbe(n *frontend.Integer) *probe {
	p := &probe{of: n}
	front := *n.Front
	front.Features = slices.Clone(front.Features)
	add := func(f frontend.Feature) int {
		front.Features = append(front.Features, f)
		return len(front.Features) - 1
	}
	type copied struct {
		feature, at int
		change      func(f *frontend.IntegerFeature)
	}
	var copies []copied
	floor := func(i, channel int, floor uint32, set func(f *frontend.IntegerFeature, v uint32)) {
		d := front.Features[i].Definition
		order := 1
		if d.Kind == frontend.Phase {
			order = d.Order
		}
		at := floorProbe{feature: i, floor: int64(floor), length: add(frontend.Feature{Scale: 1,
			Channel:    channel,
			Definition: frontend.Definition{Kind: frontend.Amplitude, Order: order}})}
		for _, side := range []struct {
			at    *int
			floor uint32
		}{{&at.met, 0}, {&at.missed, math.MaxUint32}} {
			*side.at = add(front.Features[i])
			copies = append(copies, copied{i, *side.at,
				func(f *frontend.IntegerFeature) { set(f, side.floor) }})
		}
		p.floors = append(p.floors, at)
	}
	own := func(f *frontend.IntegerFeature, v uint32) { f.Floor = v }
	for i := range n.Features {
		f := &n.Front.Features[i]
		switch {
		case f.Definition.Kind == frontend.Phase || f.Definition.Kind == frontend.Distortion:
			floor(i, f.Channel, n.Features[i].Floor, own)
			if f.Definition.Other != "" {
				floor(i, f.Other, n.Features[i].Floor2,
					func(f *frontend.IntegerFeature, v uint32) { f.Floor2 = v })
			}
		case hasBaseline(n, i):
			p.floors = append(p.floors, floorProbe{feature: i, met: -1,
				floor: 2 * n.Channels[f.Channel].BaseFloor, length: add(frontend.Feature{Scale: 1,
					Channel: f.Channel, Definition: frontend.Definition{Kind: frontend.Level}})})
		}
	}
	encodings := make([]frontend.Encoding, len(front.Features))
	for i := range encodings {
		encodings[i] = frontend.Encoding{Std: 1}
	}
	p.integer = frontend.NewInteger(&front, encodings)
	copy(p.integer.Features, n.Features)
	for _, c := range copies {
		p.integer.Features[c.at] = n.Features[c.feature]
		c.change(&p.integer.Features[c.at])
	}
	for i := range n.Features {
		p.changes = append(p.changes, changedScalings(n.Features[i].Scaling))
	}
	return p
}

// changedScalings are scalings with one constant changed.
func changedScalings(s frontend.Scaling) []frontend.Scaling {
	var all []frontend.Scaling
	for _, by := range []int32{1, -1, 8, -8} {
		changed := s
		changed.Multiplier += by
		all = append(all, changed)
	}
	for _, by := range []int32{1, -1, 16, -16, 256, -256} {
		changed := s
		changed.Add += by
		all = append(all, changed)
	}
	more, less := s, s
	more.Down++
	less.Down = max(0, less.Down-1)
	return append(all, more, less)
}

const (
	valueBits = 14 // a whole number that differs by up to 2^(valueBits-1) is looked for
	floorBits = 21 // the same of a length at a floor
	// halfTurn is half a turn in what stands for an angle, nearTurn how near to it is looked for.
	halfTurn = 1 << 29
	nearTurn = 1 << 26
)

// mistakes are those that windows show, a bit each.
type mistakes []uint64

// add notes the next mistake, which is number *at.
func (m *mistakes) add(at *int, shows bool) {
	if *at/64 == len(*m) {
		*m = append(*m, 0)
	}
	if shows {
		(*m)[*at/64] |= 1 << (*at % 64)
	}
	*at++
}

// shown returns the mistakes that a window shows, by the numbers of the probe for it and for the
// window before; before is nil for the first one after a reset.
func (p *probe) shown(numbers, before []int32) mistakes {
	var m mistakes
	at := 0
	for i := range p.of.Features {
		s, v := &p.of.Features[i].Scaling, numbers[i]
		x := s.X(v)
		for j := range valueBits {
			m.add(&at, s.X(v+1<<j) != x)
			m.add(&at, s.X(v-1<<j) != x)
		}
		for k := range p.changes[i] {
			m.add(&at, p.changes[i][k].X(v) != x)
		}
		m.add(&at, s.X(-v) != x && v > 0)
		m.add(&at, s.X(-v) != x && v < 0)
		isAngle := p.of.Front.Features[i].Definition.Kind == frontend.Phase
		m.add(&at, isAngle && v > halfTurn-nearTurn)
		m.add(&at, isAngle && v < nearTurn-halfTurn)
	}
	for _, f := range p.floors {
		above, tells := int64(numbers[f.length])-f.floor, false
		if f.met >= 0 {
			s := &p.of.Features[f.feature].Scaling
			tells = s.X(numbers[f.met]) != s.X(numbers[f.missed])
		} else if before != nil {
			sum, total := int64(numbers[f.length]), int64(numbers[f.length])+int64(before[f.length])
			channel := p.of.Front.Features[f.feature].Channel
			base := total + 2*p.of.Channels[channel].BaseZero
			above, tells = max(base, -base)-f.floor, 2*sum != total
		}
		for j := range floorBits {
			m.add(&at, tells && above >= 0 && above < 1<<j)
			m.add(&at, tells && above < 0 && above >= -1<<j)
		}
	}
	return m
}

// candidate is a window, or two that follow each other, with what they show.
type candidate struct {
	windows []FrontWindow
	shows   mistakes
}

const (
	// drawnSamples bounds the samples that candidates have in all, and mostDrawn the candidates.
	// Our choice: half a second.
	drawnSamples = 1 << 22
	mostDrawn    = 1 << 15
	leastDrawn   = 1 << 7
)

// draw returns candidates: windows alone, and two that follow each other where features depend on
// the window before.
func (v *FrontVectors) draw(n *frontend.Integer) []candidate {
	p := newProbe(n)
	random := rand.New(rand.NewPCG(1, 0))
	follows := slices.ContainsFunc(n.Channels, func(c frontend.IntegerChannel) bool {
		return c.Before || c.BaseSteps > 0
	})
	drawn := drawnSamples / (n.Front.Sampling.Samples * len(n.Channels))
	drawn = min(max(drawn, leastDrawn), mostDrawn)
	var all []candidate
	for range drawn / 2 {
		both := make([]FrontWindow, 2)
		codes := make([][]uint16, len(n.Channels))
		base := FrontWindow{Wave: []Wave{Middle, Zero, Recorded, Recorded}[random.IntN(4)]}
		if base.Wave == Recorded && len(v.Recorded) == 0 {
			base.Wave = Middle
		} else if base.Wave == Recorded {
			base.Of = random.IntN(len(v.Recorded))
		}
		for i := range both {
			w := base
			w.Seed = uint16(1 + random.IntN(mostCode))
			for c, own := range v.codes(&w, n) {
				codes[c] = append(codes[c], own...)
			}
			both[i] = w
		}
		both[0].Reset = true
		numbers := p.integer.Numbers(codes, 2)
		first, second := numbers[:len(numbers)/2], numbers[len(numbers)/2:]
		alone := candidate{both[:1], p.shown(first, nil)}
		all = append(all, alone)
		if follows {
			shows := p.shown(second, first)
			for i := range shows {
				shows[i] |= alone.shows[i]
			}
			all = append(all, candidate{both, shows})
		}
		for i := range n.Front.Features { // as after a reset
			if kind := n.Front.Features[i].Definition.Kind; kind == frontend.Slope ||
				hasBaseline(n, i) {
				second[i] = 0
			}
		}
		reset := both[1]
		reset.Reset = true
		all = append(all, candidate{[]FrontWindow{reset}, p.shown(second, nil)})
	}
	return all
}

// chooseWindows draws windows and returns up to room of them that show most mistakes together: a
// constant, rounding or comparison of NAME_front.c that is slightly wrong.
func (v *FrontVectors) chooseWindows(n *frontend.Integer, room int) []FrontWindow {
	all := v.draw(n)
	var chosen []FrontWindow
	for _, i := range most(all, room) {
		chosen = append(chosen, all[i].windows...)
	}
	return chosen
}

// most returns the candidates that show most mistakes together, with up to room windows. Each next
// one shows most for its windows that the ones before it do not; when these show all that there is
// to show, others show it again.
func most(all []candidate, room int) []int {
	var chosen []int
	known, begun := make(mistakes, len(all[0].shows)), 0
	gains := make([]float64, len(all)) // of an earlier round: it can only become less
	begin := func() {
		clear(known)
		begun = len(chosen)
		for i := range gains {
			gains[i] = math.Inf(1)
		}
		for _, i := range chosen {
			gains[i] = 0
		}
	}
	for begin(); ; {
		best := -1
		for i := range all {
			if len(all[i].windows) > room || best >= 0 && gains[i] <= gains[best] || gains[i] == 0 {
				continue
			}
			more := 0
			for k, m := range all[i].shows {
				more += bits.OnesCount64(m &^ known[k])
			}
			gains[i] = float64(more) / float64(len(all[i].windows))
			if gains[i] > 0 && (best < 0 || gains[i] > gains[best]) {
				best = i
			}
		}
		switch {
		case best >= 0:
			chosen, room = append(chosen, best), room-len(all[best].windows)
			gains[best] = 0
			for k, m := range all[best].shows {
				known[k] |= m
			}
		case begun == len(chosen):
			return chosen
		default:
			begin()
		}
	}
}

// mostGivenValues is how many values of a given feature the self-test has at most (our choice).
const mostGivenValues = 8

// chosenValues chooses values within 12 standard deviations of the mean of a feature that show
// wrong constants.
func (p *Program) chosenValues(feature int) []valueVector {
	s := p.scaling(feature)
	probe := &probe{of: &frontend.Integer{Front: &frontend.FrontEnd{
		Features: make([]frontend.Feature, 1)}, Features: []frontend.IntegerFeature{{Scaling: s}}},
		changes: [][]frontend.Scaling{changedScalings(s)}}
	const drawn = 1 << 10
	wide := math.Ldexp(24*p.Net.Features[feature].Std, p.valueFraction(feature))
	var all []candidate
	var values []int32
	for i := range drawn {
		v := s.Middle + int32(math.Round((float64(float64(i)/drawn)-0.5)*wide))
		values = append(values, v)
		all = append(all, candidate{make([]FrontWindow, 1), probe.shown([]int32{v}, nil)})
	}
	var chosen []valueVector
	for _, i := range most(all, mostGivenValues) {
		chosen = append(chosen, valueVector{feature, values[i], p.encodeOne(feature, values[i])})
	}
	return chosen
}
