package recovery

import (
	"math"

	"kerf/model"
	"kerf/portable"
)

// Constants of the optimiser, as its authors give them (Kingma and Ba 2015, arXiv:1412.6980,
// algorithm 1).
const (
	meanDecay   = 0.9   // share of its mean that a gradient keeps in an update
	squareDecay = 0.999 // share of the mean of its square
	smallest    = 1e-8  // added to the root of that mean, so that no division is by 0
)

// adam is Adam with weight decay apart from the gradient (Loshchilov and Hutter 2019,
// arXiv:1711.05101, algorithm 2).
type adam struct {
	Updates int
	Mean    [][]float64 // of the gradient, in the order of model.Network.Values
	Square  [][]float64 // of its square
}

// newAdam returns the optimiser before the first update.
func newAdam(net *model.Network) *adam {
	a := &adam{}
	for _, values := range net.Values() {
		a.Mean, a.Square = append(a.Mean, make([]float64, len(values))),
			append(a.Square, make([]float64, len(values)))
	}
	return a
}

// update moves the weights of net against the gradient, at a rate and with weight decay.
func (a *adam) update(net, gradient *model.Network, rate, decay float64) {
	a.Updates++
	meanShare := 1 - portable.Power(meanDecay, a.Updates)
	squareShare := 1 - portable.Power(squareDecay, a.Updates)
	weights, slopes := net.Values(), gradient.Values()
	for i, values := range weights {
		mean, square := a.Mean[i], a.Square[i]
		for j, g := range slopes[i] {
			mean[j] = float64(meanDecay*mean[j]) + float64((1-meanDecay)*g)
			square[j] = float64(squareDecay*square[j]) + float64((1-squareDecay)*g*g)
			step := mean[j] / meanShare / (math.Sqrt(square[j]/squareShare) + smallest)
			values[j] -= float64(rate * (step + float64(decay*values[j])))
		}
	}
}

// clip scales a gradient down to a Euclidean norm of at most limit (Pascanu, Mikolov and Bengio
// 2013, arXiv:1211.5063, section 3.2). It reports whether the gradient is finite; one that is not
// says nothing.
func clip(gradient *model.Network, limit float64) (finite bool) {
	sum := 0.0
	for _, values := range gradient.Values() {
		for _, g := range values {
			sum += float64(g * g)
		}
	}
	norm := math.Sqrt(sum)
	if norm > limit {
		scaleAll(gradient, limit/norm)
	}
	return norm <= math.MaxFloat64
}

// scaleAll multiplies every weight of net by a factor.
func scaleAll(net *model.Network, factor float64) {
	for _, values := range net.Values() {
		for i := range values {
			values[i] *= factor
		}
	}
}

// warmUp is the share of all updates over which the rate rises from 0 (common practice, no source).
const warmUp = 0.05

// rateAt returns the rate of update number done (from 0) of all: it rises linearly to top, then
// falls to 0 along half a cosine (Loshchilov and Hutter 2017, arXiv:1608.03983, equation 5, without
// restarts).
func rateAt(top float64, done, all int) float64 {
	rising := math.Ceil(warmUp * float64(all))
	if d := float64(done); d < rising {
		return top * (d + 1) / rising
	}
	return top * (1 + portable.Cos(math.Pi*(float64(done)-rising)/(float64(all)-rising))) / 2
}
