package dataset

// Constant predicts the same outputs at every step. A network that does no better is useless.
type Constant struct {
	Outputs []float64 // in physical units; of a classifier the scores of the classes
}

// ConstantOf returns the predictor of the mean of every output over the steps that count, or for a
// classifier of the most frequent class.
func ConstantOf(rec *Recordings) *Constant {
	sums := make([]float64, rec.Outputs)
	for _, s := range rec.Sequences {
		for step := s.Settle; step < s.Steps; step++ {
			for o, y := range s.Y[step*rec.Outputs : (step+1)*rec.Outputs] {
				sums[o] += y
			}
		}
	}
	c := &Constant{make([]float64, rec.Outputs)}
	if rec.Classes {
		c.Outputs[Class(sums)] = 1
		return c
	}
	for o, sum := range sums {
		c.Outputs[o] = sum / float64(max(1, rec.Judged()))
	}
	return c
}

// Predict implements [Predictor].
func (c *Constant) Predict(s *Sequence, dst []float64) {
	for i := range dst {
		dst[i] = c.Outputs[i%len(c.Outputs)]
	}
}
