package emit

import (
	"cmp"
	"fmt"
	"maps"
	"math/bits"
	"slices"
	"strings"

	"kerf/frontend"
)

// sample returns name_sample.
func (f *front) sample() string {
	var b strings.Builder
	ctype := "uint8_t"
	if f.samples() > 255 {
		ctype = "uint16_t"
	}
	fmt.Fprintf(&b, `
uint8_t net_sample(net_front *f, const uint16_t code[NET_N_CHANNELS])
{
    uint8_t result = 2;

    if (f->full == 0U) {
        const uint_fast%s taken = f->taken;

`, ctype[len("uint"):])
	for i, c := range f.channels {
		code := fmt.Sprintf("code[%d]", i)
		if c.Bits < 16 {
			code = fmt.Sprintf("NET_LIMITED(code[%d], %d)", i, c.Bits)
		}
		fmt.Fprintf(&b, "        { /* %s */\n            const uint16_t c = %s;\n\n",
			commentText(f.integer.Front.Channels[c.index].Name), code)
		if c.Fold != nil {
			place := fmt.Sprint("f->at", c.Fold.Length)
			if isPowerOfTwo(c.Fold.Length) {
				place = fmt.Sprintf("taken & %dU", c.Fold.Length-1)
			}
			fmt.Fprintf(&b, "            f->fold_%[1]s[%[2]s] = "+
				"(int%[3]d_t)(f->fold_%[1]s[%[2]s] + "+
				"(int32_t)c);\n", c.name, place, c.SumBits())
		}
		if c.KeepsSum() {
			fmt.Fprintf(&b, "            f->sum_%s += (int32_t)c;\n", c.name)
		}
		if c.Squares {
			fmt.Fprintf(&b, "            f->squares_%s += (uint32_t)c * c;\n", c.name)
		}
		if c.Ramp {
			fmt.Fprintf(&b, "            f->ramp_%s += f->sum_%[1]s;\n", c.name)
		}
		end := func(kept frontend.Kept, sign string) {
			fmt.Fprintf(&b, "            if (c %[1]s f->%[2]s_%[3]s) {\n                "+
				"f->%[2]s_%[3]s = c;\n            }\n", sign, kept, c.name)
		}
		if c.Low {
			end(frontend.KeptLow, "<")
		}
		if c.High {
			end(frontend.KeptHigh, ">")
		}
		b.WriteString("        }\n")
	}
	for _, length := range f.integer.Places() {
		fmt.Fprintf(&b, "        f->at%[1]d = (f->at%[1]d == %[2]dU) ? 0U : (%[3]s)(f->at%[1]d "+
			"+ 1U);\n",
			length, length-1, ctype)
	}
	fmt.Fprintf(&b, `        f->taken = (%s)(taken + 1U);
        result = (uint8_t)(taken == (NET_WINDOW - 1U));
        NET_BARRIER();
        f->full = result;
    }
    return result;
}

`, ctype)
	return b.String()
}

// features returns name_features. What the features are made of is computed channel by channel,
// with the lengths of lines in one place. What may need two channels, or the steps with this one,
// comes last.
func (f *front) features() string {
	var locals, body, last strings.Builder
	lines := 0
	for i := range f.channels {
		c := &f.channels[i]
		lines = max(lines, len(c.Lines))
		f.measure(&locals, &body, c)
		for k := range f.integer.Features {
			feature := &f.integer.Front.Features[k]
			if feature.Channel != c.index {
				continue
			}
			to := &body
			switch feature.Definition.Kind {
			case frontend.Phase, frontend.Relative:
				to = &last
			}
			fmt.Fprintf(to, "    values[%d] = %s;\n", k, f.value(k, c))
		}
	}
	var b strings.Builder
	most, before := f.integer.MostSteps(), f.hasBefore()
	fmt.Fprintf(&b, "void net_features(net_front *f, int16_t x[NET_N_FEATURES])\n{\n"+
		"    int32_t values[%d];\n", len(f.integer.Features))
	if lines > 0 {
		fmt.Fprintf(&b, "    uint32_t lengths[%d];\n", lines)
	}
	if most > 0 {
		b.WriteString("    uint32_t steps;\n")
	}
	if before {
		b.WriteString("    int32_t known; /* all bits, or none in the first window */\n")
	}
	b.WriteString(locals.String())
	b.WriteString("\n    if (f->full == 0U) {\n        return;\n    }\n    NET_BARRIER();\n")
	if most > 0 {
		b.WriteString("    steps = f->steps;\n")
	}
	if before {
		b.WriteString("    known = -(int32_t)(steps > 0U);\n")
	}
	b.WriteString(body.String())
	if most > 0 {
		fmt.Fprintf(&b, "    if (steps < %dU) {\n        steps++;\n    }\n    f->steps = steps;\n",
			most)
	}
	b.WriteString(last.String())
	fmt.Fprintf(&b, "    net_scale_all(values, net_scales, %dU, x);\n    net_begin(f);\n}\n\n",
		len(f.integer.Features))
	return b.String()
}

// hasBefore reports whether a feature compares a window with the one before.
func (f *front) hasBefore() bool {
	return slices.ContainsFunc(f.channels, func(c frontChannel) bool { return c.Before })
}

// channelOf returns the sampled channel of a number of the front end.
func (f *front) channelOf(index int) *frontChannel {
	return &f.channels[slices.IndexFunc(f.channels, func(c frontChannel) bool {
		return c.index == index
	})]
}

// measure writes what features of a channel are made of: its sum, and its lines.
func (f *front) measure(locals, b *strings.Builder, c *frontChannel) {
	fmt.Fprintf(b, "    /* %s */\n", commentText(f.integer.Front.Channels[c.index].Name))
	sum := ""
	if c.Sum {
		fmt.Fprintf(locals, "    int32_t sum_%s;\n", c.name)
		sum = fmt.Sprintf("sum_%s = ", c.name)
	}
	if c.KeepsSum() {
		fmt.Fprintf(b, "    %sf->sum_%s;\n", sum, c.name)
		sum = "(void)"
	}
	if c.Fold != nil {
		f.lines(locals, b, c, cmp.Or(sum, "(void)"))
	}
	if c.Squares {
		bits := c.SquaresBits(f.samples())
		fmt.Fprintf(locals, "    uint%d_t squares_%s;\n", bits, c.name)
		fmt.Fprintf(b, "    squares_%[1]s = f->squares_%[1]s - (UINT%[2]d_C(%[3]d) * "+
			"(uint%[2]d_t)sum_%[1]s) - UINT%[2]d_C(%[4]d);\n", c.name, bits, 2*c.Middle,
			f.samples()*c.Middle*c.Middle)
	}
	if c.Before {
		fmt.Fprintf(locals, "    int32_t rise_%s;\n", c.name)
		fmt.Fprintf(b, "    rise_%[1]s = (sum_%[1]s - f->before_%[1]s) & known;\n"+
			"    f->before_%[1]s = sum_%[1]s;\n", c.name)
	}
	if c.BaseSteps > 0 {
		fmt.Fprintf(b, "    if (steps < %dU) {\n        f->base_%s += sum_%[2]s;\n    }\n",
			c.BaseSteps, c.name)
	}
}

// lines writes the call that makes the lines of a channel.
func (f *front) lines(locals, b *strings.Builder, c *frontChannel, sum string) {
	lists, of := f.integer.LineLists()
	fmt.Fprintf(b, "    %s%slines(f->fold_%s, net_list%d, lengths", sum, f.folds[c.fold].prefix,
		c.name, of[c.index])
	if f.choices()["NET_USES_PHASE"] == 1 {
		angles := 0
		for _, line := range lists[of[c.index]] {
			angles += flag(line.Angle)
		}
		if angles > 0 {
			fmt.Fprintf(locals, "    uint32_t angles_%s[%d];\n", c.name, angles)
			fmt.Fprintf(b, ", angles_%s, UINT32_C(%d)", c.name, f.integer.LengthFloor(c.index))
		} else {
			b.WriteString(", NULL, 0")
		}
	}
	b.WriteString(");\n")
}

// angle returns where the angle of harmonic k of a channel is.
func (f *front) angle(channel, k int) string {
	lists, of := f.integer.LineLists()
	at := 0
	for _, line := range lists[of[channel]] {
		if line.Harmonic < k {
			at += flag(line.Angle)
		}
	}
	return fmt.Sprintf("angles_%s[%d]", f.channelOf(channel).name, at)
}

// value returns the whole number that feature i, of channel c, is made of.
func (f *front) value(i int, c *frontChannel) string {
	feature, made := &f.integer.Front.Features[i], &f.integer.Features[i]
	d, n := feature.Definition, f.samples()
	switch d.Kind {
	case frontend.Slope:
		return "rise_" + c.name
	case frontend.Trend:
		if c.RampBits(n) == 64 {
			return fmt.Sprintf("(int32_t)(((%[1]d * (int64_t)sum_%[2]s) - (2 * f->ramp_%[2]s)) "+
				">> %[3]d)", n+1, c.name, c.TrendDown)
		}
		return fmt.Sprintf("(%d * sum_%s) - (2 * f->ramp_%[2]s)", n+1, c.name)
	case frontend.Minimum:
		return "f->low_" + c.name
	case frontend.Maximum:
		return "f->high_" + c.name
	case frontend.Swing:
		return fmt.Sprintf("(int32_t)f->high_%s - (int32_t)f->low_%[1]s", c.name)
	case frontend.Ripple:
		times := fmt.Sprintf("((uint64_t)squares_%s * %dU)", c.name, n)
		if c.SquaresBits(n) == 32 && !isPowerOfTwo(n) {
			times = fmt.Sprintf("net_product(squares_%s, %dU)", c.name, n)
		}
		return fmt.Sprintf("net_root((%s - net_square(sum_%s)) << %d)", times, c.name,
			2*c.RippleBits)
	case frontend.RMS:
		zero := c.RMSZero
		return fmt.Sprintf("net_root((uint64_t)(((int64_t)squares_%[1]s << %[2]d) + "+
			"(INT64_C(%[3]d) * sum_%[1]s) + INT64_C(%[4]d)))", c.name, 2*c.RMSBits,
			2*zero<<c.RMSBits, int64(n)*zero*zero)
	case frontend.Amplitude:
		return fmt.Sprintf("(int32_t)lengths[%d]", slices.Index(c.Lines, d.Order))
	case frontend.Phase:
		angle := f.angle(c.index, d.Order)
		if made.Turned != 0 {
			angle += fmt.Sprintf(" + UINT32_C(%d)", made.Turned)
		}
		if d.Other != "" {
			angle += " - " + f.angle(feature.Other, d.Order)
		}
		return "net_angle(" + angle + ")"
	case frontend.Distortion:
		return fmt.Sprintf("net_distortion(lengths, %d, %d, UINT32_C(%d))", d.Order-1,
			(32-bits.Len(uint(d.Order-1)))/2, made.Floor)
	case frontend.Relative:
		if c.BaseSteps > 0 {
			return f.relative(c)
		}
	}
	return "sum_" + c.name
}

// relative returns how far a sum is from its baseline.
func (f *front) relative(c *frontChannel) string {
	steps := "steps"
	if c.BaseSteps < f.integer.MostSteps() {
		steps = fmt.Sprintf("(steps < %dU) ? steps : %[1]dU", c.BaseSteps)
	}
	return fmt.Sprintf("net_relative(sum_%s, f->base_%[1]s, %s, INT32_C(%d), INT32_C(%d))", c.name,
		steps, c.BaseZero, c.BaseFloor)
}

// clearing returns net_begin, which empties what a window keeps and lets name_sample go on.
func (f *front) clearing() string {
	var b, body strings.Builder
	folds, n := map[int]string{}, f.samples()
	for _, c := range f.channels {
		if c.Fold != nil {
			folds[c.Fold.Length] += fmt.Sprintf("        f->fold_%s[i] = %d;\n", c.name,
				-c.Fold.Each*c.Middle)
		}
		for _, m := range []struct {
			kept        bool
			name, start string
		}{{c.KeepsSum(), "sum", fmt.Sprint(-n * c.Middle)},
			{c.Squares, "squares", "0"},
			{c.Ramp, "ramp", fmt.Sprintf("INT%d_C(%d)", c.RampBits(n), c.Middle*n*(n-1)/2)},
			{c.Low, "low", "UINT16_MAX"}, {c.High, "high", "0"}} {
			if m.kept {
				fmt.Fprintf(&body, "    f->%s_%s = %s;\n", m.name, c.name, m.start)
			}
		}
	}
	for _, length := range f.integer.Places() {
		fmt.Fprintf(&body, "    f->at%d = 0;\n", length)
	}
	for _, length := range slices.Sorted(maps.Keys(folds)) {
		if length%2 == 0 { // two at a time
			folds[length] += strings.ReplaceAll(folds[length], "[i]", "[i + 1U]")
		}
		fmt.Fprintf(&body, "    for (i = 0; i < %dU; i += %dU) {\n%s    }\n", length,
			2-length%2, folds[length])
	}
	b.WriteString("/* Begins a window. Sums begin where the middle codes of a window lead to 0. " +
		"What lets\n" +
		" * net_sample go on is written last. */\n" +
		"static NET_APART void net_begin(net_front *f)\n{\n")
	if len(folds) > 0 {
		b.WriteString("    uint_fast16_t i;\n\n")
	}
	b.WriteString(body.String())
	b.WriteString("    f->taken = 0;\n    NET_BARRIER();\n    f->full = 0;\n}\n\n")
	return b.String()
}

// reset returns name_front_reset.
func (f *front) reset() string {
	var b strings.Builder
	b.WriteString("void net_front_reset(net_front *f)\n{\n    f->full = 1; /* net_sample " +
		"keeps off */\n    NET_BARRIER();\n")
	if f.integer.MostSteps() > 0 {
		b.WriteString("    f->steps = 0;\n")
	}
	for _, c := range f.channels {
		if c.BaseSteps > 0 {
			fmt.Fprintf(&b, "    f->base_%s = 0;\n", c.name)
		}
		if c.Before {
			fmt.Fprintf(&b, "    f->before_%s = 0;\n", c.name)
		}
	}
	b.WriteString("    net_begin(f);\n}\n\n")
	return b.String()
}

// encodeOne returns name_encode_one. Computed features are encoded on demand alone, and where every
// feature is computed there is nothing else.
func (f *front) encodeOne() string {
	var given, computed strings.Builder
	line := func(b *strings.Builder, feature, row int) {
		fmt.Fprintf(b, "    case %s%s:\n        x = net_scaled_value(value, &net_scales[%d]);\n"+
			"        break;\n", featureMacro, macroPart(f.p.Net.Features[feature].Name), row)
	}
	row := len(f.integer.Features)
	for _, g := range f.given() {
		line(&given, g, row)
		row++
	}
	for _, c := range f.p.Front.Index {
		line(&computed, c, row)
		row++
	}
	const head = "int16_t net_encode_one(uint16_t feature, int32_t value)\n{\n" +
		"    int16_t x = 0;\n\n    switch (feature) {\n"
	const end = "    default: /* not encoded */\n        break;\n    }\n    return x;\n}\n"
	if given.Len() == 0 {
		return "#ifdef NET_WITH_ENCODE_ONE\n/*@value*/\n" + head + computed.String() + end +
			"#endif\n"
	}
	return "/*@value*/\n" + head + given.String() + "#ifdef NET_WITH_ENCODE_ONE\n" +
		computed.String() + "#endif\n" + end
}
