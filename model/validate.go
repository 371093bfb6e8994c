package model

import (
	"fmt"
	"math"
)

// Validate returns an error unless a network can be run: it has 1 to 3 recurrent and 1 or more
// dense layers of known kinds, every shape is right and fits the layer before it, and no value is
// beyond 1e30 or not finite. The error, about the first fault, is of kind [ErrFormat] and without a
// file name; its Where is the field and index, such as "Recurrent[0].W[12]".
func (n *Network) Validate() error {
	if len(n.Recurrent) == 0 {
		return place{}.broken("", "the network has no recurrent layer")
	}
	if len(n.Recurrent) > maxRecurrent {
		return place{}.broken("", "the network has %d recurrent layers, at most %d are possible",
			len(n.Recurrent), maxRecurrent)
	}
	if len(n.Dense) == 0 {
		return place{}.broken("", "the network has no dense layer")
	}
	width := n.Recurrent[0].Inputs
	for i, l := range n.Recurrent {
		at := fmt.Sprintf("Recurrent[%d]", i)
		if !l.Kind.known() {
			return place{where: at}.broken("", "%v is not known", l.Kind)
		}
		if err := checkWidths(at, width, l.Inputs, "Units", l.Units); err != nil {
			return err
		}
		rows := l.Kind.Gates() * l.Units
		if err := checkFields(at, []field{
			{"W", l.W, rows * l.Inputs}, {"U", l.U, rows * l.Units}, {"B", l.B, rows},
			{"D", l.D, rows},
		}); err != nil {
			return err
		}
		width = l.Units
	}
	for i, l := range n.Dense {
		at := fmt.Sprintf("Dense[%d]", i)
		if !l.Activation.known() {
			return place{where: at}.broken("", "%v is not known", l.Activation)
		}
		if err := checkWidths(at, width, l.Inputs, "Outputs", l.Outputs); err != nil {
			return err
		}
		if err := checkFields(at,
			[]field{{"W", l.W, l.Outputs * l.Inputs}, {"B", l.B, l.Outputs}}); err != nil {
			return err
		}
		width = l.Outputs
	}
	return nil
}

// checkWidths returns an error unless a layer takes as many inputs as the layer before it gives,
// and has at least one input and one result.
func checkWidths(at string, given, inputs int, resultName string, results int) error {
	if inputs < 1 || results < 1 {
		return place{where: at}.broken("", "Inputs is %d and %s is %d, expected at least 1 of each",
			inputs, resultName, results)
	}
	if inputs != given {
		return place{where: at}.broken("", "takes %d inputs, but the layer before it gives %d",
			inputs, given)
	}
	return nil
}

// field is one weight or bias of a layer with the number of values it must have.
type field struct {
	name   string
	values []float64
	want   int
}

// checkFields returns an error unless all fields have the right number of usable values.
func checkFields(at string, fields []field) error {
	for _, f := range fields {
		name := at + "." + f.name
		if len(f.values) != f.want {
			return place{where: name}.broken("", "holds %d values, expected %d", len(f.values),
				f.want)
		}
		if i := firstUnusable(f.values); i >= 0 {
			return place{where: fmt.Sprintf("%s[%d]", name, i)}.broken("", "value is %v",
				f.values[i])
		}
	}
	return nil
}

// largestWeight is the largest magnitude of a weight. Our choice: it is far beyond any trained
// weight, and its products with features stay finite. Floats read in the wrong byte order lie
// anywhere up to 3.4e38, and some of any hundred lie above it.
const largestWeight = 1e30

// firstUnusable returns the index of the first value that is not finite or beyond largestWeight, or
// -1.
func firstUnusable(values []float64) int {
	for i, v := range values {
		if !(math.Abs(v) <= largestWeight) {
			return i
		}
	}
	return -1
}

// weightHint is the advice for weights that are not finite or too large.
const weightHint = "the training has diverged, or the bytes of the file are in another order; " +
	"take an earlier state of the network, or save it anew"
