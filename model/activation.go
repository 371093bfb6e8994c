package model

import (
	"fmt"
	"slices"

	"kerf/portable"
)

// Activation is the function that a dense layer applies to each of its results.
type Activation int

const (
	Identity Activation = iota // x
	ReLU                       // max(0, x)
	Tanh                       // hyperbolic tangent
	Logistic                   // 1/(1+exp(-x))
)

var activationTexts = [...]string{Identity: "identity", ReLU: "ReLU", Tanh: "tanh",
	Logistic: "logistic"}

func (a Activation) known() bool { return a >= 0 && int(a) < len(activationTexts) }

// String names the activation as reports print it.
func (a Activation) String() string {
	if !a.known() {
		return fmt.Sprintf("unknown activation %d", int(a))
	}
	return activationTexts[a]
}

// ActivationNamed is the activation that [Activation.String] gives a name.
func ActivationNamed(text string) (Activation, bool) {
	at := slices.Index(activationTexts[:], text)
	return Activation(max(at, 0)), at >= 0
}

// apply replaces every value by its activation.
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
