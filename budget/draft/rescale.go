package draft

import (
	"fmt"
	"math"
	"slices"

	"kerf/dataset"
)

// Rescaled is an output that a network would explain far better with another mean and std than the
// draft has: those of the training are neither 0 and 1 nor those of the recording.
type Rescaled struct {
	Output    string
	Mean, Std float64 // with which the network comes nearest to the recording
	Share     float64 // of the variance that it explains then
}

// String says what mean and std fit, and what they explain.
func (r Rescaled) String() string {
	return fmt.Sprintf("mean %.4g and std %.4g of output %s would explain %.1f %% of it: look at "+
		"outputs.csv, and at mean and std of the features", r.Mean, r.Std, r.Output, 100*r.Share)
}

// rescaledHalves is the share of the error that another mean and std must take away before they are
// named. Our choice: recordings of another part of the range move mean and std by less.
const rescaledHalves = 0.5

// rescaled returns, for every output, the mean and std with which a reading comes nearest to the
// recording: those of the least-squares line of what was recorded over what it predicts with a
// setting. Classes have none.
func (c *contest) rescaled(e *entrant, setting int) []Rescaled {
	if c.columns.column != "" {
		return nil
	}
	outputs := c.settings[setting].outputs
	runs := make([][]float64, len(c.rec.Sequences))
	dataset.EachPrediction(c.float(e.Reading, setting), c.rec,
		func(i int, _ *dataset.Sequence, predicted []float64) {
			runs[i] = slices.Clone(predicted)
		})
	predicted := make([][]float64, len(outputs))
	for _, run := range runs {
		for i, v := range run {
			predicted[i%len(outputs)] = append(predicted[i%len(outputs)], v)
		}
	}
	var all []Rescaled
	for o, out := range outputs {
		slope, offset, share := line(predicted[o], referenceOf(c.rec, o))
		all = append(all, Rescaled{out.Name, offset + float64(slope*out.Mean), slope * out.Std,
			share})
	}
	return all
}

// line returns the least-squares line of y over x and the share of the variance of y that it
// explains; a share of 0 where either stands still, or falls while the other grows.
func line(x, y []float64) (slope, offset, share float64) {
	meanX, stdX := dataset.MeanStd(x)
	meanY, stdY := dataset.MeanStd(y)
	both := 0.0
	for i := range x {
		both += float64((x[i] - meanX) * (y[i] - meanY))
	}
	both /= float64(len(x))
	if !(both > 0) || stdX == 0 || stdY == 0 {
		return 0, meanY, 0
	}
	slope = both / float64(stdX*stdX)
	r := both / float64(stdX*stdY)
	return slope, meanY - float64(slope*meanX), math.Min(float64(r*r), 1)
}

// halves reports whether the first of two takes away so much of the error that the second leaves,
// over all outputs.
func halves(a, b []Rescaled) bool {
	left := func(all []Rescaled) float64 {
		sum := 0.0
		for _, r := range all {
			sum += 1 - r.Share
		}
		return sum
	}
	return len(a) > 0 && left(a) < float64((1-rescaledHalves)*left(b))
}

// farOff returns the outputs of a reading whose mean and std are far from those that fit best. fits
// is what the reading explains with the setting that best was found with.
func farOff(best []Rescaled, fits []Fit) []Rescaled {
	var far []Rescaled
	for i, r := range best {
		if left := 1 - fits[i].Share; 1-r.Share < float64((1-rescaledHalves)*left) {
			far = append(far, r)
		}
	}
	return far
}
