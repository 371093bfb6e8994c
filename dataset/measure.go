package dataset

import (
	"math"
	"slices"
)

// Metric names a measure of the error of a predictor.
type Metric string

// The metrics of a regression, in the unit of the output.
const (
	RMSE     Metric = "rmse"      // root of the mean squared error
	MAE      Metric = "mae"       // mean magnitude of the error
	MaxError Metric = "max_error" // largest magnitude of the error
	Bias     Metric = "bias"      // mean of prediction minus reference
)

// The metrics of a classifier, as fractions of steps.
const (
	Accuracy         Metric = "accuracy"          // steps whose class is predicted
	BalancedAccuracy Metric = "balanced_accuracy" // mean of the accuracies on each class
	Agreement        Metric = "agreement"         // steps with the class that the base predicts
)

// Explained is the share of the error of the base that the other predictor takes away: 1 less the
// ratio of their sums of squared errors, or of a classifier of their wrong steps. With a [Constant]
// as the base it is the share of the variance that a network explains.
const Explained Metric = "explained"

// Metrics lists the metrics of a regression or a classifier in the order of the report.
func Metrics(classes bool) []Metric {
	if classes {
		return []Metric{Accuracy, BalancedAccuracy, Agreement}
	}
	return []Metric{RMSE, MAE, MaxError, Bias}
}

// IsKnown reports whether this package knows a metric.
func (m Metric) IsKnown() bool {
	return m == Explained || slices.Contains(slices.Concat(Metrics(false), Metrics(true)), m)
}

// IsShare reports whether a metric is a share of steps, of which more is better and a loss is
// counted in percentage points.
func (m Metric) IsShare() bool { return slices.Contains(Metrics(true), m) }

// tally holds the sums of the errors of one output over some steps.
type tally struct {
	steps  int
	sum    float64
	sumAbs float64
	sumSq  float64
	max    float64 // largest magnitude

	members, found []int // of a classifier [classes]: steps, and those with the right class
	agreed         int   // of a classifier: steps on which the base predicts the same class
}

func (t *tally) add(e float64) {
	t.steps++
	t.sum += e
	t.sumAbs += math.Abs(e)
	t.sumSq += float64(e * e)
	t.max = math.Max(t.max, math.Abs(e))
}

// merge adds the sums of another tally.
func (t *tally) merge(u *tally) {
	t.steps += u.steps
	t.sum += u.sum
	t.sumAbs += u.sumAbs
	t.sumSq += u.sumSq
	t.max = math.Max(t.max, u.max)
	t.agreed += u.agreed
	if t.members == nil && u.members != nil {
		t.members, t.found = make([]int, len(u.members)), make([]int, len(u.found))
	}
	for c := range u.members {
		t.members[c] += u.members[c]
		t.found[c] += u.found[c]
	}
}

// addClass counts one step of a classifier.
func (t *tally) addClass(class, predicted int) {
	t.steps++
	t.members[class]++
	if class == predicted {
		t.found[class]++
	}
}

// recognised returns the number of steps of a classifier whose predicted class is right.
func (t *tally) recognised() int {
	sum := 0
	for _, f := range t.found {
		sum += f
	}
	return sum
}

// value returns a metric over the steps of a tally, 0 if there are none.
func (t *tally) value(m Metric) float64 {
	if t.steps == 0 {
		return 0
	}
	n := float64(t.steps)
	switch m {
	case RMSE:
		return math.Sqrt(t.sumSq / n)
	case MAE:
		return t.sumAbs / n
	case MaxError:
		return t.max
	case Bias:
		return t.sum / n
	case Accuracy:
		return float64(t.recognised()) / n
	case BalancedAccuracy:
		sum, classes := 0.0, 0.0
		for c, members := range t.members {
			if members > 0 {
				sum += float64(t.found[c]) / float64(members)
				classes++
			}
		}
		return sum / classes
	case Agreement:
		return float64(t.agreed) / n
	}
	panic("dataset: no value of one predictor for the metric " + string(m))
}

// Score holds the errors of one predictor on some recordings. It keeps them per sequence, so that
// [Compare] can pair and resample them, and in pieces of sequences where [Recordings.Memory] is
// known.
type Score struct {
	rec     *Recordings
	regions int // their number
	piece   int // steps of a piece; 0 where a sequence is one piece
	// index of the first piece of each sequence, and behind them the number of pieces
	first   []int
	tallies []tally // [pieces × outputs × (1 + regions)]; the first of a region is everywhere
	classes [][]int // of a classifier [sequences][steps]: the predicted class
}

func newScore(rec *Recordings, regions int) *Score {
	s := &Score{rec: rec, regions: regions, piece: rec.pieceSteps(),
		first: make([]int, len(rec.Sequences)+1)}
	for i, sequence := range rec.Sequences {
		s.first[i+1] = s.first[i] + s.pieces(sequence)
	}
	s.tallies = make([]tally, s.first[len(rec.Sequences)]*rec.Outputs*(1+regions))
	if rec.Classes {
		s.classes = make([][]int, len(rec.Sequences))
	}
	return s
}

// at returns the tally of a piece, for one output in one region; region -1 is everywhere.
func (s *Score) at(piece, output, region int) *tally {
	return &s.tallies[(piece*s.rec.Outputs+output)*(1+s.regions)+1+region]
}

// Measure runs a predictor over all recordings, on all cores, and scores it against the reference
// outputs. The result does not depend on the number of cores. The first [Sequence.Settle] steps of
// a sequence count nowhere.
func Measure(p Predictor, rec *Recordings, regions []Region) *Score {
	score := newScore(rec, len(regions))
	EachPrediction(p, rec, func(i int, s *Sequence, predicted []float64) {
		if rec.Classes {
			score.tallyClasses(i, s, predicted)
			return
		}
		score.tallySequence(i, s, predicted, regions)
	})
	return score
}

// tallySequence adds up the errors of the predictions [Steps × Outputs] for sequence i.
func (s *Score) tallySequence(i int, sequence *Sequence, predicted []float64, regions []Region) {
	outputs := s.rec.Outputs
	for step := sequence.Settle; step < sequence.Steps; step++ {
		y := sequence.Y[step*outputs : (step+1)*outputs]
		got := predicted[step*outputs : (step+1)*outputs]
		piece := s.pieceOf(i, step)
		for o := range y {
			s.at(piece, o, -1).add(got[o] - y[o])
		}
		for r, region := range regions {
			if !region.Contains(y) {
				continue
			}
			for o := range y {
				s.at(piece, o, r).add(got[o] - y[o])
			}
		}
	}
}

// tallyClasses counts the classes that the predicted scores [Steps × Outputs] for sequence i stand
// for.
func (s *Score) tallyClasses(i int, sequence *Sequence, predicted []float64) {
	classes := make([]int, sequence.Steps)
	for step := range classes {
		classes[step] = Class(predicted[step*s.rec.Outputs : (step+1)*s.rec.Outputs])
	}
	s.countClasses(i, sequence, classes)
}

// countClasses counts the steps of a sequence under output 0 and keeps its predicted classes
// [steps].
func (s *Score) countClasses(i int, sequence *Sequence, classes []int) {
	outputs := s.rec.Outputs
	s.classes[i] = classes
	for piece := s.first[i]; piece < s.first[i+1]; piece++ {
		t := s.at(piece, 0, -1)
		t.members, t.found = make([]int, outputs), make([]int, outputs)
	}
	for step := sequence.Settle; step < sequence.Steps; step++ {
		want := Class(sequence.Y[step*outputs : (step+1)*outputs])
		s.at(s.pieceOf(i, step), 0, -1).addClass(want, classes[step])
	}
}

// Class returns the index of the largest score, or of the first of several that are equal.
func Class(scores []float64) int {
	best := 0
	for c, v := range scores {
		if v > scores[best] {
			best = c
		}
	}
	return best
}
