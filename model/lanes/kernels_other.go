//go:build !amd64

package lanes

func affine(y, w, b, x []float32, m *matrix) { affineGo(y, w, b, x, m.columns) }
func logisticAll(v []float32)                { logisticGo(v) }
func tanhAll(v []float32)                    { tanhGo(v) }
func addProduct(y, a, b []float32)           { addProductGo(y, a, b) }
func product(y, a, b []float32)              { productGo(y, a, b) }
func blend(y, a, b []float32)                { blendGo(y, a, b) }
func rectify(v []float32)                    { rectifyGo(v) }
