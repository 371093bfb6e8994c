package dataset

import (
	"math"
	"math/rand/v2"
)

// resamples is the number of times the sequences are drawn anew. The ends of a 95 % interval then
// lie at about the 50th value from either end, where more draws move them by far less than the
// width of the interval.
const resamples = 2000

// pairs holds the sequences of one slice under two predictors.
type pairs interface {
	steps() int
	sequences() int
	whole() (base, other float64)
	// weights returns the weights of the sequences in a rise, and in the value of the other
	// predictor.
	weights() (ofRise, ofOther []float64)
	// resample draws as many sequences as there are, with replacement, and calls take with the
	// values of both predictors on them, [resamples] times.
	resample(take func(base, other float64))
	// leaveOut calls take with the values of both predictors without each sequence in turn.
	leaveOut(take func(base, other float64))
}

// pairsOf pairs the tallies of two predictors, sequence by sequence. Explained shares are of the
// error of a.
func pairsOf(a, b []*tally, metric Metric) pairs { return pairsOver(a, b, a, metric) }

// pairsOver does what [pairsOf] does, where explained shares are of the error of a third predictor.
// The pairs hold one sum per predictor and sequence where that is enough for the metric, else
// tallies.
func pairsOver(a, b, third []*tally, metric Metric) pairs {
	t := tallyPairs{a, b, metric}
	if len(a) == 0 {
		return t
	}
	part, value := sumOf(metric)
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

// sumOf returns the part of a tally that a metric adds up over sequences, and the function that
// gives the metric from the mean of that sum over steps; of an explained share, from the ratio of
// that sum to the sum of the predictor whose error is explained. Both are nil where a metric needs
// more than one sum.
func sumOf(m Metric) (part func(*tally) float64, value func(mean float64) float64) {
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

// sumPair holds the sums of two predictors and their divisor: the steps, or of an explained share
// the sum of the predictor whose error is explained.
type sumPair struct{ base, other, over float64 }

func (s *sumPair) add(o sumPair) {
	s.base += o.base
	s.other += o.other
	s.over += o.over
}

// sumPairs serves metrics that are a function of one sum over steps.
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

// weights returns for errors the sums of the base, which a rise is divided by, and those of the
// other predictor; for shares of steps the wrong steps of both predictors; and for other metrics
// the divisors.
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

// leaveOut adds up the sequences that stay, instead of subtracting one from the sum of all: so sums
// of zeros stay exactly 0.
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

// tallyPairs serves every metric.
type tallyPairs struct {
	a, b   []*tally
	metric Metric
}

// of returns the values of both predictors on the sequences that each yields, and their number of
// steps.
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

// weights returns the steps of every sequence, of the balanced accuracy the wrong steps of both
// predictors.
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

// drawing returns a random source that depends on the number of sequences alone.
func drawing(sequences int) *rand.Rand {
	return rand.New(rand.NewPCG(uint64(sequences), 0x6b657266)) // "kerf"
}

// TooFew returns about how many sequences would be enough where the interval over the given number
// reaches too far by the factor times: its half-width goes with t/√(n-1). It is 0 where that would
// be more than a million.
func TooFew(sequences int, times float64) int {
	const most = 1_000_000 // our choice: nobody records more
	reach := func(n int) float64 { return expanded(float64(n)) / math.Sqrt(float64(n)) }
	goal := reach(sequences) / times
	if !(reach(most) <= goal) {
		return 0
	}
	low, high := sequences, most // reach falls, so the least number that is enough lies between
	for low < high {
		if middle := (low + high) / 2; reach(middle) <= goal {
			high = middle
		} else {
			low = middle + 1
		}
	}
	return low
}
