package prune

import (
	"kerf/portable"
)

// replacement says what stands for removed values of a vector: each is a constant plus a linear
// combination of the values that stay.
type replacement struct {
	kept, gone []int     // indices into the vector
	offset     []float64 // the constants, per removed value
	slope      []float64 // the combinations [gone × kept]; nil: the constants alone
}

// constants returns the replacement by means of every value that is not kept.
func constants(means []float64, kept []int) replacement {
	r := replacement{kept: kept, gone: Without(len(means), kept...)}
	for _, g := range r.gone {
		r.offset = append(r.offset, means[g])
	}
	return r
}

// fold returns the weights of the values that stay, with the weights of removed values moved into
// them. row has the weight of every value of the vector. constant is called with the index of each
// removed value and with weight times offset, which a bias has to take up.
func (r *replacement) fold(row []float64, constant func(index int, v float64)) []float64 {
	weights := make([]float64, len(r.kept))
	for a, k := range r.kept {
		weights[a] = row[k]
	}
	for b, g := range r.gone {
		constant(g, float64(row[g]*r.offset[b]))
		if r.slope == nil {
			continue
		}
		for a, v := range r.slope[b*len(r.kept) : (b+1)*len(r.kept)] {
			weights[a] += float64(row[g] * v)
		}
	}
	return weights
}

// squaredError sums, over the steps of g and the rows of readers [rows × gone], the square of
// readers · (gone - replacement).
func (r *replacement) squaredError(g *gram, readers []float64) float64 {
	// Each row is linear in the vector with its constant: coefficients c give c g cᵀ.
	sum := 0.0
	c := make([]float64, g.size+1)
	for ; len(readers) > 0; readers = readers[len(r.gone):] {
		clear(c)
		for b, k := range r.gone {
			w := readers[b]
			c[k] += w
			c[g.size] -= float64(w * r.offset[b])
			if r.slope == nil {
				continue
			}
			for a, v := range r.slope[b*len(r.kept) : (b+1)*len(r.kept)] {
				c[r.kept[a]] -= float64(w * v)
			}
		}
		sum += g.quadratic(c)
	}
	return sum
}

// quadratic returns c Σ cᵀ for the sums Σ of g; entries beside the diagonal count twice.
func (g *gram) quadratic(c []float64) float64 {
	sum, upper := 0.0, g.sum.RawSymmetric()
	for i, v := range c {
		row := upper.Data[i*upper.Stride+i:][:len(c)-i]
		sum += float64(v * (float64(2*portable.Dot(row[1:], c[i+1:])) + float64(row[0]*v)))
	}
	return sum
}

// beside joins a replacement of the first values of a vector with a replacement o of its other
// values, which begin at index first. Neither predicts values of the other.
func (r *replacement) beside(o replacement, first int) replacement {
	joint := replacement{
		kept: append([]int{}, r.kept...), gone: append([]int{}, r.gone...),
		offset: append(append([]float64{}, r.offset...), o.offset...),
	}
	for _, k := range o.kept {
		joint.kept = append(joint.kept, first+k)
	}
	for _, g := range o.gone {
		joint.gone = append(joint.gone, first+g)
	}
	if r.slope == nil && o.slope == nil {
		return joint
	}
	joint.slope = make([]float64, len(joint.gone)*len(joint.kept))
	place := func(part replacement, row, column int) {
		for b := range part.gone {
			if part.slope != nil {
				copy(joint.slope[(row+b)*len(joint.kept)+column:],
					part.slope[b*len(part.kept):(b+1)*len(part.kept)])
			}
		}
	}
	place(*r, 0, 0)
	place(o, len(r.gone), len(r.kept))
	return joint
}
