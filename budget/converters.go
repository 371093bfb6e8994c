package budget

import (
	"context"
	"fmt"
	"math"
	"slices"

	"kerf/dataset"
	"kerf/frontend"
	"kerf/quant"
)

// Converters says how few bits the converters could have, all of them at once: the network that was
// chosen is run with codes of fewer and fewer bits, on selection recordings, and judged as the
// choice was, with the reserve for the sign-off. Its weights stay as they are. Sequences without
// samples are taken to lose as those with samples do.
type Converters struct {
	Channels []string // that kept features are computed from

	// From the bits of the job on, as far as the first that are too few; without those of which the
	// samples tell nothing, see [Grid].
	Tried []ConverterResult
}

// Grid is how far apart the samples of a channel lie, which is further than the steps of the
// converter of the job. What a converter adds is not told by them for more bits than they have.
type Grid struct {
	Channel, Unit string
	Apart         float64 // in the unit of the channel
	Step          float64 // of the converter of the job, in the same unit
}

// ConverterResult is what the network may reach with converters of some bits.
type ConverterResult struct {
	Bits     []int // of every channel of these
	Tightest Loss  // on selection recordings
	Used     float64
	Within   bool // of every tolerance, with the reserve for the sign-off
}

// narrowConverters compares converters of fewer bits; nil without samples, and where the choice is
// not within every tolerance itself. The error is that of ctx or of [quant.Quantize].
func (pl *Planner) narrowConverters(ctx context.Context, chosen *Chosen,
	chain *Chain) (*Converters, error) {
	in := pl.in
	hasSamples := func(s *dataset.Sequence) bool { return s.Sampled != nil }
	if !chosen.Within || !in.JudgesLoss() ||
		!slices.ContainsFunc(in.Selection.Sequences, hasSamples) {
		return nil, ctx.Err()
	}
	c := &Converters{}
	channels := in.keptChannels(chosen.Candidate)
	if len(channels) == 0 {
		return nil, ctx.Err()
	}
	for _, i := range channels {
		c.Channels = append(c.Channels, in.Job.Channels[i].Name)
	}
	p, err := pl.prepare(ctx, chosen.Candidate)
	if err != nil {
		return nil, err
	}
	nets := make([]*quant.Network, len(p.restCalibrations))
	for k := range nets {
		nets[k], err = quant.Quantize(p.restNets[k], p.restCalibrations[k],
			chosen.Candidate.Formats, chosen.Candidate.Rounding)
		if err != nil {
			return nil, err
		}
	}
	asChosen, err := pl.withConverters(ctx, p, nets, in.narrower(0, channels))
	if err != nil {
		return nil, err
	}
	for fewer := 0; ; fewer++ {
		front := in.narrower(fewer, channels)
		if front == nil {
			return c, nil
		}
		if slices.ContainsFunc(chain.Grids, func(g Grid) bool {
			return slices.Contains(c.Channels, g.Channel) && g.hides(front)
		}) {
			continue
		}
		predicted, err := pl.withConverters(ctx, p, nets, front)
		if err != nil {
			return nil, err
		}
		in.spread(predicted, asChosen)
		j := pl.assess(in.measured(predicted))
		result := ConverterResult{Tightest: j.tightest, Used: j.used, Within: j.used <= 1}
		for _, i := range channels {
			result.Bits = append(result.Bits, front.Channels[i].Converter.Bits)
		}
		if c.Tried = append(c.Tried, result); !result.Within {
			return c, nil
		}
	}
}

// keptChannels lists the channels that the features of a candidate are computed from.
func (in *Inputs) keptChannels(c Candidate) []int {
	var channels []int
	for k, f := range in.Raw.FrontEnd.Features {
		if !slices.Contains(c.Features, in.Raw.Features[k]) {
			continue
		}
		channels = append(channels, f.Channel)
		if f.Definition.Other != "" {
			channels = append(channels, f.Other)
		}
	}
	slices.Sort(channels)
	return slices.Compact(channels)
}

// narrower returns the front end of the job with so many bits fewer in the converters of some
// channels; nil where one has no bit left.
func (in *Inputs) narrower(fewer int, channels []int) *frontend.FrontEnd {
	narrow := in.Raw.FrontEnd
	narrow.Channels = slices.Clone(narrow.Channels)
	for _, i := range channels {
		rule := in.Job.Channels[i]
		rule.Converter.Bits -= fewer
		if rule.Converter.Bits < 1 {
			return nil
		}
		narrow.Channels[i] = rule.channel() // with the floor of its own steps, if it has none
	}
	return &narrow
}

// spread gives the predictions of every selection sequence without samples the differences that
// other converters make in one with samples: of the same scenario where there is one, else of any,
// each of them in turn, and over and over in a longer sequence. Without that the rows of a job in
// which few sequences have samples would show as much less of what converters add.
func (in *Inputs) spread(predicted, asChosen [][]float64) {
	sampled := map[string][]int{} // by scenario, and all
	for i, s := range in.Selection.Sequences {
		if s.Sampled != nil {
			sampled[s.Scenario] = append(sampled[s.Scenario], i)
			sampled[anywhere] = append(sampled[anywhere], i)
		}
	}
	turn := map[string]int{}
	for i, s := range in.Selection.Sequences {
		if s.Sampled != nil {
			continue
		}
		from := s.Scenario
		if len(sampled[from]) == 0 {
			from = anywhere
		}
		donor := sampled[from][turn[from]%len(sampled[from])]
		turn[from]++
		for k := range predicted[i] {
			at := k % len(predicted[donor])
			predicted[i][k] = asChosen[i][k] + (predicted[donor][at] - asChosen[donor][at])
		}
	}
}

// anywhere stands for all scenarios; none has that name.
const anywhere = ""

// withConverters runs the networks of the folds on the selection recordings, with codes of the
// converters of a front end, and returns their predictions.
func (pl *Planner) withConverters(ctx context.Context, p *prepared, nets []*quant.Network,
	front *frontend.FrontEnd) ([][]float64, error) {
	n := inIntegers(front)
	coded := *pl.in
	selection := *pl.in.Selection
	selection.Sequences = slices.Clone(selection.Sequences)
	dataset.EachSequence(pl.in.Selection, func(i int, s *dataset.Sequence) {
		if samples := pl.in.Raw.Selection[i]; samples != nil {
			other := *s
			other.Sampled = &dataset.Sampled{Numbers: numbers(n, samples), X: s.Sampled.X}
			selection.Sequences[i] = &other
		}
	})
	coded.Selection = &selection
	return coded.heldOut(ctx, p, len(nets), 0, func(k int) (*quant.Network, error) {
		net := *nets[k]
		net.TakeFrom(n)
		return &net, nil
	})
}

// grids finds the channels whose samples lie on a grid wider than the steps of their converters.
func (in *Inputs) grids() []Grid {
	var all []Grid
	for c := range in.Job.Channels {
		converter := in.Raw.FrontEnd.Channels[c].Converter
		if apart := converter.Grid(in.Raw.ofChannel(c)...); apart > 0 {
			rule := in.Job.Channels[c]
			all = append(all, Grid{rule.Name, rule.Converter.Low.Unit, apart, converter.Step()})
		}
	}
	return all
}

// hides reports whether samples on the grid do not tell what the converter of a front end adds.
func (g *Grid) hides(f *frontend.FrontEnd) bool {
	const slack = 0.99 // of the grid, which is measured
	at := slices.IndexFunc(f.Channels, func(c frontend.Channel) bool { return c.Name == g.Channel })
	return f.Channels[at].Converter.Step() < slack*g.Apart
}

// warnGrids names the channels whose samples tell less than their converters could.
func (r *Result) warnGrids() {
	if r.Chain == nil {
		return
	}
	r.Warnings = append(r.Warnings, r.Inputs.gridNotes(r.Chain.Grids)...)
}

// gridNotes name the channels whose samples another converter recorded than that of the job: one
// with wider steps, or one with finer steps where the range of the job's is much wider than what
// was recorded. coarse are the grids of the first kind.
func (in *Inputs) gridNotes(coarse []Grid) []string {
	var notes []string
	for i, c := range in.Raw.FrontEnd.Channels {
		at := slices.IndexFunc(coarse, func(g Grid) bool { return g.Channel == c.Name })
		about := in.rangeNote(i)
		var grid float64
		switch {
		case at >= 0:
			grid = coarse[at].Apart
		case about != "":
			grid = c.Converter.FinerGrid(in.Raw.ofChannel(i)...)
		}
		// rounded digits tell nothing of a range
		if about != "" && frontend.IsDecimal(grid) {
			about = ""
		}
		if at < 0 && (grid == 0 || about == "") {
			continue
		}
		text := fmt.Sprintf("%s: the samples lie %s %s apart, and a step of the converter is %s: ",
			c.Name, plainFigure(grid, 4), c.Unit, plainFigure(c.Converter.Step(), 4))
		if at >= 0 {
			text += "a coarser one recorded them, so what this converter adds is not judged, and " +
				"neither is any with more bits than the samples have"
		} else {
			text += "a finer one recorded them"
		}
		notes = append(notes, text+about)
	}
	return notes
}

// leastRange is the share of the range of a converter that samples take which another one recorded,
// below which it is asked whether the job names the right one (our choice).
const leastRange = 0.5

// rangeNote asks about the range of a converter of which the samples take little; empty where they
// take more.
func (in *Inputs) rangeNote(channel int) string {
	c := in.Raw.FrontEnd.Channels[channel].Converter
	low, high := math.Inf(1), math.Inf(-1)
	for _, values := range in.Raw.ofChannel(channel) {
		low, high = min(low, slices.Min(values)), max(high, slices.Max(values))
	}
	if !(high-low < leastRange*(c.High-c.Low)) {
		return ""
	}
	return fmt.Sprintf("; they go from %s to %s, and the converter of the job from %s to %s: is "+
		"it that of the device?", plainFigure(low, 4), plainFigure(high, 4), plainFigure(c.Low, 4),
		plainFigure(c.High, 4))
}

// ofChannel returns the samples of a channel, per sequence that has some.
func (r *Raw) ofChannel(channel int) [][]float64 {
	var samples [][]float64
	for _, s := range slices.Concat(r.Selection, r.Signoff) {
		if s != nil {
			samples = append(samples, s.X[channel])
		}
	}
	return samples
}
