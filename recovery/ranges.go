package recovery

import (
	"math"

	"kerf/dataset"
	"kerf/model/lanes"
	"kerf/quant"
)

// ranges returns the calibration of a network by its largest values on some examples, in the
// precision of lanes. It serves [quant.Nearest].
func ranges(p *dataset.Float, examples []example) quant.Calibration {
	c := quant.Calibration{Features: make([]float64, len(p.Kept)),
		Layers: make([]quant.LayerRange, len(p.Net.Recurrent)),
		Dense:  make([]quant.DenseRange, len(p.Net.Dense))}
	r := lanes.NewRanges(p.Net)
	eachStep(r, newReader(p), examples, func(lane, number, step int) {
		for i := range c.Features {
			c.Features[i] = math.Max(c.Features[i],
				math.Abs(float64(r.Input()[i*lanes.Width+lane])))
		}
		if step < examples[number].steps-1 {
			return
		}
		for i := range c.Layers {
			l := &c.Layers[i]
			gate, state, cell := r.Layer(i, lane)
			l.Gate, l.State, l.Cell = math.Max(l.Gate, gate), math.Max(l.State, state),
				math.Max(l.Cell, cell)
		}
		for i := range c.Dense {
			c.Dense[i].Value = math.Max(c.Dense[i].Value, r.Dense(i, lane))
		}
	})
	for _, v := range c.Features {
		c.Input = math.Max(c.Input, v)
	}
	return c
}
