//go:build !amd64

package quant

func addOuters(to []float64, x [outersAtOnce][]float64) { addOutersGo(to, x) }

func follow(phi, v []float64, keep, slope float64) { followGo(phi, v, keep, slope) }
