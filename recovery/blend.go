package recovery

import (
	"math/rand/v2"
	"slices"

	"kerf/dataset"
	"kerf/portable"
)

// blends invents sequences that the teacher answers, so that the small network learns what the teacher does between and beside
// the few sequences that were recorded, not those sequences by heart. Every recorded sequence is mixed step by step with another one, at a
// weight drawn once, and every feature is shifted by a constant, as a sensor that drifts would do. (Answers of the large
// network to invented inputs: Bucilă, Caruana and Niculescu-Mizil 2006, "Model compression"; mixing of two examples: Zhang et al.
// 2018, arXiv:1710.09412.) They have no Y. shift is in standard deviations of the feature over the training recordings.
func blends(rec *dataset.Recordings, spreads []float64, count int, shift float64, random *rand.Rand) *dataset.Recordings {
	all := &dataset.Recordings{Features: rec.Features, Outputs: rec.Outputs, Classes: rec.Classes}
	for range count {
		for _, a := range rec.Sequences {
			b := rec.Sequences[random.IntN(len(rec.Sequences))]
			share := float64(random.Float64()) // the conversion is explained at model.affine
			offsets := make([]float64, rec.Features)
			for i := range offsets {
				offsets[i] = shift * spreads[i] * random.NormFloat64()
			}
			s := &dataset.Sequence{Scenario: a.Scenario, Steps: min(a.Steps, b.Steps)}
			s.X = slices.Clone(a.X[:s.Steps*rec.Features])
			for k, v := range s.X {
				s.X[k] = float64(share*v) + float64((1-share)*b.X[k]) + offsets[k%rec.Features]
			}
			all.Sequences = append(all.Sequences, s)
		}
	}
	return all
}

// spreads are the standard deviations of all features over recordings.
func spreads(rec *dataset.Recordings) []float64 {
	all := make([]float64, rec.Features)
	for i := range all {
		var values []float64
		for _, s := range rec.Sequences {
			for step := range s.Steps {
				values = append(values, s.X[step*rec.Features+i])
			}
		}
		_, all[i] = portable.MeanStd(values)
	}
	return all
}
