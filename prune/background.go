package prune

import (
	"math/rand/v2"
	"slices"

	"kerf/dataset"
)

// backgroundsOf lists the sequences that absent players may follow in a sequence: all others, of
// whatever scenario. A sequence is never its own background, because against itself nothing would
// matter; of a single sequence the halves are the background of each other.
func backgroundsOf(selection *dataset.Recordings, sequence int) []*dataset.Sequence {
	if len(selection.Sequences) == 1 {
		return []*dataset.Sequence{halvesSwapped(selection.Sequences[0], selection.Features)}
	}
	return slices.Concat(selection.Sequences[:sequence], selection.Sequences[sequence+1:])
}

// halvesSwapped returns a copy of a sequence whose second half comes first.
func halvesSwapped(s *dataset.Sequence, features int) *dataset.Sequence {
	half := s.Steps / 2 * features
	swapped := *s
	swapped.X = slices.Concat(s.X[half:], s.X[:half])
	return &swapped
}

// draw returns the backgrounds of one sequence, each as likely as any other: all of them, some
// without replacement where all subsets are enumerated, or some with replacement for pairs of
// permutations.
func (p plan) draw(from []*dataset.Sequence, random *rand.Rand) []*dataset.Sequence {
	switch {
	case p.backgrounds == len(from) && (p.pairs == 0 || p.inTurn()):
		return from
	case p.pairs == 0:
		random.Shuffle(len(from), func(i, j int) { from[i], from[j] = from[j], from[i] })
		return from[:p.backgrounds]
	}
	drawn := make([]*dataset.Sequence, p.backgrounds)
	for k := range drawn {
		drawn[k] = from[random.IntN(len(from))]
	}
	return drawn
}
