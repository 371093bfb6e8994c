package quant

// Word is one of the words that the formats of a network choose.
type Word int

// The three words of a recurrent layer, and the word of a dense layer.
const (
	InputWeights     Word = iota // LayerFormats.InputBits
	RecurrentWeights             // LayerFormats.RecurrentBits
	StateWord                    // LayerFormats.StateBits
	DenseWeights                 // Formats.Dense
)

// Partial narrows one word for some units only. No format stores such a network: it serves to find
// out by measurement which units a wide word is needed for.
type Partial struct {
	Word   Word   // the word that is narrowed
	Layer  int    // index of the recurrent layer; of the dense layer for DenseWeights
	Bits   int    // the narrower word
	Narrow []bool // per unit: its rows or its state are rounded as for the narrower word
}

// bits returns the words of the rows of a matrix, nil when all rows have the word own.
func (n *Partial) bits(word Word, layer, rows, own int) []int {
	if n == nil || n.Word != word || n.Layer != layer {
		return nil
	}
	all := make([]int, rows)
	for r := range all {
		all[r] = own
		if n.Narrow[r%len(n.Narrow)] {
			all[r] = n.Bits
		}
	}
	return all
}

// coarsen makes a wide state lose the bits that the 16-bit state of the same unit does not hold.
func (n *Partial) coarsen(q *Layer, layer int, r LayerRange) {
	if n == nil || n.Word != StateWord || n.Layer != layer || !q.wide() {
		return
	}
	lost := wideStateFraction - stateFraction
	if q.Kind.HasCell() {
		lost = q.CellFraction - narrowCellFraction(r)
	}
	q.lost = make([]uint8, q.Units)
	for j, narrow := range n.Narrow {
		if narrow {
			q.lost[j] = uint8(lost)
		}
	}
}

// coarsened returns a new state of unit j without the bits that coarsen takes.
func (q *Layer) coarsened(j int, v int32) int32 {
	if q.lost == nil || q.lost[j] == 0 {
		return v
	}
	return roundShift(v, q.lost[j]) << q.lost[j]
}
