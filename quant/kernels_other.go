//go:build !amd64

package quant

func follow(phi, v []float64, keep, slope float64) { followGo(phi, v, keep, slope) }

// results sets y to [Matrix.row] for the rows from..to and the input v.
func (m *Matrix) results(from, to int, v, y []int32) { m.resultsGo(from, to, v, y) }
