package dataset

import "math"

// Few sequences that are long can be judged by blocks of their steps: a block hardly depends on the
// next one if it has at least twice the memory of the network, and twice the number of steps over
// which the differences between the predictors are correlated. The moving-block bootstrap (Kuensch
// 1989, "The jackknife and the bootstrap for general stationary observations") has a standard error
// in closed form for sums, and this file uses that form: the mean square of the sums over all
// blocks, where a block begins at every piece.
//
// Blocks do not show how sequences differ from each other. So the interval of the blocks stands
// alone only where the means of blocks differ less between sequences than blocks within one
// sequence would make them differ by chance; elsewhere the wider of both intervals counts. The
// limits fewestBlocks, alikeTwo and alikeMore are those with which, in the simulation, no interval
// that signs holds the truth in less than 90 % (docs/intervals.md).
const (
	fewestBlocks = 12 // in all sequences together

	// The largest ratios of the variance between sequences to that within them, see [blocks.ratio],
	// at which sequences count as alike: alikeTwo for two sequences, whose ratio says least, and
	// alikeMore for three and more.
	alikeTwo  = 0.1
	alikeMore = 0.5

	// The least share (sum of lengths)²/(number of sequences · sum of their squares) at which the
	// interval of the blocks may stand alone. Our choice: one of two sequences may be four times as
	// long as the other, one of five three times as long as the others.
	evenShare = 0.7
)

// judgeByBlocks replaces the intervals of a comparison by those that also rest on blocks, where the
// memory of the network is known and the sequences have enough blocks. Elsewhere it leaves the
// comparison as it is.
func judgeByBlocks(base, other *Score, slice Slice, metric Metric, c *Comparison) {
	if base.piece == 0 {
		return
	}
	rises, others := influences(base, other, slice, metric)
	if others == nil {
		return
	}
	shortest := ceilDiv(2*base.rec.Memory, base.piece)
	length := max(shortest, 2*others.decay())
	if !math.IsNaN(c.Rise) {
		length = max(length, 2*rises.decay())
	}
	b := blocks{length: length}
	if b.count(others) < fewestBlocks {
		return
	}
	low, high := b.interval(others, c.Other, c.OtherLow, c.OtherHigh)
	decide := low != c.OtherLow || high != c.OtherHigh
	c.OtherLow, c.OtherHigh = low, high
	if !math.IsNaN(c.Rise) {
		low, high = b.interval(rises, c.Rise, c.RiseLow, c.RiseHigh)
		decide = decide || low != c.RiseLow || high != c.RiseHigh
		c.RiseLow, c.RiseHigh = low, high
	}
	if decide {
		c.Blocks, c.BlockSteps = b.count(others), length*base.piece
	}
}

// series holds the influence of every piece on a figure, [sequences][pieces]: the figure of all
// pieces less the figure without this one.
type series [][]float64

// influences returns the influences of the pieces on the rise and on the value of the other
// predictor. Both are nil for a metric that is not a function of sums over steps.
func influences(base, other *Score, slice Slice, metric Metric) (rises, others series) {
	a, b := base.inPieces(slice, metric, base), other.inPieces(slice, metric, base)
	var flatA, flatB []*tally
	for i := range a {
		flatA, flatB = append(flatA, a[i]...), append(flatB, b[i]...)
	}
	pairs, ok := pairsOf(flatA, flatB, metric).(*sumPairs)
	if !ok {
		return nil, nil
	}
	baseAll, otherAll := pairs.whole()
	riseAll := rise(baseAll, otherAll, metric)
	var ofRise, ofOther []float64
	pairs.leaveOut(func(base, other float64) {
		ofRise = append(ofRise, riseAll-rise(base, other, metric))
		ofOther = append(ofOther, otherAll-other)
	})
	at := 0
	for _, pieces := range a {
		rises = append(rises, ofRise[at:at+len(pieces)])
		others = append(others, ofOther[at:at+len(pieces)])
		at += len(pieces)
	}
	return rises, others
}

// decay returns the first lag, in pieces, at which the autocorrelation of the influences is below
// 1/e, or the length of the longest sequence where there is no such lag.
func (s series) decay() int {
	longest := 0
	for _, v := range s {
		longest = max(longest, len(v))
	}
	product := func(lag int) float64 {
		sum, n := 0.0, 0
		for _, v := range s {
			for p := 0; p+lag < len(v); p++ {
				sum += float64(v[p] * v[p+lag])
				n++
			}
		}
		if n == 0 {
			return 0
		}
		return sum / float64(n)
	}
	variance := product(0)
	for lag := 1; lag < longest; lag++ {
		if product(lag) < variance/math.E {
			return lag
		}
	}
	return longest
}

// blocks computes with blocks of one length.
type blocks struct{ length int } // in pieces

// count returns how many blocks fit into the sequences without overlap.
func (b blocks) count(s series) int {
	n := 0
	for _, v := range s {
		n += len(v) / b.length
	}
	return n
}

// interval returns the 95 % interval of a value from the blocks where the sequences are alike and
// about equally long, else the outer ends of that interval and the given one.
func (b blocks) interval(s series, value, low, high float64) (float64, float64) {
	half := float64(studentsT(float64(b.count(s))) * b.standardError(s))
	alike := alikeMore
	if len(s) == 2 {
		alike = alikeTwo
	}
	if b.ratio(s) <= alike && s.isEven() {
		return value - half, value + half
	}
	return min(low, value-half), max(high, value+half)
}

// isEven reports whether the sequences are about equally long, see [evenShare]. A sequence of few
// blocks cannot show that it is like the others.
func (s series) isEven() bool {
	sum, squares := 0.0, 0.0
	for _, v := range s {
		n := float64(len(v))
		sum, squares = sum+n, squares+float64(n*n)
	}
	return float64(sum*sum) >= evenShare*float64(len(s))*squares
}

// standardError returns the standard error of the sum of all influences.
func (b blocks) standardError(s series) float64 {
	squares, n, pieces := 0.0, 0, 0
	for _, v := range s {
		pieces += len(v)
		for first := 0; first+b.length <= len(v); first++ {
			sum := 0.0
			for _, x := range v[first : first+b.length] {
				sum += x
			}
			squares += float64(sum * sum)
			n++
		}
	}
	count := float64(b.count(s))
	return math.Sqrt(squares / float64(n) * float64(pieces) / float64(b.length) * count /
		(count - 1))
}

// ratio returns the variance of the means of blocks between sequences over the variance within them
// (analysis of variance with one factor). It is about 1 where sequences do not differ, and above 1
// where they do; it is infinite where a sequence is shorter than a block.
func (b blocks) ratio(s series) float64 {
	var means [][]float64
	total, n := 0.0, 0.0
	for _, v := range s {
		var own []float64
		for first := 0; first+b.length <= len(v); first += b.length {
			sum := 0.0
			for _, x := range v[first : first+b.length] {
				sum += x
			}
			own = append(own, sum)
			total += sum
		}
		if len(own) > 0 {
			means, n = append(means, own), n+float64(len(own))
		}
	}
	between, within := 0.0, 0.0
	for _, own := range means {
		mean := 0.0
		for _, m := range own {
			mean += m / float64(len(own))
		}
		d := mean - total/n
		between += float64(float64(len(own)) * float64(d*d))
		for _, m := range own {
			within += float64((m - mean) * (m - mean))
		}
	}
	groups := float64(len(means))
	if groups < float64(len(s)) {
		return math.Inf(1) // a sequence is shorter than a block
	}
	return between / (groups - 1) / (within / (n - groups))
}
