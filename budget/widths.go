package budget

import (
	"fmt"
	"math"
	"slices"

	"kerf/prune"
	"kerf/quant"
)

// WidthStep is one attempt to store a tensor or state in a narrower word.
type WidthStep struct {
	What     string // tensor or state
	Bits     int    // the narrower word
	Saved    int    // bytes of flash and RAM
	Tightest Loss   // the judged row with the least room, on selection recordings
	MayReach float64
	Taken    bool
}

// width is one word that the formats choose.
type width struct {
	name  string
	bits  func(f *quant.Formats) *int
	words []int // that are available, narrowest first
}

// widths lists what the job leaves open: weights of every tensor, and what every
// layer keeps between two steps.
func (in *Inputs) widths() []width {
	var all []width
	net, rule := in.Float.Net, in.Job.Formats
	name := func(what string, layer, of int) string {
		if of == 1 {
			return what
		}
		return fmt.Sprintf("%s of layer %d", what, layer)
	}
	weights := []int{4, 8, 16}
	for i := range net.Recurrent {
		if rule.Weights == "" {
			all = append(all,
				width{name("input weights", i, len(net.Recurrent)), func(f *quant.Formats) *int { return &f.Layers[i].InputBits }, weights},
				width{name("recurrent weights", i, len(net.Recurrent)), func(f *quant.Formats) *int { return &f.Layers[i].RecurrentBits }, weights})
		}
		if rule.State == "" {
			all = append(all, width{name("state", i, len(net.Recurrent)), func(f *quant.Formats) *int { return &f.Layers[i].StateBits }, []int{16, 32}})
		}
	}
	if rule.Weights == "" {
		for i := range net.Dense {
			all = append(all, width{name("dense weights", i, len(net.Dense)), func(f *quant.Formats) *int { return &f.Dense[i] }, weights})
		}
	}
	return all
}

// narrow goes from uniform words to mixed ones: again and again it tries every
// next narrower word by itself and takes the one that costs the least accuracy
// per byte saved, as long as the selection recordings stay within every
// tolerance.
func (in *Inputs) narrow(statistics *prune.Statistics, chosen *Chosen) (*Chosen, error) {
	var steps []WidthStep
	for {
		best, tried, err := in.narrowest(statistics, chosen)
		if err != nil {
			return nil, err
		}
		steps = append(steps, tried...)
		if best == nil {
			chosen.Widths = steps
			return chosen, nil
		}
		chosen = best
	}
}

// narrowest tries every next narrower word of a choice.
func (in *Inputs) narrowest(statistics *prune.Statistics, chosen *Chosen) (best *Chosen, steps []WidthStep, err error) {
	at := -1
	cheapest := math.Inf(1)
	before := in.storage(chosen.Candidate)
	for _, w := range in.widths() {
		c := chosen.Candidate
		c.Formats = c.Formats.Clone()
		bits := w.bits(&c.Formats)
		place := slices.Index(w.words, *bits)
		if place <= 0 {
			continue
		}
		*bits = w.words[place-1]
		if c.Formats.Validate(in.Float.Net) != nil {
			continue
		}
		tried, err := in.try(statistics, c)
		if err != nil {
			return nil, nil, err
		}
		step := WidthStep{What: w.name, Bits: *bits, Saved: before - in.storage(c)}
		step.Tightest, step.MayReach = tried.Tightest()
		steps = append(steps, step)
		if perByte := (tried.used - chosen.used) / float64(step.Saved); tried.Within && step.Saved > 0 && perByte < cheapest && in.brokenLimits(c) <= in.brokenLimits(chosen.Candidate) {
			best, cheapest, at = tried, perByte, len(steps)-1
		}
	}
	if best != nil {
		steps[at].Taken = true
	}
	return best, steps, nil
}

// storage is the flash of the weights and the RAM of the state, in bytes.
func (in *Inputs) storage(c Candidate) int {
	s := in.Shape(c)
	return s.WeightBytes() + s.StateBytes()
}

// roundingIndex is the place of the chosen rounding in Roundings.
func (c *Chosen) roundingIndex() int {
	return slices.IndexFunc(c.Roundings, func(r RoundingResult) bool { return r.Rounding == c.Candidate.Rounding })
}
