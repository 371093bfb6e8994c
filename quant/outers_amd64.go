package quant

// addOuters is [addOutersGo], in assembly where the processor has AVX2. The vectors have a multiple
// of outersAtOnce values.
func addOuters(to []float64, x [outersAtOnce][]float64) {
	if !useLanes {
		addOutersGo(to, x)
		return
	}
	n := len(x[0])
	_, _, _, _ = to[n*n-1], x[1][n-1], x[2][n-1], x[3][n-1]
	addOutersAVX2(&to[0], &x[0][0], &x[1][0], &x[2][0], &x[3][0], n/outersAtOnce)
}

// follow is [followGo], in assembly where the processor has AVX2. v has a multiple of outersAtOnce
// values.
func follow(phi, v []float64, keep, slope float64) {
	if !useLanes {
		followGo(phi, v, keep, slope)
		return
	}
	_ = phi[len(v)-1]
	followAVX2(&phi[0], &v[0], keep, slope, len(v)/outersAtOnce)
}
