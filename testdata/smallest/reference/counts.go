package main

import (
	"iter"
	"slices"

	"kerf/budget"
)

// counts returns the numbers of units to try, per recurrent layer, the fewest first, up to what
// plan takes without training; each is decided on once the ones before it are tried. Several layers
// have units in proportion to those of the network as given, and then, from the first numbers that
// hold, each layer gets smaller by itself until nothing holds. beyond is how many numbers are tried
// after the least that holds; all if it is less than 0.
func (j *job) counts(in *budget.Inputs, beyond int) iter.Seq[[]int] {
	return func(yield func([]int) bool) {
		var given []int
		for _, l := range in.Float.Net.Recurrent {
			given = append(given, l.Units)
		}
		var least []int // of the numbers that hold
		after := 0
		for n := 1; n <= slices.Max(given); n++ {
			count := make([]int, len(given))
			for l, units := range given {
				count[l] = (n*units + slices.Max(given) - 1) / slices.Max(given)
			}
			if sum(count) > sum(j.Untrained.Units) || least != nil && after == beyond {
				break
			}
			if least != nil {
				after++
			}
			if !yield(count) {
				return
			}
			if least == nil && j.holds(count) {
				least = count
			}
		}
		if len(given) == 1 || least == nil {
			return
		}
		for l := range least {
			for least[l] > 1 {
				smaller := slices.Clone(least)
				smaller[l]--
				if !yield(smaller) {
					return
				}
				if !j.holds(smaller) {
					break
				}
				least = smaller
			}
		}
	}
}

// sum adds numbers of units.
func sum(counts []int) int {
	n := 0
	for _, c := range counts {
		n += c
	}
	return n
}
