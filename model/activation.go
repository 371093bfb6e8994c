package model

import (
	"fmt"
	"slices"

	"kerf/portable"
)

// Activation is the function that a dense layer applies to each of its results.
type Activation int

// The activations, as functions of a sum x.
const (
	Identity Activation = iota // x
	ReLU                       // max(0, x)
	Tanh                       // hyperbolic tangent
	Logistic                   // 1/(1+exp(-x))
)

// activationTexts are the names in reports; see [activationNames] for those in job files.
var activationTexts = [...]string{Identity: "identity", ReLU: "ReLU", Tanh: "tanh",
	Logistic: "logistic"}

func (a Activation) known() bool { return a >= 0 && int(a) < len(activationTexts) }

// String returns the name of the activation in reports.
func (a Activation) String() string {
	if !a.known() {
		return fmt.Sprintf("unknown activation %d", int(a))
	}
	return activationTexts[a]
}

// ActivationNamed returns the activation whose [Activation.String] is text, and reports whether
// there is one.
func ActivationNamed(text string) (Activation, bool) {
	at := slices.Index(activationTexts[:], text)
	return Activation(max(at, 0)), at >= 0
}

// apply replaces every value by the activation's result for it.
func (a Activation) apply(values []float64) {
	switch a {
	case ReLU:
		for i, v := range values {
			values[i] = max(0, v)
		}
	case Tanh:
		for i, v := range values {
			values[i] = portable.Tanh(v)
		}
	case Logistic:
		for i, v := range values {
			values[i] = portable.Logistic(v)
		}
	}
}
