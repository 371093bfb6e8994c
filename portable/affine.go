package portable

// Affine sets y = W x + b for W [len(y) × len(x)].
//
// The order of the sums is fixed: b[i] first, then the products from left to right. The conversions
// keep the compiler from fusing multiply and add (Go specification, "Floating-point operators"). So
// every processor gives the same bits. The loop takes four rows at once, which share the loads of x
// and have independent sums; assembly for amd64 takes eight.
func Affine(y, w, x, b []float64) {
	rows, columns := len(y), len(x)
	b = b[:rows]
	w = w[:rows*columns]
	i := affineBlocks(y, w, x, b)
	w = w[i*columns:]
	for ; i+4 <= rows; i += 4 {
		w0 := w[:len(x)]
		w1 := w[columns:][:len(x)]
		w2 := w[2*columns:][:len(x)]
		w3 := w[3*columns:][:len(x)]
		w = w[4*columns:]
		s0, s1, s2, s3 := b[i], b[i+1], b[i+2], b[i+3]
		for j, v := range x {
			s0 += float64(w0[j] * v)
			s1 += float64(w1[j] * v)
			s2 += float64(w2[j] * v)
			s3 += float64(w3[j] * v)
		}
		y[i], y[i+1], y[i+2], y[i+3] = s0, s1, s2, s3
	}
	for ; i < rows; i++ {
		w0 := w[:len(x)]
		w = w[columns:]
		s := b[i]
		for j, v := range x {
			s += float64(w0[j] * v)
		}
		y[i] = s
	}
}
