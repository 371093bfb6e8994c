package recovery

import (
	"cmp"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/mat"

	"kerf/dataset"
	"kerf/portable"
)

// invent invents count sequences for every recorded one. The teacher answers them, so that the
// small network learns what the teacher does between and beside the few sequences that were
// recorded, and does not learn those sequences by heart. A recorded sequence is mixed step by step
// with another one, at a weight drawn once, and every feature is shifted by a constant, see
// [drift]. (Answers of the large network to invented inputs: Bucilă, Caruana and Niculescu-Mizil
// 2006, "Model compression"; mixing of two examples: Zhang et al. 2018, arXiv:1710.09412.) Invented
// sequences have no reference. shift is in standard deviations of a kept feature over the training
// recordings.
func invent(rec *dataset.Recordings, drift *drift, count int, shift float64,
	random *rand.Rand) []example {
	var all []example
	for range count {
		for _, a := range rec.Sequences {
			b := rec.Sequences[random.IntN(len(rec.Sequences))]
			steps := min(a.Steps, b.Steps)
			all = append(all, example{recorded: a, other: b, share: float64(random.Float64()),
				shifts: drift.draw(shift, random), steps: steps,
				target: make([]float32, steps*rec.Outputs)})
		}
	}
	return all
}

// drift draws shifts of features, as of sensors that drift. A feature that the small network reads
// is shifted by itself. The other features follow the shifts of those as far as they can be
// predicted from them in the recordings: a shift of its own of a feature that the small network
// does not read would be noise in the answers of the teacher, and would teach the network that the
// features it reads tell nothing of the others.
type drift struct {
	features int         // of the recordings
	kept     []int       // features that the small network reads
	spreads  []float64   // of kept features: standard deviations
	gone     []int       // the other features
	slopes   [][]float64 // per feature gone: its shift for a shift of 1 of every kept feature
}

// ridge is added to the variances, in shares of them, so that slopes exist where features follow
// from one another (our choice).
const ridge = 1e-3

// newDrift measures spreads and slopes on recordings, by ridge regression on the kept features.
func newDrift(rec *dataset.Recordings, kept []int) *drift {
	d := &drift{features: rec.Features, kept: kept}
	means, spreads := spreads(rec)
	correlations := correlations(rec, kept, means, spreads)
	among := mat.NewSymDense(len(kept), nil)
	for a, i := range kept {
		d.spreads = append(d.spreads, spreads[i])
		for b := range kept[:a+1] {
			among.SetSym(a, b, correlations[b][i])
		}
		among.SetSym(a, a, among.At(a, a)+ridge)
	}
	factor, ok := portable.Cholesky(among)
	if !ok {
		panic("recovery: correlations with a ridge are positive definite")
	}
	for i := range rec.Features {
		if slices.Contains(kept, i) {
			continue
		}
		slopes := make([]float64, len(kept))
		for b := range kept {
			slopes[b] = correlations[b][i]
		}
		factor.Solve(slopes)
		for b, j := range kept {
			slopes[b] *= spreads[i] / cmp.Or(spreads[j], 1)
		}
		d.gone, d.slopes = append(d.gone, i), append(d.slopes, slopes)
	}
	return d
}

// spreads returns mean and standard deviation of every feature.
func spreads(rec *dataset.Recordings) (means, spreads []float64) {
	means, spreads = make([]float64, rec.Features), make([]float64, rec.Features)
	column := make([]float64, 0, rec.Steps())
	for i := range means {
		column = column[:0]
		for _, s := range rec.Sequences {
			for step := range s.Steps {
				column = append(column, s.X[step*rec.Features+i])
			}
		}
		means[i], spreads[i] = portable.MeanStd(column)
	}
	return means, spreads
}

// correlations returns those of every kept feature with every feature [kept × features]. A constant
// feature has none, not with itself either.
func correlations(rec *dataset.Recordings, kept []int, means, spreads []float64) [][]float64 {
	all, z := make([][]float64, len(kept)), make([]float64, rec.Features)
	for b := range all {
		all[b] = make([]float64, rec.Features)
	}
	for _, s := range rec.Sequences {
		for row := range slices.Chunk(s.X, rec.Features) {
			for i, v := range row {
				z[i] = (v - means[i]) / cmp.Or(spreads[i], 1)
			}
			for b, j := range kept {
				for i, v := range z {
					all[b][i] += float64(z[j] * v)
				}
			}
		}
	}
	steps := float64(rec.Steps())
	for _, row := range all {
		for i := range row {
			row[i] /= steps
		}
	}
	return all
}

// draw returns a shift of every feature, in its unit. The shift of a kept feature has a standard
// deviation of size times its spread.
func (d *drift) draw(size float64, random *rand.Rand) []float64 {
	offsets, kept := make([]float64, d.features), make([]float64, len(d.kept))
	for k, i := range d.kept {
		kept[k] = size * d.spreads[k] * portable.Normal(random)
		offsets[i] = kept[k]
	}
	for k, i := range d.gone {
		offsets[i] = portable.Dot(d.slopes[k], kept)
	}
	return offsets
}
