package dataset

const (
	// piecesPerBlock is into how many pieces the shortest block is cut, so that blocks can move by
	// less than their length. The shortest block has twice the memory of the network.
	piecesPerBlock = 8
	// mostPieces bounds the pieces of a sequence: each takes a tally per output and region.
	mostPieces = 256
)

// pieceSteps is the length of the pieces in which scores keep the errors of a sequence; 0 where
// they keep whole sequences, because the memory of the network is not known.
func (r *Recordings) pieceSteps() int {
	if r.Memory == 0 {
		return 0
	}
	longest := 0
	for _, s := range r.Sequences {
		longest = max(longest, s.Steps)
	}
	return max(1, parts(2*r.Memory, piecesPerBlock), parts(longest, mostPieces))
}

// parts is the length of n equal parts of a whole, rounded up.
func parts(whole, n int) int { return (whole + n - 1) / n }

// pieces is the number of pieces of a sequence; the last may be shorter.
func (s *Score) pieces(sequence *Sequence) int {
	if s.piece == 0 {
		return 1
	}
	return max(1, parts(sequence.Steps, s.piece))
}

// pieceOf is the piece that a step of a sequence belongs to.
func (s *Score) pieceOf(sequence, step int) int {
	if s.piece == 0 {
		return s.first[sequence]
	}
	return s.first[sequence] + step/s.piece
}

// piecesOf are the tallies of the pieces of a sequence in a slice, in their order; those without a
// step that counts are among them.
func (s *Score) piecesOf(sequence int, slice Slice) []*tally {
	all := make([]*tally, 0, s.first[sequence+1]-s.first[sequence])
	for piece := s.first[sequence]; piece < s.first[sequence+1]; piece++ {
		all = append(all, s.at(piece, slice.Output, slice.Region))
	}
	return all
}

// together adds up pieces; a single one is handed back as it is.
func together(pieces []*tally) *tally {
	if len(pieces) == 1 {
		return pieces[0]
	}
	var sum tally
	for _, p := range pieces {
		sum.merge(p)
	}
	return &sum
}
