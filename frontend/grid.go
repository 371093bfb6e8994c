package frontend

import (
	"math"
	"slices"
)

// Constants of [Converter.Grid], our choice.
const (
	gridBins   = 16   // in a step of the converter: values nearer to each other are one
	gridPoints = 8    // fewer different values say nothing of a grid
	gridSlack  = 0.1  // of a grid: how far from it a point may lie, as rounded texts do
	gridMargin = 1.05 // times a step of the converter, and more, is wider than it
)

// Grid returns how far apart the values are that samples of a channel can have, where that is more
// than a step of its converter: a coarser one recorded them. It is 0 where the values lie on no
// such grid, or are too few to tell.
func (c Converter) Grid(samples ...[]float64) float64 {
	points := c.points(samples)
	if len(points) < gridPoints {
		return 0
	}
	// The greatest common divisor of the distances, as Euclid's algorithm has it. The least ones
	// are averaged, since the last digits of values are rounded.
	var apart []float64
	for i := range points[1:] {
		apart = append(apart, points[i+1]-points[i])
	}
	rest := slices.Min(apart)
	grid := 0.0
	for rest > 0 {
		sum, n := 0.0, 0
		for _, d := range append(apart, rest) {
			if d < 1.5*rest {
				sum += d
				n++
			}
		}
		if grid = sum / float64(n); grid < gridMargin*c.Step() {
			return 0
		}
		rest = 0
		for _, d := range apart {
			if off := math.Abs(d - float64(math.Round(d/grid)*grid)); off > gridSlack*grid {
				rest = off
				break
			}
		}
	}
	// over all of the range, where errors of single points are small
	total := 0.0
	for i := range points[1:] {
		total += math.Round((points[i+1] - points[i]) / grid)
	}
	return (points[len(points)-1] - points[0]) / total
}

// FinerGrid returns how far apart samples lie that a converter with finer steps recorded, down to
// half of 2^-finerBits of a step; 0 where they lie on no such grid.
func (c Converter) FinerGrid(samples ...[]float64) float64 {
	const finerBits = 4 // our choice
	fine := c
	fine.Bits += finerBits
	if grid := fine.Grid(samples...); float64(grid*gridMargin) < c.Step() {
		return grid
	}
	return 0
}

// IsDecimal reports whether a grid is 1, 2 or 5 times a power of ten: rounding to digits makes such
// a one as well as a converter does.
func IsDecimal(grid float64) bool {
	const slack = 0.01 // of the grid, which is measured
	for grid > 0 && grid < 1-slack {
		grid *= 10
	}
	for grid > 10-float64(10*slack) {
		grid /= 10
	}
	return slices.ContainsFunc([]float64{1, 2, 5}, func(digit float64) bool {
		return math.Abs(grid-digit) <= float64(slack*digit)
	})
}

// points returns the values within the range of the converter in rising order, each once; none
// where they are more than a grid wider than a step leaves room for.
func (c Converter) points(samples [][]float64) []float64 {
	seen := map[int64]float64{}
	for _, values := range samples {
		for _, v := range values {
			if v < c.Low || v > c.High {
				continue
			}
			bin := int64(math.Floor((v - c.Low) / c.Step() * gridBins))
			if _, known := seen[bin]; known {
				continue
			}
			// a point at the edge of two bins is one
			if _, known := seen[bin-1]; known {
				continue
			}
			if _, known := seen[bin+1]; known {
				continue
			}
			if seen[bin] = v; len(seen) > 1<<c.Bits {
				return nil
			}
		}
	}
	points := make([]float64, 0, len(seen))
	for _, v := range seen {
		points = append(points, v)
	}
	slices.Sort(points)
	return points
}
