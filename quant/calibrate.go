package quant

import (
	"math"

	"kerf/dataset"
	"kerf/model"
)

// Calibration holds what the formats are chosen from: ranges that a float
// network shows on selection recordings.
type Calibration struct {
	Input float64 // largest magnitude of a normalised feature
	Gate  float64 // largest magnitude of a pre-activation part: W x + b or U h + d
}

// Calibrate reads the ranges of a float network from selection recordings.
func Calibrate(p *dataset.Float, selection *dataset.Recordings) Calibration {
	layer := p.Net.Recurrent[0]
	ranges := make([]Calibration, len(selection.Sequences))
	dataset.EachSequence(selection, func(i int, s *dataset.Sequence) {
		x := make([]float64, layer.Inputs)
		before := make([]float64, layer.Units) // the state that enters a step; zero at first
		c := &ranges[i]
		p.Visit(s, func(step int, run *model.Run, _ []float64) {
			p.Normalise(s.X[step*selection.Features:(step+1)*selection.Features], x)
			c.Input = math.Max(c.Input, largest(x))
			c.Gate = math.Max(c.Gate, largestPart(layer.W, layer.B, x))
			c.Gate = math.Max(c.Gate, largestPart(layer.U, layer.D, before))
			copy(before, run.State(0))
		})
	})
	var c Calibration
	for _, r := range ranges {
		c.Input = math.Max(c.Input, r.Input)
		c.Gate = math.Max(c.Gate, r.Gate)
	}
	return c
}

func largestPart(w, b, v []float64) float64 {
	top := 0.0
	for r := range b {
		sum := b[r]
		for c, x := range v {
			sum += float64(w[r*len(v)+c] * x)
		}
		top = math.Max(top, math.Abs(sum))
	}
	return top
}
