package model

import "slices"

// Import is a network with the other things that its file says.
type Import struct {
	Network *Network

	// Mean and Std are the normalisation of the features that the file holds, one value of each
	// per input: Network takes (feature - Mean) / Std. Both are nil if the file holds none, or one
	// that cannot be told from the weights.
	Mean, Std []float64

	// LastStep says that the file gives outputs after the last step only. Network gives outputs at
	// every step, and the same at the last.
	LastStep bool

	// Softmax says that the file ends with a softmax. Network leaves it out, which does not change
	// which score is the largest.
	Softmax bool
}

// Folded returns the network that takes the features as the file does: the normalisation is folded
// into its weights, W' = W/Std and B' = B - W·Mean/Std.
func (i *Import) Folded() *Network {
	if i.Mean == nil {
		return i.Network
	}
	n := i.Network.Clone()
	l := n.Recurrent[0]
	for row := range l.B {
		for k, w := range l.W[row*l.Inputs:][:l.Inputs] {
			w /= i.Std[k]
			l.W[row*l.Inputs+k] = w
			l.B[row] -= float64(w * i.Mean[k])
		}
	}
	return n
}

// normalise takes up the scales and offsets between the features and the first recurrent layer.
// Where they are a mean and a positive standard deviation for every feature, they become those of
// the chain; else they go into the weights of the layer that it returns.
func (e *onnxEval) normalise(c *chain, l *Recurrent) (*Recurrent, error) {
	if c.plain() && c.columns == nil {
		return l, nil
	}
	scale, offset := make([]float64, l.Inputs), make([]float64, l.Inputs)
	for i := range scale {
		scale[i], offset[i] = spread(c.scale, i), spread(c.offset, i)
	}
	if c.columns == nil && !slices.ContainsFunc(scale, func(a float64) bool { return a <= 0 }) {
		c.std = combine([]float64{1}, scale, func(a, b float64) float64 { return a / b })
		c.mean = combine(offset, scale, func(a, b float64) float64 { return 0 - a/b })
		return l, e.finite(slices.Concat(c.mean, c.std), &constant{name: "the normalisation"})
	}
	columns, features := c.columns, c.features
	if columns == nil {
		features = l.Inputs
		for i := range l.Inputs {
			columns = append(columns, i)
		}
	}
	m := *l
	m.Inputs = features
	if err := e.spend(len(l.B) * features); err != nil {
		return nil, err
	}
	m.W, m.B = make([]float64, len(l.B)*features), slices.Clone(l.B)
	for row := range l.B {
		for i, w := range l.W[row*l.Inputs:][:l.Inputs] {
			m.W[row*features+columns[i]] += float64(w * scale[i])
			m.B[row] += float64(w * offset[i])
		}
	}
	return &m, e.finite(slices.Concat(m.W, m.B),
		&constant{name: "the normalisation with the input weights"})
}
