package quant

// followGo sets phi to keep·phi + slope·v.
func followGo(phi, v []float64, keep, slope float64) {
	for i, x := range v {
		phi[i] = float64(keep*phi[i]) + float64(slope*x)
	}
}
