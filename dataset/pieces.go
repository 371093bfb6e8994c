package dataset

const (
	// piecesPerBlock is the number of pieces in the shortest block, which has twice the memory of
	// the network. Our choice: blocks can move by less than their length.
	piecesPerBlock = 8
	// mostPieces is the most pieces of a sequence. Our choice, to bound the memory of a score:
	// each piece takes a tally per output and region.
	mostPieces = 256
)

// pieceSteps returns the length in time steps of the pieces in which scores keep the errors of a
// sequence. It is 0 where the memory of the network is not known: then scores keep whole sequences.
func (r *Recordings) pieceSteps() int {
	if r.Memory == 0 {
		return 0
	}
	longest := 0
	for _, s := range r.Sequences {
		longest = max(longest, s.Steps)
	}
	return max(1, ceilDiv(2*r.Memory, piecesPerBlock), ceilDiv(longest, mostPieces))
}

// ceilDiv returns a/b, rounded up.
func ceilDiv(a, b int) int { return (a + b - 1) / b }

// pieces returns the number of pieces of a sequence; the last may be shorter than the others.
func (s *Score) pieces(sequence *Sequence) int {
	if s.piece == 0 {
		return 1
	}
	return max(1, ceilDiv(sequence.Steps, s.piece))
}

// pieceOf returns the index of the piece that a step of a sequence belongs to.
func (s *Score) pieceOf(sequence, step int) int {
	if s.piece == 0 {
		return s.first[sequence]
	}
	return s.first[sequence] + step/s.piece
}

// piecesOf returns the tallies of all pieces of a sequence in a slice, in their order. Pieces
// without a step that counts are among them.
func (s *Score) piecesOf(sequence int, slice Slice) []*tally {
	all := make([]*tally, 0, s.first[sequence+1]-s.first[sequence])
	for piece := s.first[sequence]; piece < s.first[sequence+1]; piece++ {
		all = append(all, s.at(piece, slice.Output, slice.Region))
	}
	return all
}

// merged returns the sum of tallies. A single one is returned itself, not copied.
func merged(pieces []*tally) *tally {
	if len(pieces) == 1 {
		return pieces[0]
	}
	var sum tally
	for _, p := range pieces {
		sum.merge(p)
	}
	return &sum
}
