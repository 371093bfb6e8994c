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

func addGo(y, a []float32) {
	for i := range y {
		y[i] += a[i]
	}
}

// tanhSlopeGo multiplies d by the slope of the tanh whose result is y, as logisticSlopeGo and
// reluSlopeGo do.
func tanhSlopeGo(d, y []float32) {
	for i, v := range y {
		d[i] *= 1 - float32(v*v)
	}
}

func logisticSlopeGo(d, y []float32) {
	for i, v := range y {
		d[i] = float32(d[i]*v) * (1 - v)
	}
}

func reluSlopeGo(d, y []float32) {
	for i, v := range y {
		if !(v > 0) {
			d[i] = 0
		}
	}
}

// blendSlopeGo goes back through state = (1-keep) value + keep before, where value is the result of
// a tanh and keep that of a logistic function. In state it finds the derivatives by the state and
// leaves those by before; it sets candidate and update to those by the sums before tanh and
// logistic function.
func blendSlopeGo(candidate, update, state, before, keep, value []float32) {
	for i, change := range state {
		rest := 1 - keep[i]
		update[i] = float32(float32(change*(before[i]-value[i]))*keep[i]) * rest
		candidate[i] = float32(change*rest) * (1 - float32(value[i]*value[i]))
		state[i] = change * keep[i]
	}
}

// roundGo rounds v to the nearest whole last place of magic, halves to even, within low and high.
func roundGo(v []float32, magic, low, high float32) {
	for i, x := range v {
		x = float32(x+magic) - magic
		if x < low {
			x = low
		}
		if x > high {
			x = high
		}
		v[i] = x
	}
}

// outerGo sets to [rows × columns] to the products of rows of a with columns of b, added up over
// steps and then over lanes.
func outerGo(to []float32, a, b vectors, rows, columns, steps int) {
	left, right := a.first[:cap(a.first)], b.first[:cap(b.first)]
	for r := range rows {
		for c := range columns {
			var sum [Width]float32
			for step := range steps {
				x := (*[Width]float32)(left[step*a.distance+r*Width:])
				y := (*[Width]float32)(right[step*b.distance+c*Width:])
				for lane := range sum {
					sum[lane] += float32(x[lane] * y[lane])
				}
			}
			to[r*columns+c] = lanesSum(&sum)
		}
	}
}

// lanesSum adds up the lanes of a vector, halves first, as the kernel in assembly does.
func lanesSum(v *[Width]float32) float32 {
	return ((v[0] + v[4]) + (v[2] + v[6])) + ((v[1] + v[5]) + (v[3] + v[7]))
}

// largestGo raises the lanes of top [Width] to the magnitudes in v.
func largestGo(top, v []float32) {
	for i, x := range v {
		if a := magnitude(x); a > top[i%Width] {
			top[i%Width] = a
		}
	}
}

func rectifyGo(v []float32) {
	for i, x := range v {
		if x < 0 {
			v[i] = 0
		}
	}
}
