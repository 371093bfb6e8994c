package model

import "slices"

// sameLayers reports whether signals come from the same recurrent layers through dense layers of
// equal number and activations, so that one chain can give all of them.
func sameLayers(signals []*signal) bool {
	first := signals[0]
	for _, s := range signals {
		if s.last != first.last || s.chain.softmax ||
			!slices.Equal(s.chain.recurrent, first.chain.recurrent) {
			return false
		}
		same := func(a, b *Dense) bool { return a.Activation == b.Activation }
		if len(s.chain.dense) == 0 || !slices.EqualFunc(s.chain.dense, first.chain.dense, same) {
			return false
		}
	}
	return true
}

// merge returns one chain of parallel dense layers, whose results then stand side by side. The
// first of its dense layers has the rows of all first layers; each row of the later ones sees only
// the results of its own branch.
func (e *onnxEval) merge(signals []*signal) (*chain, error) {
	first := signals[0]
	chain := *first.chain
	chain.dense = nil
	for depth, like := range first.chain.dense {
		d := &Dense{Activation: like.Activation}
		for _, s := range signals {
			d.Outputs += s.chain.dense[depth].Outputs
			d.Inputs += s.chain.dense[depth].Inputs
		}
		if depth == 0 {
			d.Inputs = like.Inputs
		}
		if err := e.spend(d.Outputs * d.Inputs); err != nil {
			return nil, err
		}
		left := 0 // inputs of the branches before
		for _, s := range signals {
			part := s.chain.dense[depth]
			for o := range part.Outputs {
				row := make([]float64, d.Inputs)
				copy(row[left:], part.W[o*part.Inputs:][:part.Inputs])
				d.W = append(d.W, row...)
			}
			d.B = append(d.B, part.B...)
			if depth > 0 {
				left += part.Inputs
			}
		}
		chain.dense = append(chain.dense, d)
	}
	chain.newValueAxis()
	return &chain, nil
}
