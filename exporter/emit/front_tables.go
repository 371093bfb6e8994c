package emit

import (
	"fmt"
	"slices"
	"strings"

	"kerf/frontend"
)

// scales writes the constants that bring whole numbers to x: of computed features from what samples
// make, then of values, of given features and, on demand, of computed ones. Those of values lead to
// x[0], of net_encode_one.
func (f *front) scales() string {
	var b strings.Builder
	b.WriteString("static const net_scale net_scales[] NET_ROM = {\n")
	for i, of := range f.p.Front.Index {
		at := featureMacro + macroPart(f.p.Net.Features[of].Name)
		if f.isFar() {
			at = "0, " + at + ", 0"
		}
		b.WriteString(f.p.scalingRow(f.integer.Features[i].Scaling, at, of))
	}
	at := "0"
	if f.isFar() {
		at = "0, 0, 0"
	}
	for _, i := range f.given() {
		b.WriteString(f.p.scalingRow(f.p.scaling(i), at, i))
	}
	b.WriteString("#ifdef NET_WITH_ENCODE_ONE\n")
	for _, i := range f.p.Front.Index {
		b.WriteString(f.p.scalingRow(f.p.scaling(i), at, i))
	}
	b.WriteString("#endif\n};\n")
	return b.String()
}

// isFar reports whether the place of a feature takes more than 8 bits.
func (f *front) isFar() bool { return len(f.p.Net.Features) >= frontend.FarFeatures }

// lists writes the harmonics that channels need.
func (f *front) lists() string {
	var b strings.Builder
	lists, _ := f.integer.LineLists()
	for i, list := range lists {
		fmt.Fprintf(&b, "static const net_listed net_list%d[%d] NET_ROM = { ", i, len(list)+1)
		for _, l := range list {
			fmt.Fprint(&b, l.Harmonic)
			if l.Angle {
				b.WriteString(" | NET_WITH_ANGLE")
			}
			b.WriteString(", ")
		}
		b.WriteString("0 };\n")
	}
	return b.String()
}

// angles writes the arctangents of net_polar.
func (f *front) angles() string {
	var b strings.Builder
	angles, length := frontend.TurnAngles()
	fmt.Fprintf(&b, "#define NET_TURNS %d\n#define NET_LENGTH_TURNS %d /* after which the "+
		"length is "+
		"taken */\n\n/* Arctangents of 2^-i in 2^-32 of a turn. */\nstatic const int32_t "+
		"net_turn_angles[NET_TURNS] NET_ROM = {\n", len(angles), length)
	list(&b, len(angles), 5, func(i int) string { return fmt.Sprint(angles[i]) })
	b.WriteString("};\n")
	return b.String()
}

// turns returns the turns that a length takes, one by one.
func turns() string {
	var b strings.Builder
	_, length := frontend.TurnAngles()
	for i := range length {
		fmt.Fprintf(&b, "            NET_TURN(re, im, %d);\n", i)
	}
	return b.String()
}

// foldCode returns the code of every shape of sums.
func (f *front) foldCode() (string, error) {
	raw, err := cFiles.ReadFile("c/fold.c")
	if err != nil {
		return "", err
	}
	var b strings.Builder
	for _, fold := range f.folds {
		even, span := fold.Length%2 == 0, fold.Length
		if even {
			span /= 2
		}
		text, err := resolve(string(raw), map[string]int{"FOLD_EVEN": flag(even),
			"FOLD_CENTRE":    flag(even && span%2 == 0),
			"FOLD_WIDE":      flag(fold.Wide),
			"NET_USES_PHASE": f.choices()["NET_USES_PHASE"]})
		if err != nil {
			return "", fmt.Errorf("exporter/emit/c/fold.c: %w", err)
		}
		total := "int32_t"
		if fold.Wide {
			total = "int64_t"
		}
		turn := fmt.Sprintf("at = (at >= (%[1]dU - step)) ? (at - (%[1]dU - step)) : (at + step)",
			fold.Length)
		if isPowerOfTwo(fold.Length) {
			turn = fmt.Sprintf("at = (at + step) & %dU", fold.Length-1)
		}
		table, cosine := fold.table()
		b.WriteString(strings.NewReplacer("/*@table*/\n", table,
			"at = FOLD_TURN(at + step)", turn, "FOLD_SUM", fmt.Sprintf("int%d_t", fold.sumBits),
			"FOLD_TOTAL", total, "FOLD_SPAN", fmt.Sprintf("%dU", span),
			"FOLD_LENGTH", fmt.Sprintf("%dU", fold.Length),
			"FOLD_STEP", fold.step(), "FOLD_SCALE", fmt.Sprint(fold.Scale),
			"FOLD_DOWN", fmt.Sprint(fold.Down), "FOLD_COSINE", fmt.Sprintf("%dU", cosine),
			"fold_turn", fold.prefix+"turn",
			"fold_half", fold.prefix+"half", "fold_pair", fold.prefix+"pair",
			"fold_line", fold.prefix+"line").Replace(text))
	}
	return b.String(), nil
}

// step returns by how many places harmonic k goes on from one sum to the next: less than half of a
// turn, as k times the cycles is less than half of the samples.
func (f *frontFold) step() string {
	if f.Stride == 1 {
		return "k"
	}
	return fmt.Sprintf("%dU * k", f.Stride)
}

// table returns the array of one turn, and how much further on cosines are: a quarter of a turn,
// where that is a whole number of places, else behind all sines.
func (f *frontFold) table() (array string, cosine int) {
	var b strings.Builder
	cosine = f.Length / 4
	values := append(slices.Clone(f.Sin), f.Sin[:cosine]...)
	if f.Length%4 != 0 {
		cosine = f.Length
		values = append(slices.Clone(f.Sin), f.Cos...)
	}
	fmt.Fprintf(&b, "static const int16_t %sturn[%d] NET_ROM = {\n", f.prefix, len(values))
	list(&b, len(values), 12, func(i int) string { return fmt.Sprint(values[i]) })
	b.WriteString("};\n")
	return b.String(), cosine
}
