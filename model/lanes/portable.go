package lanes

// The functions below are the kernels in Go. Slices of one call have the same length, a multiple of
// Width, except in affineGo. The conversions keep the compiler from fusing multiply and add (Go
// specification, "Floating-point operators").

// affineGo sets y [rows × Width] to w x + b, in the layout of [matrix].
func affineGo(y, w, b, x []float32, columns int) {
	for first := 0; first < len(b); first += blockRows {
		block := min(blockRows, len(b)-first)
		for row := range block {
			sum := b[first+row]
			s0, s1, s2, s3, s4, s5, s6, s7 := sum, sum, sum, sum, sum, sum, sum, sum
			for column := range columns {
				weight := w[column*block+row]
				v := (*[Width]float32)(x[column*Width:])
				s0 += float32(weight * v[0])
				s1 += float32(weight * v[1])
				s2 += float32(weight * v[2])
				s3 += float32(weight * v[3])
				s4 += float32(weight * v[4])
				s5 += float32(weight * v[5])
				s6 += float32(weight * v[6])
				s7 += float32(weight * v[7])
			}
			*(*[Width]float32)(y[(first+row)*Width:]) = [Width]float32{s0, s1, s2, s3, s4, s5, s6,
				s7}
		}
		w = w[columns*block:]
	}
}

func logisticGo(v []float32) {
	for i, x := range v {
		v[i] = logistic(x)
	}
}

func tanhGo(v []float32) {
	for i, x := range v {
		v[i] = tanh(x)
	}
}

// addProductGo adds a b to y.
func addProductGo(y, a, b []float32) {
	for i := range y {
		y[i] += float32(a[i] * b[i])
	}
}

func productGo(y, a, b []float32) {
	for i := range y {
		y[i] = a[i] * b[i]
	}
}

// blendGo sets y to (1-a) b + a y, the update of a GRU's state.
func blendGo(y, a, b []float32) {
	for i := range y {
		y[i] = float32((1-a[i])*b[i]) + float32(a[i]*y[i])
	}
}

func rectifyGo(v []float32) {
	for i, x := range v {
		if x < 0 {
			v[i] = 0
		}
	}
}
