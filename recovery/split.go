package recovery

import "kerf/dataset"

// heldBackOneIn says that one sequence in so many is held back and judges the epochs (our choice).
const heldBackOneIn = 5

// Split deals recordings, scenario by scenario, into sequences that are trained on and one sequence
// in five that is held back. Below three sequences the last one is held back; a single one serves
// both, and then nothing independent judges the epochs.
func Split(rec *dataset.Recordings) (training, heldBack *dataset.Recordings) {
	a, b := *rec, *rec
	a.Sequences, b.Sequences = nil, nil
	n, held := 0, min(heldBackOneIn/2, len(rec.Sequences)-1)
	for _, scenario := range rec.Scenarios() {
		for _, s := range rec.Sequences {
			if s.Scenario != scenario {
				continue
			}
			if n%heldBackOneIn == held {
				b.Sequences = append(b.Sequences, s)
			} else {
				a.Sequences = append(a.Sequences, s)
			}
			n++
		}
	}
	if len(a.Sequences) == 0 {
		a.Sequences = b.Sequences
	}
	return &a, &b
}
