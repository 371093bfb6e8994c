package emit

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"kerf/dataset"
	"kerf/frontend"
)

// Range is the least and the largest value of a feature in recordings.
type Range struct {
	Low  float64 `json:"min"`
	High float64 `json:"max"`
}

// Ranges returns the ranges of features in recordings; columns are those of the features.
func Ranges(columns []int, rec *dataset.Recordings) []Range {
	all := make([]Range, len(columns))
	for i, column := range columns {
		all[i] = Range{math.Inf(1), math.Inf(-1)}
		for _, s := range rec.Sequences {
			for at := column; at < len(s.X); at += rec.Features {
				all[i].Low, all[i].High = min(all[i].Low, s.X[at]), max(all[i].High, s.X[at])
			}
		}
	}
	return all
}

// valueFraction returns the fraction bits with which the value of a feature is passed as an
// integer: mean and 32 standard deviations stay below 2^30.
func (p *Program) valueFraction(i int) int {
	feature := p.Net.Features[i]
	return 29 - math.Ilogb(math.Abs(feature.Mean)+float64(32*feature.Std))
}

// scaling returns what encodes the value of a feature.
func (p *Program) scaling(i int) frontend.Scaling {
	feature := p.Net.Features[i]
	units := math.Ldexp(1, p.Net.InputFraction) / feature.Std
	return frontend.NewScaling(math.Ldexp(units, -p.valueFraction(i)), -feature.Mean*units)
}

// encodeOne returns what name_encode_one gives for the value of a feature.
func (p *Program) encodeOne(i int, value int32) int16 {
	s := p.scaling(i)
	return s.X(min(max(value, -1<<30), 1<<30))
}

// valueMacros returns the macros for the values of feature i. Where C does not guarantee a macro of
// that length there are none.
func (p *Program) valueMacros(i int) string {
	f := p.Net.Features[i]
	macro := featureMacro + macroPart(f.Name)
	if len(rename(macro+valueFractionMacro, p.Name)) > maxMacro {
		return fmt.Sprintf("/* No constants of %s: their macros would have more than %d "+
			"characters. */\n", commentText(f.Name), maxMacro)
	}
	mean, _ := p.Net.EncodeConstants(i)
	var b strings.Builder
	fmt.Fprintf(&b, "#define %s%s %d\n", macro, valueFractionMacro, p.valueFraction(i))
	define := func(suffix string, value float32) {
		fmt.Fprintf(&b, "#define %s%s (%s)\n", macro, suffix, cFloat(value))
	}
	define(valueMeanMacro, mean)
	define(valueStdMacro, float32(f.Std))
	if p.Ranges != nil {
		define(valueMinMacro, float32(p.Ranges[i].Low))
		define(valueMaxMacro, float32(p.Ranges[i].High))
	}
	return b.String()
}

// scalingRow returns a row of net_scales; at is what stands behind its numbers.
func (p *Program) scalingRow(s frontend.Scaling, at string, feature int) string {
	return fmt.Sprintf("    { %d, %d, %d, %d, %d, %s }, /* %s */\n", s.Middle, s.Multiplier, s.Add,
		s.Limit, s.Down, at, commentText(p.Net.Features[feature].Name))
}

// valueScales returns the constants of name_encode_one of a network without a front end.
func (p *Program) valueScales() string {
	var b strings.Builder
	b.WriteString("static const net_scale net_scales[NET_N_FEATURES] NET_ROM = {\n")
	for i := range p.Net.Features {
		b.WriteString(p.scalingRow(p.scaling(i), "0", i))
	}
	b.WriteString("};\n")
	return b.String()
}

// encodeMarks adds to marks the C that encodes a value.
func (p *Program) encodeMarks(marks map[string]string) (map[string]string, error) {
	for mark, file := range map[string]string{"scaling": "scaling.c", "scaled": "scaled.c",
		"value": "encode.c"} {
		text, err := p.part(file)
		if err != nil {
			return nil, err
		}
		marks[mark] = text
	}
	return marks, nil
}

// valueVector is a value of a feature with its x.
type valueVector struct {
	feature int // of the network
	value   int32
	x       int16
}

// valueVectors returns the values of the self-test for name_encode_one: of the features that it
// always encodes, and of the others, which it encodes with NAME_WITH_ENCODE_ONE.
func (p *Program) valueVectors() (always, others []valueVector) {
	for i := range p.Net.Features {
		switch {
		case p.Front == nil || slices.Contains(p.Front.Index, i):
			others = append(others, p.plainValues(i)...)
		default:
			always = append(always, p.chosenValues(i)...)
		}
	}
	return always, others
}

// plainValues are values of a feature at the mean, within 4 standard deviations, and at both ends.
func (p *Program) plainValues(i int) []valueVector {
	f := p.Net.Features[i]
	at := func(deviations float64) int32 {
		return int32(math.Round(math.Ldexp(f.Mean+float64(deviations*f.Std), p.valueFraction(i))))
	}
	var all []valueVector
	for _, value := range []int32{at(0), at(-0.7), at(3.3), math.MinInt32, math.MaxInt32} {
		all = append(all, valueVector{i, value, p.encodeOne(i, value)})
	}
	return all
}
