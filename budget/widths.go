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
	word  quant.Word
	layer int // recurrent, or dense for the weights of a dense layer
	bits  func(f *quant.Formats) *int
	words []int // that are available, narrowest first
}

// isHead tells whether these are the weights of the last dense layer.
func (w width) isHead(in *Inputs) bool {
	return w.word == quant.DenseWeights && w.layer == len(in.Float.Net.Dense)-1
}

// describe names the narrower word.
func (s *WidthStep) describe() string { return fmt.Sprintf("int%d %s", s.Bits, s.What) }

// widthTrial is a choice with a narrower word.
type widthTrial struct {
	chosen *Chosen
	change string
}

// refusal is a narrower word that the tolerances did not allow.
type refusal struct {
	width  width
	step   WidthStep
	narrow *Chosen
}

// widths lists what a rule leaves open: weights of every tensor, and what every
// layer keeps between two steps.
func (in *Inputs) widths(rule FormatRule) []width {
	var all []width
	net := in.Float.Net
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
				width{name("input weights", i, len(net.Recurrent)), quant.InputWeights, i, func(f *quant.Formats) *int { return &f.Layers[i].InputBits }, weights},
				width{name("recurrent weights", i, len(net.Recurrent)), quant.RecurrentWeights, i, func(f *quant.Formats) *int { return &f.Layers[i].RecurrentBits }, weights})
		}
		if rule.State == "" {
			all = append(all, width{name("state", i, len(net.Recurrent)), quant.StateWord, i, func(f *quant.Formats) *int { return &f.Layers[i].StateBits }, []int{16, 32}})
		}
	}
	if rule.Weights == "" {
		for i := range net.Dense {
			all = append(all, width{name("dense weights", i, len(net.Dense)), quant.DenseWeights, i, func(f *quant.Formats) *int { return &f.Dense[i] }, weights})
		}
	}
	return all
}

// narrow goes from uniform words to mixed ones: again and again it tries every
// next narrower word by itself and takes the one that costs the least accuracy
// per byte saved, as long as the network gets cheaper by the objective of the job and the selection recordings stay within every
// tolerance. Then it looks for the units that force the words that are left wide.
func (in *Inputs) narrow(statistics *prune.Statistics, chosen *Chosen) (*Chosen, error) {
	var steps []WidthStep
	var beside []widthTrial
	for {
		best, tried, refused, err := in.narrowest(statistics, chosen)
		if err != nil {
			return nil, err
		}
		steps = append(steps, tried...)
		for _, r := range refused {
			beside = append(beside, widthTrial{r.narrow, r.step.describe()})
		}
		if best == nil {
			chosen.Widths, chosen.beside = steps, beside
			return chosen, in.force(statistics, chosen, refused)
		}
		chosen = best
		for _, step := range tried {
			if step.Taken {
				beside = append(beside, widthTrial{best, step.describe()})
			}
		}
	}
}

// narrowest tries every next narrower word of a choice.
func (in *Inputs) narrowest(statistics *prune.Statistics, chosen *Chosen) (best *Chosen, steps []WidthStep, refused []refusal, err error) {
	at := -1
	cheapest := math.Inf(1)
	for _, w := range in.widths(in.Job.Formats) {
		if c, ok := in.withWord(chosen.Candidate, w, -1); !ok || in.priceOf(c).compare(in.priceOf(chosen.Candidate)) >= 0 {
			continue // none, or it is not cheaper
		}
		tried, step, err := in.other(statistics, chosen, w, -1)
		if err != nil {
			return nil, nil, nil, err
		}
		steps = append(steps, step)
		if !tried.Within {
			refused = append(refused, refusal{w, step, tried})
		}
		if perByte := (tried.used - chosen.used) / float64(step.Saved); tried.Within && step.Saved > 0 && perByte < cheapest {
			best, cheapest, at = tried, perByte, len(steps)-1
		}
	}
	if best != nil {
		steps[at].Taken = true
	}
	return best, steps, refused, nil
}

// withWord puts the word that lies the given number of places beside that of a candidate, -1 narrower and 1 wider.
func (in *Inputs) withWord(c Candidate, w width, places int) (beside Candidate, ok bool) {
	c.Formats = c.Formats.Clone()
	bits := w.bits(&c.Formats)
	place := slices.Index(w.words, *bits) + places
	if place < 0 || place >= len(w.words) {
		return c, false
	}
	*bits = w.words[place]
	return c, c.Formats.Validate(in.Float.Net) == nil
}

// other tries the word beside that of a choice; nil if there is none.
func (in *Inputs) other(statistics *prune.Statistics, chosen *Chosen, w width, places int) (*Chosen, WidthStep, error) {
	c, ok := in.withWord(chosen.Candidate, w, places)
	if !ok {
		return nil, WidthStep{}, nil
	}
	tried, err := in.try(statistics, c)
	if err != nil {
		return nil, WidthStep{}, err
	}
	step := WidthStep{What: w.name, Bits: *w.bits(&c.Formats), Saved: in.storage(chosen.Candidate) - in.storage(c)}
	step.Tightest, step.MayReach = tried.Tightest()
	return tried, step, nil
}

// widen tries every next wider word of a choice by itself, also where the job
// fixes the words: it shows which of them is to blame for a broken tolerance.
func (in *Inputs) widen(statistics *prune.Statistics, chosen *Chosen) error {
	chosen.Wider = []WidthStep{}
	for _, w := range in.widths(FormatRule{}) {
		tried, step, err := in.other(statistics, chosen, w, 1)
		if err != nil {
			return err
		}
		if tried != nil {
			chosen.Wider = append(chosen.Wider, step)
		}
	}
	return nil
}

// toBlame is the word whose widening leaves the most room, and whether that is
// more than there is; by the tolerance of the row with the least.
func (c *Chosen) toBlame() (step WidthStep, ok bool) {
	least := c.used
	for _, s := range c.Wider {
		if u := used(s.Tightest, s.MayReach); u < least {
			step, ok, least = s, true, u
		}
	}
	return step, ok
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
