//go:build !amd64

package lanes

func affine(y, w, b, x []float32, m *matrix) { affineGo(y, w, b, x, m.columns) }
func logisticAll(v []float32)                { logisticGo(v) }
func tanhAll(v []float32)                    { tanhGo(v) }
func addProduct(y, a, b []float32)           { addProductGo(y, a, b) }
func product(y, a, b []float32)              { productGo(y, a, b) }
func blend(y, a, b []float32)                { blendGo(y, a, b) }
func rectify(v []float32)                    { rectifyGo(v) }

func add(y, a []float32)           { addGo(y, a) }
func tanhSlope(d, y []float32)     { tanhSlopeGo(d, y) }
func logisticSlope(d, y []float32) { logisticSlopeGo(d, y) }
func reluSlope(d, y []float32)     { reluSlopeGo(d, y) }

func blendSlope(candidate, update, state, before, keep, value []float32) {
	blendSlopeGo(candidate, update, state, before, keep, value)
}

func roundAll(v []float32, magic, low, high float32) { roundGo(v, magic, low, high) }

func outer(to []float32, a, b vectors, rows, columns, steps int) {
	outerGo(to, a, b, rows, columns, steps)
}

func largest(top, v []float32) { largestGo(top, v) }
