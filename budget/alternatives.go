package budget

import (
	"fmt"
	"math"
	"path/filepath"
	"slices"

	"kerf/dataset"
	"kerf/model"
)

// Kinds of causes beside those of [model.Variant]: what a job may say wrongly of its columns.
const (
	CauseNormalisation = "normalisation"       // of all features
	CauseLines         = "lines exchanged"     // two lines of features.csv
	CauseColumns       = "columns exchanged"   // two columns of the recordings
	CauseStatistics    = "mean and std"        // of one feature
	CauseScale         = "scale of a column"   // a power of ten
	CauseOutputScale   = "scale of an output"  // mean and std of outputs.csv, or a power of ten
	CauseOutputs       = "outputs exchanged"   // two outputs, or the order of all classes
	CauseShift         = "outputs shifted"     // in time, by some steps
	CauseBackwards     = "steps backwards"     // the last step of a sequence first
	CauseForeign       = "outputs of others"   // recorded outputs that belong to other features
	CauseStart         = "start decides"       // a tolerance is met with the first steps alone
	CauseUnexplained   = "explains too little" // and no alternative helps
)

// alternative is another way to read a job, which a network that explains its recordings badly may
// have been meant in.
type alternative struct {
	kind, place string
	says        string // what seems to be wrong, a clause after the place
	net         func() *dataset.Float
}

// powers are the powers of ten that a column may be off by: units with the usual prefixes, percent,
// Pa for bar, cm² for m².
var powers = []int{-6, -5, -4, -3, -2, -1, 1, 2, 3, 4, 5, 6}

// alternatives lists the ways to read the model and its features, those that say most exactly what
// is wrong first. rec gives the recorded means and standard deviations.
func (in *Inputs) alternatives(rec *dataset.Recordings) []alternative {
	means, stds := recordedStatistics(rec)
	return slices.Concat(in.modelAlternatives(), in.exchanges("the recordings"),
		in.columnScales("the recordings", means, stds, stds), in.normalisations(means, stds))
}

// dataAlternatives are those that may hold for the sign-off recordings alone.
func (in *Inputs) dataAlternatives() []alternative {
	const recordings = "the sign-off recordings"
	means, stds := recordedStatistics(in.Selection)
	offMeans, offStds := recordedStatistics(in.Signoff)
	columns := slices.DeleteFunc(in.exchanges(recordings), func(a alternative) bool {
		return a.kind != CauseColumns
	})
	return slices.Concat(columns, in.columnScales(recordings, means, stds, offStds),
		in.otherUnits(recordings, means, stds, offMeans, offStds),
		in.normalisations(means, stds))
}

// otherUnits read single columns of the sign-off recordings as if they had the mean and standard
// deviation that they have in the selection recordings, where these are far apart.
func (in *Inputs) otherUnits(recordings string, means, stds, offMeans,
	offStds []float64) []alternative {
	var all []alternative
	for i, f := range in.Float.Features {
		times := stds[i] / offStds[i]
		if !isFar(times) {
			continue
		}
		plus := means[i] - float64(offMeans[i]*times)
		all = append(all,
			alternative{CauseScale, fmt.Sprintf("column %s of %s", f.Name, recordings),
				fmt.Sprintf("seems to be in another unit: its mean and std are %.4g and %.4g, in "+
					"the selection recordings %.4g and %.4g",
					offMeans[i], offStds[i], means[i], stds[i]),
				func() *dataset.Float {
					// ((x·times + plus) - mean)/std from (x - mean)/std.
					return in.rewired(
						map[int]input{i: {i, times, (float64((times-1)*f.Mean) + plus) / f.Std}})
				}})
	}
	return all
}

// isFar reports whether a factor is none that recordings of the same kind differ by: other units do
// (our choice; the least of usual ones is 1.8, of °F to °C).
func isFar(factor float64) bool { return factor >= 1.6 || factor <= 1/1.6 }

// modelAlternatives read the weights in another way.
func (in *Inputs) modelAlternatives() []alternative {
	var all []alternative
	place := in.Job.Model.File
	if len(in.Job.Model.Layers) > 0 {
		place += ", as " + filepath.Base(in.Job.File) + " reads it,"
	}
	for _, v := range in.Float.Net.Variants() {
		all = append(all,
			alternative{v.What, place, "seems to be meant with " + v.How, func() *dataset.Float {
				return in.with(v.Network)
			}})
	}
	return all
}

// with is the predictor of the job with another network.
func (in *Inputs) with(net *model.Network) *dataset.Float {
	f := *in.Float
	f.Net = net
	return &f
}

// input says what an input of the network is made of: a times the normalised value of a column,
// plus b.
type input struct {
	column int
	a, b   float64
}

// rewired is the network with some inputs made of other columns or of other multiples of them. The
// recordings are normalised as the job says, so the change goes into the weights.
func (in *Inputs) rewired(changed map[int]input) *dataset.Float {
	net := in.Float.Net.Clone()
	first, given := net.Recurrent[0], in.Float.Net.Recurrent[0]
	for i := range changed {
		for row := range given.B {
			first.W[row*first.Inputs+i] = 0
		}
	}
	for i, from := range changed {
		for row := range given.B {
			w := given.W[row*given.Inputs+i]
			first.W[row*first.Inputs+from.column] += float64(w * from.a)
			first.B[row] += float64(w * from.b)
		}
	}
	return in.with(net)
}

// normalised as if the feature had another mean and std.
func (in *Inputs) withStatistics(i int, mean, std float64) input {
	f := in.Float.Features[i]
	return input{i, f.Std / std, (f.Mean - mean) / std}
}

// normalisations of all features at once: as recorded where the job may have left them out, none
// where recordings or network may have them already.
func (in *Inputs) normalisations(means, stds []float64) []alternative {
	place := in.Job.Features.File
	all := func(mean, std func(i int) float64) func() *dataset.Float {
		return func() *dataset.Float {
			changed := map[int]input{}
			for i := range in.Float.Features {
				changed[i] = in.withStatistics(i, mean(i), std(i))
			}
			return in.rewired(changed)
		}
	}
	recorded := "has another normalisation than the network was trained with: that of the " +
		"recordings fits"
	if !in.isNormalised() {
		recorded = "seems to lack the normalisation: mean and std of the recordings fit"
	}
	return []alternative{
		{CauseNormalisation, place, recorded, all(func(i int) float64 {
			return means[i]
		}, func(i int) float64 { return stds[i] })},
		{CauseNormalisation, place, "seems to normalise what is normalised already: mean 0 and " +
			"std 1 fit", all(func(int) float64 {
			return 0
		}, func(int) float64 { return 1 })},
	}
}

// isNormalised reports whether features.csv normalises anything.
func (in *Inputs) isNormalised() bool {
	return slices.ContainsFunc(in.Float.Features, func(f dataset.Feature) bool {
		return f.Mean != 0 || f.Std != 1
	})
}

// exchanges are every pair of lines of features.csv, and every pair of columns under each other's
// name.
func (in *Inputs) exchanges(recordings string) []alternative {
	var lines, columns []alternative
	features := in.Float.Features
	for j, b := range features {
		for i, a := range features[:j] {
			lines = append(lines,
				alternative{CauseLines,
					fmt.Sprintf("%s lines %d and %d", in.Job.Features.File, a.Line, b.Line),
					fmt.Sprintf("seem exchanged (%s and %s)", a.Name, b.Name),
					func() *dataset.Float {
						return in.rewired(map[int]input{i: {j, 1, 0}, j: {i, 1, 0}})
					}})
			columns = append(columns,
				alternative{CauseColumns,
					fmt.Sprintf("columns %s and %s of %s", a.Name, b.Name, recordings),
					"seem exchanged", func() *dataset.Float {
						return in.rewired(map[int]input{
							i: {j, b.Std / a.Std, (b.Mean - a.Mean) / a.Std},
							j: {i, a.Std / b.Std, (a.Mean - b.Mean) / b.Std},
						})
					}})
		}
	}
	return append(lines, columns...)
}

// columnScales are single features: of the other sign, a power of ten more or less, or normalised
// as recorded. A power that fits is a fit of the recorded mean and std as well, so it stands first;
// one that leaves spread, the standard deviation in these recordings, far from that of features.csv
// is not tried.
func (in *Inputs) columnScales(recordings string, means, stds, spread []float64) []alternative {
	var all []alternative
	for i, f := range in.Float.Features {
		line := fmt.Sprintf("%s line %d", in.Job.Features.File, f.Line)
		column := fmt.Sprintf("column %s of %s", f.Name, recordings)
		scale := func(says string, times float64) {
			all = append(all, alternative{CauseScale, column, says, func() *dataset.Float {
				return in.rewired(map[int]input{i: {i, times, (times - 1) * f.Mean / f.Std}})
			}})
		}
		scale("seems to have the other sign", -1)
		for _, k := range powers {
			if in.isNormalised() && isFar(spread[i]*powerOfTen(k)/f.Std) {
				continue
			}
			scale(fmt.Sprintf("seems to be in a unit other than that of %s: times %s fits", line,
				powerText(k)),
				powerOfTen(k))
		}
		all = append(all, alternative{CauseStatistics, line,
			fmt.Sprintf("has a mean or std of %s that does not fit: recorded are %.4g and %.4g",
				f.Name, means[i], stds[i]),
			func() *dataset.Float {
				return in.rewired(map[int]input{i: in.withStatistics(i, means[i], stds[i])})
			}})
	}
	return all
}

// powerText writes a power of ten.
func powerText(k int) string {
	if k > 0 {
		return fmt.Sprintf("%.0f", math.Pow10(k))
	}
	return fmt.Sprintf("%.*f", -k, math.Pow10(k))
}

// recordedStatistics are mean and standard deviation of every feature; a constant one keeps a
// spread of 1.
func recordedStatistics(rec *dataset.Recordings) (means, stds []float64) {
	for k := range rec.Features {
		mean, std := dataset.MeanStd(dataset.Column(rec.Features, k, rec,
			func(s *dataset.Sequence) []float64 {
				return s.X
			}))
		means, stds = append(means, mean), append(stds, std)
	}
	return means, stds
}
