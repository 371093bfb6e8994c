package recovery

import (
	"fmt"
	"math"
)

// Settings says how long and how fast to train.
type Settings struct {
	Epochs int     // passes over the recordings, at most; 0: see [Settings.On]
	Share  float64 // 0..1: weight of the teacher in the target
	// Blends is how many sequences are invented per recorded one and epoch, at most: as many as
	// make inventedSteps. With a Share of 0 none are.
	Blends int
	Shift  float64 // of the features of invented sequences, in standard deviations
	Length int     // steps after which back-propagation is cut off
	Rate   float64 // of the optimiser, at its highest
	Decay  float64 // of the weights, per update and rate
	Clip   float64 // largest Euclidean norm of a gradient
	Seed   uint64  // of the order of sequences and of the invented sequences
}

// Defaults returns the settings that a job starts from. Share, length, rate and decay were chosen
// on held-back selection recordings, see docs/recovery.md; a norm of 1 is common practice, no
// source.
func Defaults() Settings {
	return Settings{Share: 1, Blends: 30, Shift: 0.5, Length: 100, Rate: 0.01, Clip: 1, Seed: 1}
}

// A training without a number of epochs has as many as make trainedSteps steps, recorded and
// invented, between leastEpochs and mostEpochs. They were chosen on selection recordings, see
// docs/recovery.md.
const (
	trainedSteps = 10_000_000
	leastEpochs  = 20
	mostEpochs   = 400
)

// On returns settings with a number of epochs, for recordings with so many steps to train on.
func (s Settings) On(steps int) Settings {
	if s.Epochs == 0 {
		s.Epochs = min(mostEpochs, max(leastEpochs, trainedSteps/s.EpochSteps(steps)))
	}
	return s
}

// Check returns an error, one sentence, if settings cannot be trained with.
func (s Settings) Check() error {
	switch {
	case s.Epochs < 0:
		return fmt.Errorf("%d epochs are no training", s.Epochs)
	case !(s.Share >= 0 && s.Share <= 1):
		return fmt.Errorf("a share of %g for the teacher is not between 0 and 1", s.Share)
	case s.Length < 1:
		return fmt.Errorf("a length of %d steps is no segment", s.Length)
	case !(s.Rate > 0 && s.Rate <= 1):
		return fmt.Errorf("a rate of %g is not between 0 and 1", s.Rate)
	case !(s.Decay >= 0 && s.Decay <= 1):
		return fmt.Errorf("a decay of %g is not between 0 and 1", s.Decay)
	case !(s.Clip > 0) || math.IsInf(s.Clip, 0):
		return fmt.Errorf("a gradient cannot have the norm %g", s.Clip)
	}
	return nil
}

// Where recordings have fewer steps than inventedSteps, about so many are invented for an epoch: a
// network would learn few sequences by heart. Many are enough by themselves, and a small network
// that must also answer what was never recorded is worse on what was (docs/recovery.md).
const inventedSteps = 20000

// EpochSteps returns how many steps an epoch over recordings of a number of steps has, with the
// invented sequences where these are as long as the recorded ones.
func (s Settings) EpochSteps(steps int) int { return steps * (1 + s.blends(steps)) }

// blends returns how many sequences are invented for each recorded one when all recorded ones
// together have a number of steps.
func (s Settings) blends(steps int) int {
	if s.Share == 0 {
		return 0
	}
	return min(s.Blends, inventedSteps/steps)
}
