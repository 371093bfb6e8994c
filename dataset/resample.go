package dataset

import (
	"math"
	"math/rand/v2"
)

// resamples is the number of times the sequences are drawn anew. Many ends of a
// 95 % interval then lie at about the 50th value from either end, where more draws
// move them by far less than the width of the interval.
const resamples = 2000

// pairs are the sequences of one slice under two predictors.
type pairs interface {
	steps() int
	sequences() int
	whole() (base, other float64)
	// weights of the sequences in a rise, and in the value of the other predictor.
	weights() (ofRise, ofOther []float64)
	// resample draws as many sequences as there are, with replacement, and hands over both values,
	// [resamples] times.
	resample(take func(base, other float64))
	// leaveOut hands over both values without each sequence in turn.
	leaveOut(take func(base, other float64))
}

// pairsOf takes the short way where a metric is a function of one sum over steps.
func pairsOf(a, b []*tally, metric Metric) pairs { return pairsOver(a, b, a, metric) }

// pairsOver is [pairsOf] with explained shares of the errors of a third predictor.
func pairsOver(a, b, third []*tally, metric Metric) pairs {
	t := tallyPairs{a, b, metric}
	if len(a) == 0 {
		return t
	}
	part, value := sums(metric)
	if part == nil {
		return t
	}
	s := &sumPairs{metric: metric, value: value, each: make([]sumPair, len(a))}
	for i := range a {
		s.each[i] = sumPair{part(a[i]), part(b[i]), float64(a[i].steps)}
		if metric == Explained {
			s.each[i].over = part(third[i])
		}
		s.all.add(s.each[i])
		s.count += a[i].steps
	}
	return s
}

// sums says what a metric adds up over sequences, and what it makes of the mean over steps, of an
// explained share of the ratio to the sum of what it is a share of; nil where a metric needs more
// sums.
func sums(m Metric) (part func(*tally) float64, value func(mean float64) float64) {
	same := func(mean float64) float64 { return mean }
	switch m {
	case RMSE:
		return func(t *tally) float64 { return t.sumSq }, math.Sqrt
	case MAE:
		return func(t *tally) float64 { return t.sumAbs }, same
	case Bias:
		return func(t *tally) float64 { return t.sum }, same
	case Explained:
		return func(t *tally) float64 {
			if t.members != nil {
				return float64(t.steps - t.recognised())
			}
			return t.sumSq
		}, func(ratio float64) float64 { return 1 - ratio }
	case Agreement:
		return func(t *tally) float64 { return float64(t.agreed) }, same
	case Accuracy:
		return func(t *tally) float64 { return float64(t.recognised()) }, same
	}
	return nil, nil
}

// sumPair holds the sums of two predictors, and what they are divided by: steps, of an explained
// share the sum of what it is a share of.
type sumPair struct{ base, other, over float64 }

func (s *sumPair) add(o sumPair) {
	s.base += o.base
	s.other += o.other
	s.over += o.over
}

type sumPairs struct {
	metric Metric
	value  func(mean float64) float64
	each   []sumPair
	all    sumPair
	count  int // steps
}

func (s *sumPairs) of(p sumPair) (base, other float64) {
	return s.value(p.base / p.over), s.value(p.other / p.over)
}

func (s *sumPairs) steps() int                   { return s.count }
func (s *sumPairs) sequences() int               { return len(s.each) }
func (s *sumPairs) whole() (base, other float64) { return s.of(s.all) }

// weights: in a ratio of two sums a sequence weighs what it adds to the lower one.
func (s *sumPairs) weights() (ofRise, ofOther []float64) {
	var over []float64
	for _, p := range s.each {
		ofRise, ofOther = append(ofRise, p.base), append(ofOther, p.other)
		over = append(over, p.over)
	}
	switch s.metric {
	case RMSE, MAE:
		return ofRise, ofOther
	case Accuracy, Agreement:
		for i, p := range s.each {
			ofRise[i] = float64(2*p.over) - p.base - p.other
		}
		return ofRise, ofRise
	}
	return over, over
}

func (s *sumPairs) resample(take func(base, other float64)) {
	random := drawing(len(s.each))
	for range resamples {
		var sum sumPair
		for range s.each {
			sum.add(s.each[random.IntN(len(s.each))])
		}
		take(s.of(sum))
	}
}

// leaveOut adds up what stays, and takes nothing off the whole: what is nothing stays nothing.
func (s *sumPairs) leaveOut(take func(base, other float64)) {
	behind := make([]sumPair, len(s.each)+1)
	for i := len(s.each) - 1; i >= 0; i-- {
		behind[i] = behind[i+1]
		behind[i].add(s.each[i])
	}
	var before sumPair
	for i, p := range s.each {
		rest := before
		rest.add(behind[i+1])
		take(s.of(rest))
		before.add(p)
	}
}

// tallyPairs serve every metric.
type tallyPairs struct {
	a, b   []*tally
	metric Metric
}

func (t tallyPairs) of(each func(yield func(i int) bool)) (base, other float64, steps int) {
	var a, b tally
	for i := range each {
		a.merge(t.a[i])
		b.merge(t.b[i])
	}
	return a.value(t.metric), b.value(t.metric), a.steps
}

func (t tallyPairs) everyOne(yield func(int) bool) {
	for i := range t.a {
		if !yield(i) {
			return
		}
	}
}

func (t tallyPairs) steps() int {
	_, _, steps := t.of(t.everyOne)
	return steps
}

func (t tallyPairs) sequences() int { return len(t.a) }

func (t tallyPairs) whole() (base, other float64) {
	base, other, _ = t.of(t.everyOne)
	return base, other
}

func (t tallyPairs) weights() (ofRise, ofOther []float64) {
	for i, u := range t.a {
		w := float64(u.steps)
		if t.metric == BalancedAccuracy {
			w = float64(2*u.steps - u.recognised() - t.b[i].recognised())
		}
		ofOther = append(ofOther, w)
	}
	return ofOther, ofOther
}

func (t tallyPairs) resample(take func(base, other float64)) {
	random := drawing(len(t.a))
	for range resamples {
		base, other, _ := t.of(func(yield func(int) bool) {
			for range t.a {
				if !yield(random.IntN(len(t.a))) {
					return
				}
			}
		})
		take(base, other)
	}
}

func (t tallyPairs) leaveOut(take func(base, other float64)) {
	for out := range t.a {
		base, other, _ := t.of(func(yield func(int) bool) {
			for i := range t.a {
				if i != out && !yield(i) {
					return
				}
			}
		})
		take(base, other)
	}
}

// drawing is the same for the same number of sequences.
func drawing(sequences int) *rand.Rand {
	return rand.New(rand.NewPCG(uint64(sequences), 0x6b657266)) // "kerf"
}

// TooFew tells how many sequences would do, about, when an interval of this many reaches too far by
// the factor times: its half-width goes with t/√(n-1). It is 0 when that would be absurdly many.
func TooFew(sequences int, times float64) int {
	const absurd = 1_000_000
	reach := func(n int) float64 { return expanded(float64(n)) / math.Sqrt(float64(n)) }
	goal := reach(sequences) / times
	if !(reach(absurd) <= goal) {
		return 0
	}
	low, high := sequences, absurd // reach falls: the first n that reaches the goal lies between
	for low < high {
		if middle := (low + high) / 2; reach(middle) <= goal {
			high = middle
		} else {
			low = middle + 1
		}
	}
	return low
}
