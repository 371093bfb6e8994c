package lanes

import "golang.org/x/sys/cpu"

// useAVX2 chooses the kernels in assembly; tests turn it off.
var useAVX2 = cpu.X86.HasAVX2

// The functions below run the kernels in assembly where the processor has AVX2, else those in Go.

func affine(y, w, b, x []float32, m *matrix) {
	if useAVX2 && len(w) > 0 {
		affineAVX2(&y[0], &w[0], &b[0], &x[0], m.columns, m.blocks, m.half)
	} else {
		affineGo(y, w, b, x, m.columns)
	}
}

func logisticAll(v []float32) {
	if useAVX2 {
		logisticAVX2(&v[0], len(v)/Width)
	} else {
		logisticGo(v)
	}
}

func tanhAll(v []float32) {
	if useAVX2 {
		tanhAVX2(&v[0], len(v)/Width)
	} else {
		tanhGo(v)
	}
}

func addProduct(y, a, b []float32) {
	if useAVX2 {
		addProductAVX2(&y[0], &a[0], &b[0], len(y)/Width)
	} else {
		addProductGo(y, a, b)
	}
}

func product(y, a, b []float32) {
	if useAVX2 {
		productAVX2(&y[0], &a[0], &b[0], len(y)/Width)
	} else {
		productGo(y, a, b)
	}
}

func blend(y, a, b []float32) {
	if useAVX2 {
		blendAVX2(&y[0], &a[0], &b[0], len(y)/Width)
	} else {
		blendGo(y, a, b)
	}
}

func rectify(v []float32) {
	if useAVX2 {
		rectifyAVX2(&v[0], len(v)/Width)
	} else {
		rectifyGo(v)
	}
}

func tanhSlope(d, y []float32) {
	if useAVX2 {
		tanhSlopeAVX2(&d[0], &y[0], len(d)/Width)
	} else {
		tanhSlopeGo(d, y)
	}
}

func logisticSlope(d, y []float32) {
	if useAVX2 {
		logisticSlopeAVX2(&d[0], &y[0], len(d)/Width)
	} else {
		logisticSlopeGo(d, y)
	}
}

func reluSlope(d, y []float32) {
	if useAVX2 {
		reluSlopeAVX2(&d[0], &y[0], len(d)/Width)
	} else {
		reluSlopeGo(d, y)
	}
}

func add(y, a []float32) {
	if useAVX2 {
		addAVX2(&y[0], &a[0], len(y)/Width)
	} else {
		addGo(y, a)
	}
}

func blendSlope(candidate, update, state, before, keep, value []float32) {
	if useAVX2 {
		blendSlopeAVX2(&candidate[0], &update[0], &state[0], &before[0], &keep[0], &value[0],
			len(state)/Width)
	} else {
		blendSlopeGo(candidate, update, state, before, keep, value)
	}
}

func roundAll(v []float32, magic, low, high float32) {
	if useAVX2 {
		roundAVX2(&v[0], len(v)/Width, magic, low, high)
	} else {
		roundGo(v, magic, low, high)
	}
}

// outer computes blocks of three rows and three columns; the last of several blocks overlaps the
// one before it. With fewer than three rows, rows and columns change places.
func outer(to []float32, a, b vectors, rows, columns, steps int) {
	if !useAVX2 {
		outerGo(to, a, b, rows, columns, steps)
		return
	}
	const bytes, side = 4, 3
	rowStep, columnStep := columns*bytes, bytes
	if rows < side {
		a, b, rows, columns, rowStep, columnStep = b, a, columns, rows, columnStep, rowStep
	}
	kernel, high, wide := outer33AVX2, side, side
	switch {
	case rows < side:
		kernel, high, wide = outer11AVX2, 1, 1
	case columns < side:
		kernel, wide = outer31AVX2, 1
	}
	for r := 0; r < rows; r += high {
		row := min(r, rows-high)
		for c := 0; c < columns; c += wide {
			column := min(c, columns-wide)
			kernel(&to[(row*rowStep+column*columnStep)/bytes], rowStep, columnStep,
				&a.first[row*Width], a.distance*bytes, &b.first[column*Width], b.distance*bytes,
				steps)
		}
	}
}

func largest(top, v []float32) {
	if useAVX2 && len(v) > 0 {
		largestAVX2(&top[0], &v[0], len(v)/Width)
	} else {
		largestGo(top, v)
	}
}
