package budget

import (
	"math"

	"kerf/dataset"
)

// Verdict is what is said of a row, of a candidate, or of a plan; empty where nothing
// judges.
type Verdict string

// Verdicts on a row of the accuracy or of the cost.
const (
	// Pass: the figure, of an error the upper end of its interval, is within the tolerance or
	// limit.
	Pass Verdict = "pass"

	// Fail: the figure itself is beyond the tolerance or limit.
	Fail Verdict = "fail"

	// NotEnough: the error is within its tolerance, the upper end of its interval is not, or the
	// row has fewer sequences than its metric is judged on. As the verdict on a plan: no row
	// fails, and at least one has too few recordings, or none is independent.
	NotEnough Verdict = "not enough recordings"

	// NoEstimate: the limit is on a figure that is [NotEstimated], and what of it no compiler
	// changes is within the limit. As the verdict on a plan: no row fails or has too few
	// recordings, and at least one has no estimate.
	NoEstimate Verdict = "no estimate for these flags"
)

// Verdicts on a plan, besides [NotEnough] and [NoEstimate].
const (
	// Fits: every tolerance and limit is met, there is at least one, and nothing speaks against the
	// network as given.
	Fits Verdict = "fits"

	// DoesNotFit: a tolerance or limit is broken, none is given, or an examination found a cause
	// that the job gives no reason to pass over.
	DoesNotFit Verdict = "does not fit"
)

// Verdicts on a candidate of the search, on selection recordings, besides [Fits].
const (
	// BreaksTolerance: a row may reach more than its tolerance on the sign-off recordings.
	BreaksTolerance Verdict = "breaks a tolerance"

	// BreaksLimit: every tolerance is kept, a limit of the cost is not.
	BreaksLimit Verdict = "breaks a limit"

	// FitsBeforeRounding: the float network after the cut keeps every tolerance; the integer
	// network was not measured.
	FitsBeforeRounding Verdict = "fits before rounding"
)

// ToleranceOn is the figure that a tolerance is compared with; empty for a row without a tolerance.
type ToleranceOn string

const (
	// OnRise: what the error of the integer network rises by against the float network, as a
	// fraction; of a share of steps what it falls by.
	OnRise ToleranceOn = "rise"

	// OnFixed: the error or share of the integer network itself, in the unit of the output.
	OnFixed ToleranceOn = "fixed"
)

// RecordingSet names a set of recordings in words.
type RecordingSet string

const (
	// SelectionSet are the recordings that every choice rests on.
	SelectionSet RecordingSet = "selection"

	// SignoffSet are the recordings that no choice has seen and verdicts rest on.
	SignoffSet RecordingSet = "sign-off"
)

// setOf names the sign-off recordings, or else the selection recordings.
func setOf(signoff bool) RecordingSet {
	if signoff {
		return SignoffSet
	}
	return SelectionSet
}

// Role is what an input file is for. Files of recordings have the key under which the job names
// them; other roles are those of the calls that read them, such as job, model and features.
type Role string

const (
	// SelectionRole is the role of selection recordings.
	SelectionRole Role = "selection"

	// SignoffRole is the role of sign-off recordings.
	SignoffRole Role = "signoff"

	// RawSelectionRole is that of samples of the selection recordings.
	RawSelectionRole Role = "raw_selection"

	// RawSignoffRole is that of samples of the sign-off recordings.
	RawSignoffRole Role = "raw_signoff"
)

// Judge gives the verdict on a row: the comparison with its tolerance. A tolerance applies to every
// row of its output: all recordings, each scenario, each region, unless these have one of their own
// (tolerance.go).
//
//   - The row fails where the value is above the tolerance.
//   - It passes where the upper end of the interval is within it.
//   - Between the two there are not enough recordings; also below [dataset.Metric.Fewest]
//     sequences: two, six for a largest error and for accuracies, twelve for agreement.
//
// Choices ask for more than a pass, see [signoffReach].
func (l *Loss) Judge() {
	value, high := l.JudgedValue()
	limit := l.Allowed()
	switch {
	case l.Sequences == 0:
		l.Verdict, l.WouldDo = NotEnough, usualSequences
	case math.IsNaN(value):
		l.Verdict = Fail // the float network makes no error here, the fixed one does
	case value > limit:
		l.Verdict = Fail
	case l.Sequences < l.Metric.Fewest():
		l.Verdict, l.WouldDo = NotEnough, max(usualSequences, l.Metric.Fewest())
	case high <= limit:
		l.Verdict = Pass
	default:
		l.Verdict = NotEnough
		if room := limit - value; room > 0 && !math.IsNaN(high) {
			count := dataset.TooFew(l.independent(), (high-value)/room)
			// as many of every further sequence
			each := float64(l.independent()) / float64(l.Sequences)
			l.WouldDo = int(math.Ceil(float64(count) / each))
		}
	}
}

// usualSequences is the number of sequences that a row without any interval is said to need: about
// as many as make intervals narrow enough for usual tolerances (common practice, no source).
const usualSequences = 6

// JudgedValue is what the tolerance is compared with, and the upper end of its 95 % interval. For
// the explained share it is what is not explained.
func (l *Loss) JudgedValue() (value, high float64) {
	if l.Relative {
		return l.Rise, l.RiseHigh
	}
	switch l.Metric {
	case dataset.Explained:
		return 1 - l.Fixed, 1 - l.FixedLow
	case dataset.Bias:
		return math.Abs(l.Fixed), math.Max(math.Abs(l.FixedLow), math.Abs(l.FixedHigh))
	case dataset.MaxError:
		return l.Fixed, l.Fixed // resampling cannot exceed the largest error seen
	}
	return l.Fixed, l.FixedHigh
}

// Allowed is the most that the judged value may be.
func (l *Loss) Allowed() float64 {
	if l.Metric == dataset.Explained {
		return 1 - l.Tolerance
	}
	return l.Tolerance
}

// independent returns the number of independent parts that the intervals rest on.
func (l *Loss) independent() int {
	if l.Blocks > 0 {
		return l.Blocks
	}
	return l.Sequences
}
