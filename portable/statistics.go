package portable

import "math"

// MeanStd returns the mean and the population standard deviation of values; without values both are
// NaN.
func MeanStd(values []float64) (mean, std float64) {
	n := float64(len(values))
	sum := 0.0
	for _, v := range values {
		sum += v
	}
	mean = sum / n
	square, rest := 0.0, 0.0
	for _, v := range values {
		d := v - mean
		square += float64(d * d)
		rest += d // zero but for the rounding of the mean
	}
	return mean, math.Sqrt((square - float64(rest*rest)/n) / n)
}

// Correlation returns Pearson's correlation coefficient of x and y, which are equally long; NaN if
// one of them is constant.
func Correlation(x, y []float64) float64 {
	meanX, _ := MeanStd(x)
	meanY, _ := MeanStd(y)
	var xx, yy, xy float64
	for i, v := range x {
		dx, dy := v-meanX, y[i]-meanY
		xx += float64(dx * dx)
		yy += float64(dy * dy)
		xy += float64(dx * dy)
	}
	if xx == 0 || yy == 0 {
		return math.NaN() // 0/0 has a sign on some processors
	}
	return xy / (math.Sqrt(xx) * math.Sqrt(yy))
}

// Quantile returns the quantile p, from 0 to 1, of n values that are sorted upwards; n is at least
// 1. It interpolates so that value i, from 1, is the quantile i/n (Hyndman and Fan 1996, definition
// 4).
func Quantile(p float64, sorted []float64) float64 {
	at := float64(p * float64(len(sorted)))
	i := max(0, int(math.Ceil(at))-1)
	if i == 0 {
		return sorted[0]
	}
	t := float64(i+1) - at
	return float64(t*sorted[i-1]) + float64((1-t)*sorted[i])
}
