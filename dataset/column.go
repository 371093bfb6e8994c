package dataset

import (
	"slices"

	"kerf/portable"
)

// Column lists the values of one column of all sequences, one after the other. values returns the
// values of a sequence step by step, columns at a time: its X or its Y.
func Column(columns, index int, rec *Recordings, values func(*Sequence) []float64) []float64 {
	var all []float64
	for _, s := range rec.Sequences {
		for i := index; i < len(values(s)); i += columns {
			all = append(all, values(s)[i])
		}
	}
	return all
}

// MeanStd returns the mean and the standard deviation by which values are normalised: 1 where all
// values are equal.
func MeanStd(values []float64) (mean, std float64) {
	mean, std = portable.MeanStd(values)
	if !(std > 0) {
		std = 1
	}
	return mean, std
}

// NamesWithout lists the names that are not among those that are gone, in their order.
func NamesWithout(names, gone []string) []string {
	var rest []string
	for _, n := range names {
		if !slices.Contains(gone, n) {
			rest = append(rest, n)
		}
	}
	return rest
}
