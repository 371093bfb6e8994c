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
