package quant

import (
	"math"

	"kerf/portable"
)

// The table holds tanh at i/32 for i = 0..256 with 15 fraction bits: up to 8, where tanh is 1 to
// within a quarter of the last place.
const (
	tableSteps       = 256
	tableStepsPerOne = 32
)

// tanhTable holds the nodes of the table.
var tanhTable = makeTanhTable()

// makeTanhTable returns tanh at the nodes of the table. It raises every node but that at 0 by half
// of the mean gap between tanh and the chords on either side of the node, each taken at its middle.
// A chord of a concave curve lies below it, so the error then swings to both sides and its largest
// value halves.
func makeTanhTable() [tableSteps + 1]int16 {
	at := func(i float64) float64 { return portable.Tanh(i / tableStepsPerOne) }
	gap := func(i float64) float64 { return at(i+0.5) - float64((at(i)+at(i+1))/2) }
	var table [tableSteps + 1]int16
	for i := 1; i <= tableSteps; i++ {
		x := float64(i)
		node := at(x) + float64((gap(x-1)+gap(x))/4)
		table[i] = int16(math.Min(math.Round(node*32768), maxInt16))
	}
	return table
}

// TanhTable returns the nodes of the table with 15 fraction bits, tanh(i/32).
func TanhTable() []int16 {
	return append([]int16(nil), tanhTable[:]...)
}
