package budget

import (
	"context"
	"fmt"
	"math"
	"slices"

	"kerf/quant"
)

// WidthStep is one attempt to store a tensor or state in a narrower word, or in a wider one.
type WidthStep struct {
	What     string // tensor or state
	Bits     int    // the word that is tried
	Saved    int    // bytes of flash and RAM
	Tightest Loss   // the tightest judged row, on selection recordings
	Taken    bool

	rows []Loss // of a wider word: every judged row
}

// width is one word that the formats choose.
type width struct {
	name  string
	word  quant.Word
	layer int // recurrent, or dense for the weights of a dense layer
	bits  func(f *quant.Formats) *int
	words []int // that are available, narrowest first
}

// isHead reports whether these are the weights of the last dense layer.
func (w width) isHead(in *Inputs) bool {
	return w.word == quant.DenseWeights && w.layer == len(in.Float.Net.Dense)-1
}

// describe names the narrower word.
func (s *WidthStep) describe() string { return fmt.Sprintf("int%d %s", s.Bits, s.What) }

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
				width{name("input weights", i, len(net.Recurrent)), quant.InputWeights, i,
					func(f *quant.Formats) *int {
						return &f.Layers[i].InputBits
					}, weights},
				width{name("recurrent weights", i, len(net.Recurrent)), quant.RecurrentWeights, i,
					func(f *quant.Formats) *int {
						return &f.Layers[i].RecurrentBits
					}, weights})
		}
		if rule.State == "" {
			all = append(all, width{name("state", i, len(net.Recurrent)), quant.StateWord, i,
				func(f *quant.Formats) *int {
					return &f.Layers[i].StateBits
				}, []int{16, 32}})
		}
	}
	if rule.Weights == "" {
		for i := range net.Dense {
			all = append(all, width{name("dense weights", i, len(net.Dense)), quant.DenseWeights, i,
				func(f *quant.Formats) *int {
					return &f.Dense[i]
				}, weights})
		}
	}
	return all
}

// narrow goes from uniform words to mixed ones: again and again it tries every next narrower word
// by itself and takes the one that costs the least accuracy per byte saved, as long as the network
// gets cheaper by the objective of the job and the selection recordings stay within every
// tolerance. If something that was passed over on the way is cheaper than where that ends, it goes
// on from there. What it returns is the cheapest of all that were tried, with the words that cannot
// be narrower.
func (c *chooser) narrow(ctx context.Context, start *trial) (*trial, []refusal, error) {
	n := &narrowing{chooser: c, known: map[string]*trial{}}
	at := start
	for {
		next, refused, err := n.narrowest(ctx, at)
		if err != nil {
			return nil, nil, err
		}
		if next == nil {
			for t := at; t.from != nil; t = t.from {
				n.steps[t.step].Taken = true
			}
			at.chosen.Widths = n.steps
			return at, refused, nil
		}
		at = next
	}
}

// narrowing is one search for narrower words of a cut.
type narrowing struct {
	*chooser
	known map[string]*trial // by formats
	all   []*trial
	steps []WidthStep
}

// narrowest tries every next narrower word of a network, and says from where to go on; nil when
// nothing is cheaper.
func (n *narrowing) narrowest(ctx context.Context, at *trial) (next *trial, refused []refusal,
	err error) {
	in := n.pl.in
	cheapest := math.Inf(1)
	for _, w := range in.widths(in.Job.Formats) {
		c, ok := in.withWord(at.chosen.Candidate, w, -1)
		if !ok || n.pl.priceOf(c).compare(n.pl.priceOf(at.chosen.Candidate)) >= 0 {
			continue // none, or it is not cheaper
		}
		t := n.known[c.Formats.String()]
		if t == nil {
			if t, err = n.try(ctx, at, w, c); err != nil {
				return nil, nil, err
			}
		}
		if !t.chosen.Within {
			refused = append(refused, refusal{w, in.widthStep(at.chosen, t.chosen, w), t.chosen})
			continue
		}
		saved := in.storage(at.chosen.Candidate) - in.storage(c)
		if saved <= 0 || t.point.price.compare(at.point.price) >= 0 {
			continue
		}
		if perByte := (t.chosen.used - at.chosen.used) / float64(saved); perByte < cheapest {
			next, cheapest = t, perByte
		}
	}
	if next == nil {
		next = at
		for _, t := range n.all {
			if t.chosen.Within && t.point.price.compare(next.point.price) < 0 {
				next = t
			}
		}
		if next == at {
			next = nil
		}
	}
	return next, refused, nil
}

// try measures a network with the next narrower word.
func (n *narrowing) try(ctx context.Context, at *trial, w width, c Candidate) (*trial, error) {
	chosen, err := n.pl.try(ctx, c)
	if err != nil {
		return nil, err
	}
	step := n.pl.in.widthStep(at.chosen, chosen, w)
	point := n.note(chosen, at.point, step.describe())
	t := &trial{chosen: chosen, point: point, from: at, step: len(n.steps)}
	n.known[c.Formats.String()] = t
	n.all, n.steps = append(n.all, t), append(n.steps, step)
	return t, nil
}

// withWord returns a candidate with another word: the next narrower one where wider is -1, the next
// wider one where it is 1. It is not ok where there is none.
func (in *Inputs) withWord(c Candidate, w width, wider int) (beside Candidate, ok bool) {
	c.Formats = c.Formats.Clone()
	bits := w.bits(&c.Formats)
	at := slices.Index(w.words, *bits) + wider
	if at < 0 || at >= len(w.words) {
		return c, false
	}
	*bits = w.words[at]
	return c, c.Formats.Validate(in.Float.Net) == nil
}

// widthStep is the change of one word between two networks of the same cut.
func (in *Inputs) widthStep(before, after *Chosen, w width) WidthStep {
	return WidthStep{
		What: w.name, Bits: *w.bits(&after.Candidate.Formats),
		Saved:    in.storage(before.Candidate) - in.storage(after.Candidate),
		Tightest: after.Tightest(),
	}
}

// widen tries every next wider word of a choice by itself, also where the job
// fixes the words: it shows which of them is to blame for a broken tolerance.
func (pl *Planner) widen(ctx context.Context, chosen *Chosen) error {
	chosen.Wider = []WidthStep{}
	for _, w := range pl.in.widths(FormatRule{}) {
		c, ok := pl.in.withWord(chosen.Candidate, w, 1)
		if !ok {
			continue
		}
		tried, err := pl.try(ctx, c)
		if err != nil {
			return err
		}
		step := pl.in.widthStep(chosen, tried, w)
		step.rows = pl.assess(tried.heldOut).rows
		chosen.Wider = append(chosen.Wider, step)
	}
	return nil
}

// storage is the flash of the weights and the RAM of the state, in bytes.
func (in *Inputs) storage(c Candidate) int {
	s := in.Shape(c)
	return s.WeightBytes() + s.StateBytes()
}

// roundingIndex is the place of the chosen rounding in Roundings.
func (c *Chosen) roundingIndex() int {
	return slices.IndexFunc(c.Roundings, func(r RoundingResult) bool {
		return r.Rounding == c.Candidate.Rounding
	})
}
