package frontend

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"kerf/dataset"
)

// Kind is what a feature is of the samples of a window.
type Kind string

// The kinds of features that a device can compute; x are the N samples of a window in the unit of
// the channel.
const (
	Level    Kind = "level"    // mean of x
	Relative Kind = "relative" // (level - baseline)/baseline, see [Baseline]
	Slope    Kind = "slope"    // (level - level of the step before)/period; 0 at the first step
	Trend    Kind = "trend"    // slope of the least-squares line through the window, per second
	Minimum  Kind = "minimum"  // smallest of x
	Maximum  Kind = "maximum"  // largest of x
	Swing    Kind = "swing"    // largest less smallest of x
	RMS      Kind = "rms"      // root of the mean square of x
	Ripple   Kind = "ripple"   // root of the mean square of x less its mean
	// 2/N · |S_k|, S_k = sum of x[n]·exp(-2πi·k·c·n/N), c cycles of the fundamental in a window
	Amplitude Kind = "amplitude"
	// angle of S_k in (-π, π], 0 where the amplitude is below the floor; of two channels the
	// difference, brought into (-π, π]
	Phase Kind = "phase"
	// 100·sqrt(sum of squared amplitudes 2 to K)/amplitude(1), in %: the ratio of IEEE 1459 and IEC
	// 61000-4-7 with the order K named; 0 where amplitude(1) is below the floor
	Distortion Kind = "distortion"
)

// kinds are all kinds, in the order of their constants.
var kinds = []Kind{Level, Relative, Slope, Trend, Minimum, Maximum, Swing, RMS, Ripple, Amplitude,
	Phase, Distortion}

// hasOrder reports whether the kind is followed by a harmonic in parentheses.
func (k Kind) hasOrder() bool { return k == Amplitude || k == Phase || k == Distortion }

// HasFloor reports whether a feature of the kind is 0 below the floor of its channel.
func (k Kind) HasFloor() bool { return k == Phase || k == Distortion || k == Relative }

// HasUnitOfChannel reports whether a feature of the kind is in the unit of its channel.
func (k Kind) HasUnitOfChannel() bool {
	return slices.Contains([]Kind{Level, Minimum, Maximum, Swing, RMS, Ripple, Amplitude}, k)
}

// Definition is how a feature is computed from the samples of a window.
type Definition struct {
	Kind  Kind
	Order int    // k of an amplitude or phase, from 1; K of a distortion, from 2; else 0
	Other string // channel whose phase is taken off; empty: none
}

// String returns the definition as [ParseDefinition] reads it.
func (d Definition) String() string {
	switch {
	case d.Other != "":
		return fmt.Sprintf("%s(%d, %s)", d.Kind, d.Order, d.Other)
	case d.Kind.hasOrder():
		return fmt.Sprintf("%s(%d)", d.Kind, d.Order)
	}
	return string(d.Kind)
}

// ParseDefinition reads a definition such as level, amplitude(2) or phase(1, supply). The error is
// one sentence.
func ParseDefinition(text string) (Definition, error) {
	name, rest, hasOrder := strings.Cut(strings.TrimSpace(text), "(")
	d := Definition{Kind: Kind(strings.TrimSpace(name))}
	switch {
	case !slices.Contains(kinds, d.Kind):
		return d, fmt.Errorf("%q is no kind of feature", name)
	case hasOrder && !d.Kind.hasOrder():
		return d, fmt.Errorf("%s has nothing in parentheses", d.Kind)
	case !hasOrder && d.Kind.hasOrder():
		return d, fmt.Errorf("%s lacks a harmonic, such as %[1]s(2)", d.Kind)
	case !hasOrder:
		return d, nil
	}
	inside, behind, closed := strings.Cut(rest, ")")
	if !closed || strings.TrimSpace(behind) != "" {
		return d, fmt.Errorf("%q does not end behind one closing parenthesis", text)
	}
	order, other, hasOther := strings.Cut(inside, ",")
	var err error
	if d.Order, err = strconv.Atoi(strings.TrimSpace(order)); err != nil {
		return d, fmt.Errorf("%q is no harmonic", strings.TrimSpace(order))
	}
	d.Other = strings.TrimSpace(other)
	switch {
	case hasOther && d.Kind != Phase:
		return d, fmt.Errorf("%s is of one channel alone", d.Kind)
	case hasOther && d.Other == "":
		return d, errors.New("the other channel has no name")
	case d.Order < 1 || d.Order > MostSamples:
		return d, fmt.Errorf("harmonics go from 1 to %d, not %d", MostSamples, d.Order)
	case d.Kind == Distortion && d.Order < 2:
		return d, errors.New("a distortion goes up to harmonic 2 at least")
	}
	return d, nil
}

// KindNames lists the kinds as a text of the user interface.
func KindNames() string {
	names := make([]string, len(kinds))
	for i, k := range kinds {
		if names[i] = string(k); k.hasOrder() {
			names[i] += "(k)"
		}
	}
	return dataset.ListNames(names)
}
