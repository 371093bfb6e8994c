package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"

	"kerf/budget"
)

// Columns of features.csv and outputs.csv.
const (
	nameColumn    = 0
	meanOfFeature = 4
	stdOfFeature  = 5
	meanOfOutput  = 2
	stdOfOutput   = 3
	firstRow      = 2 // line of the first feature or output
)

// Sizes of the breakages of features.
const (
	alikeByStd     = 0.05 // differences of mean and std of features that are alike, over std
	printedDigits  = 6
	leastShift     = 2 // a mean is moved by leastShift to leastShift + spreadOfShift std
	spreadOfShift  = 4
	leastStdFactor = 3 // a std is wrong by leastStdFactor to mostStdFactor, up or down
	mostStdFactor  = 30
)

// number reads a number of a file of the repository.
func number(text string) float64 {
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		panic(err)
	}
	return v
}

// printed prints a number with some significant digits.
func printed(v float64, digits int) string { return strconv.FormatFloat(v, 'g', digits, 64) }

// feature returns the line of feature i, from 0, in features.csv.
func (d *draft) feature(i int) []string { return d.features[i+1] }

// featureCount returns the number of features.
func (d *draft) featureCount() int { return len(d.features) - 1 }

// lineOf returns the words of kerf for the line of feature i.
func lineOf(i int) string { return fmt.Sprintf("features.csv line %d", i+firstRow) }

// exchanged returns the findings that two features were exchanged: their lines in features.csv, or
// their columns in the recordings.
func (d *draft) exchanged(i, j int) (lines, columns finding) {
	a, b := d.feature(i), d.feature(j)
	lines = finding{budget.CauseLines,
		[]string{fmt.Sprintf("features.csv lines %d and %d", i+firstRow, j+firstRow)}, nil}
	columns = finding{budget.CauseColumns,
		[]string{fmt.Sprintf("columns %s and %s of", a[nameColumn], b[nameColumn])}, nil}
	return lines, columns
}

// areAlike reports whether mean and std of two features are so close that nothing tells exchanged
// lines from exchanged columns.
func (d *draft) areAlike(i, j int) bool {
	a, b := d.feature(i), d.feature(j)
	meanA, meanB, stdA, stdB := number(a[meanOfFeature]), number(b[meanOfFeature]),
		number(a[stdOfFeature]), number(b[stdOfFeature])
	most := alikeByStd * math.Min(stdA, stdB)
	return math.Abs(meanA-meanB) < most && math.Abs(stdA-stdB) < most
}

// exchangeLines exchanges two lines of features.csv.
func exchangeLines(d *draft, random *rand.Rand) breakage {
	i, j := pair(random, d.featureCount())
	// Before the exchange line i has name a; kerf then reads line i as b, so the names in its
	// message are those of the broken file.
	b := breakage{says: fmt.Sprintf("features.csv lines %d and %d exchanged (%s, %s)", i+firstRow,
		j+firstRow, d.feature(i)[nameColumn], d.feature(j)[nameColumn])}
	alike := d.areAlike(i, j)
	d.features[i+1], d.features[j+1] = d.features[j+1], d.features[i+1]
	lines, columns := d.exchanged(i, j)
	b.right = []finding{lines}
	if alike {
		b.right = append(b.right, columns)
	}
	return b
}

// exchangeColumns exchanges two columns of the recordings.
func exchangeColumns(d *draft, random *rand.Rand) breakage {
	i, j := pair(random, d.featureCount())
	which, alone, words := d.recordings(random)
	lines, columns := d.exchanged(i, j)
	b := breakage{alone: alone, right: []finding{columns}}
	if d.areAlike(i, j) {
		b.right = append(b.right, lines)
	}
	one, other := d.feature(i)[nameColumn], d.feature(j)[nameColumn]
	b.says = fmt.Sprintf("columns %s and %s of the %s exchanged", one, other, words)
	for _, rec := range which {
		p, q := rec.column(one), rec.column(other)
		rec.header[p], rec.header[q] = rec.header[q], rec.header[p]
	}
	return b
}

// forgetNormalisation sets mean 0 and std 1 for all features.
func forgetNormalisation(d *draft, _ *rand.Rand) breakage {
	for i := range d.featureCount() {
		d.feature(i)[meanOfFeature], d.feature(i)[stdOfFeature] = "0", "1"
	}
	return breakage{says: "mean 0 and std 1 in features.csv",
		right: []finding{{budget.CauseNormalisation, []string{"features.csv"},
			[]string{"lack the normalisation"}}}}
}

// doubleNormalisation puts the normalisation into the weights or into the recordings as well.
func doubleNormalisation(d *draft, random *rand.Rand) breakage {
	b := breakage{right: []finding{{budget.CauseNormalisation, []string{"features.csv"},
		[]string{"normalised already"}}}}
	if random.IntN(2) == 0 {
		b.says = "the weights hold the normalisation as well"
		w, bias := d.tensors[d.layers[0].name+".weight_ih_l0"],
			d.tensors[d.layers[0].name+".bias_ih_l0"]
		inputs := d.featureCount()
		for row := range bias.Data {
			for i := range inputs {
				at := row*inputs + i
				w.Data[at] /= number(d.feature(i)[stdOfFeature])
				bias.Data[row] -= w.Data[at] * number(d.feature(i)[meanOfFeature])
				w.Data[at] = float64(float32(w.Data[at]))
			}
			bias.Data[row] = float64(float32(bias.Data[row]))
		}
		return b
	}
	which, alone, words := d.recordings(random)
	b.alone, b.says = alone, words+" are normalised already"
	for _, rec := range which {
		for i := range d.featureCount() {
			mean, std := number(d.feature(i)[meanOfFeature]), number(d.feature(i)[stdOfFeature])
			rec.change(d.feature(i)[nameColumn], func(v float64) float64 {
				return (v - mean) / std
			})
		}
	}
	return b
}

// change replaces the values of a column.
func (r *recording) change(name string, to func(v float64) float64) {
	column := r.column(name)
	for _, s := range r.sequences {
		for _, row := range s.rows {
			row[column] = printed(to(number(row[column])), printedDigits)
		}
	}
}

// scaleColumn multiplies a column of the recordings by a power of ten.
func scaleColumn(d *draft, random *rand.Rand) breakage {
	i, k := random.IntN(d.featureCount()), power(random)
	which, alone, words := d.recordings(random)
	name := d.feature(i)[nameColumn]
	for _, rec := range which {
		rec.change(name, func(v float64) float64 { return v * math.Pow10(k) })
	}
	return breakage{
		says: fmt.Sprintf("column %s of the %s times 1e%d", name, words, k), alone: alone,
		right: []finding{{budget.CauseScale, []string{"column " + name + " of"},
			[]string{fits(k)}}},
	}
}

// falsifyStatistics makes mean or std of a feature wrong in one of four ways.
func falsifyStatistics(d *draft, random *rand.Rand) breakage {
	i := random.IntN(d.featureCount())
	line := d.feature(i)
	mean, std := number(line[meanOfFeature]), number(line[stdOfFeature])
	sign := float64(random.IntN(2)*2 - 1)
	b := breakage{right: []finding{{budget.CauseStatistics, []string{lineOf(i)}, nil}}}
	if d.features[0][meanOfFeature] != "mean" {
		panic("features.csv has other columns")
	}
	switch random.IntN(4) {
	case 0:
		by := sign * (leastShift + spreadOfShift*random.Float64())
		line[meanOfFeature] = printed(mean+by*std, printedDigits)
		b.says = fmt.Sprintf("mean of %s moved by %.1f std", line[nameColumn], by)
	case 1:
		factor := math.Pow(leastStdFactor*math.Pow(mostStdFactor/leastStdFactor, random.Float64()),
			sign)
		line[stdOfFeature] = printed(std*factor, printedDigits)
		b.says = fmt.Sprintf("std of %s times %.3g", line[nameColumn], factor)
	case 2:
		line[stdOfFeature] = printed(std*std, printedDigits)
		b.says = fmt.Sprintf("std of %s is its variance (%.3g in place of %.3g)", line[nameColumn],
			std*std, std)
	default:
		j := random.IntN(d.featureCount() - 1)
		if j >= i {
			j++
		}
		other := d.feature(j)
		line[meanOfFeature], line[stdOfFeature] = other[meanOfFeature], other[stdOfFeature]
		b.says = fmt.Sprintf("mean and std of %s are those of %s", line[nameColumn],
			other[nameColumn])
	}
	return b
}
