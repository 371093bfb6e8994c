package emit

import (
	"fmt"
	"math"
	"math/bits"
	"slices"
	"strings"

	"kerf/frontend"
)

// FrontEnd is what computes features from samples, as a part of a [Program].
type FrontEnd struct {
	Integer *frontend.Integer
	Index   []int // of each of its features: the feature of the network
}

// front is a front end on its way to C.
type front struct {
	p        *Program
	integer  *frontend.Integer
	channels []frontChannel // the sampled ones, in the order of code[]
	folds    []frontFold    // of unlike shape
}

// frontChannel is a channel that features are computed of.
type frontChannel struct {
	*frontend.IntegerChannel
	index  int    // of the front end
	name   string // in C, behind the name of what is kept
	fold   int    // of front.folds, where it has one
	byKind map[frontend.Kind]bool
}

// frontFold is the shape of the sums of channels: the same code serves all of them.
type frontFold struct {
	*frontend.Fold
	prefix  string
	sumBits int
}

// newFront returns the front end of the program; nil without one.
func (p *Program) newFront() *front {
	if p.Front == nil {
		return nil
	}
	f := &front{p: p, integer: p.Front.Integer}
	first, of := f.integer.Shapes()
	for i, channel := range first {
		c := &f.integer.Channels[channel]
		f.folds = append(f.folds, frontFold{Fold: c.Fold, sumBits: c.SumBits(),
			prefix: fmt.Sprintf("net_fold%d_", i)})
	}
	for i := range f.integer.Channels {
		c := frontChannel{IntegerChannel: &f.integer.Channels[i], index: i,
			name:   strings.ToLower(macroPart(f.integer.Front.Channels[i].Name)),
			byKind: map[frontend.Kind]bool{}}
		used := false
		for _, feature := range f.integer.Front.Features {
			isOther := feature.Definition.Other != "" && feature.Other == i
			used = used || isOther || feature.Channel == i
			if feature.Channel == i {
				c.byKind[feature.Definition.Kind] = true
			}
		}
		if !used {
			continue
		}
		c.fold = of[i]
		f.channels = append(f.channels, c)
	}
	return f
}

// channelNames returns the names of the channels that are sampled.
func (p *Program) channelNames() []string {
	if p.Front == nil {
		return nil
	}
	var names []string
	for _, c := range p.Front.Integer.Front.Channels {
		names = append(names, c.Name)
	}
	return names
}

// samples returns N.
func (f *front) samples() int { return f.integer.Front.Sampling.Samples }

func isPowerOfTwo(v int) bool { return v&(v-1) == 0 }

// structMembers returns the members of name_front as C.
func (f *front) structMembers() string {
	var b strings.Builder
	places, fillers := f.integer.Places(), 0
	for _, m := range f.integer.Members() {
		name, note, ctype := string(m.Kind), "", m.Type()
		switch m.Kind {
		case frontend.KeptFull:
			ctype = "volatile " + ctype
			note = " /* what net_sample sets last and net_features clears last */"
		case frontend.KeptFiller:
			name, fillers = fmt.Sprint(name, fillers), fillers+1
			note = " /* makes places and size the same for every compiler */"
		case frontend.KeptPlace:
			name, places = fmt.Sprint(name, places[0]), places[1:]
		default:
			if m.Channel >= 0 {
				name += "_" + f.channelOf(m.Channel).name
			}
		}
		if m.Count > 1 {
			name += fmt.Sprintf("[%d]", m.Count)
		}
		fmt.Fprintf(&b, "    %s %s;%s\n", ctype, name, note)
	}
	return b.String()
}

// interfaceMacros returns the macros of NAME.h that are of the front end.
func (f *front) interfaceMacros() string {
	var b strings.Builder
	b.WriteString("\n/* Front end: converter codes to x[]. */\n")
	fmt.Fprintf(&b, "#define NET_N_CHANNELS %d /* codes of a sample */\n", len(f.channels))
	fmt.Fprintf(&b, "#define NET_WINDOW %d /* samples of a step */\n", f.samples())
	fmt.Fprintf(&b, "#define NET_SAMPLE_NS %.0fUL /* from one sample of a window to the next, in "+
		"nanoseconds; then none are taken until the period is over */\n",
		1e9/f.integer.Front.Sampling.Rate)
	fmt.Fprintf(&b, "#define NET_FRONT_BYTES %d /* RAM of net_front */\n", f.integer.StateBytes())
	for i, c := range f.channels {
		channel := &f.integer.Front.Channels[c.index]
		fmt.Fprintf(&b, "#define %s%s %d /* %d bits: 0 is %g, %d is %g %s */\n", codeMacro,
			macroPart(channel.Name), i, c.Bits, channel.Converter.Low, 1<<c.Bits-1,
			channel.Converter.High, commentText(channel.Unit))
	}
	var bits []string
	for _, c := range f.channels {
		bits = append(bits, fmt.Sprint(c.Bits))
	}
	fmt.Fprintf(&b, "#define NET_CODE_BITS { %s } /* of every channel */\n",
		strings.Join(bits, ", "))
	for _, i := range f.given() {
		fmt.Fprintf(&b, "#define %s%s%s %d /* of net_encode_one */\n", featureMacro,
			macroPart(f.p.Net.Features[i].Name), valueFractionMacro, f.valueFraction(i))
	}
	return b.String()
}

// given returns the features of the network that are not computed.
func (f *front) given() []int {
	var all []int
	for i := range f.p.Net.Features {
		if !slices.Contains(f.p.Front.Index, i) {
			all = append(all, i)
		}
	}
	return all
}

// valueFraction returns the fraction bits with which a given feature is passed: mean and 32
// standard deviations stay below 2^30.
func (f *front) valueFraction(i int) int {
	feature := f.p.Net.Features[i]
	return 29 - math.Ilogb(math.Abs(feature.Mean)+float64(32*feature.Std))
}

// scaling returns what encodes a given feature.
func (f *front) scaling(i int) frontend.Scaling {
	feature := f.p.Net.Features[i]
	units := math.Ldexp(1, f.p.Net.InputFraction) / feature.Std
	return frontend.NewScaling(math.Ldexp(units, -f.valueFraction(i)), -feature.Mean*units)
}

// source returns NAME_front.c. rom is the text of rom.h.
func (f *front) source(rom string) (string, error) {
	folds, err := f.foldCode()
	if err != nil {
		return "", err
	}
	return f.p.template("front.c", map[string]string{
		"file": f.p.banner("features from converter codes, C99"), "rom": rom,
		"scales": f.scales(), "angles": f.angles(), "turns": turns(), "folds": folds,
		"sample":   f.sample(),
		"clearing": f.clearing(), "features": f.features(), "reset": f.reset(),
		"encode": f.encodeOne(),
	})
}

// choices returns which routines the features need.
func (f *front) choices() map[string]int {
	c := map[string]int{"NET_FRONT": flag(f != nil)}
	for _, name := range []string{"LINES", "WIDE", "PHASE", "DISTORTION", "RATIO", "ROOT",
		"LEADING", "SHIFTED", "RELATIVE", "LIMIT"} {
		c["NET_USES_"+name] = 0
	}
	c["NET_GIVEN"] = 0 // some features are not computed
	if f == nil {
		return c
	}
	c["NET_GIVEN"] = flag(len(f.given()) > 0)
	for _, channel := range f.channels {
		c["NET_USES_LIMIT"] |= flag(channel.Bits < 16)
		for kind := range channel.byKind {
			switch kind {
			case frontend.Phase:
				c["NET_USES_PHASE"] = 1
			case frontend.Distortion:
				c["NET_USES_DISTORTION"], c["NET_USES_RATIO"] = 1, 1
			case frontend.RMS, frontend.Ripple:
				c["NET_USES_ROOT"] = 1
			case frontend.Relative:
				c["NET_USES_RATIO"] |= flag(channel.BaseSteps > 0)
				c["NET_USES_RELATIVE"] |= flag(channel.BaseSteps > 0)
			}
		}
	}
	for _, fold := range f.folds {
		c["NET_USES_LINES"] = 1
		c["NET_USES_WIDE"] |= flag(fold.Wide)
	}
	c["NET_USES_SHIFTED"] = c["NET_USES_LINES"] | c["NET_USES_RATIO"]
	c["NET_USES_LEADING"] = c["NET_USES_SHIFTED"]
	return c
}

// scales writes the constants that bring whole numbers to x.
func (f *front) scales() string {
	var b strings.Builder
	given := f.given()
	n := len(f.integer.Features) + len(given)
	fmt.Fprintf(&b, "static const net_scale net_scales[%d] NET_ROM = {\n", n)
	line := func(s frontend.Scaling, feature int) {
		fmt.Fprintf(&b, "    { %d, %d, %d, %d, %d, 0 }, /* %s */\n", s.Middle, s.Multiplier, s.Add,
			s.Limit, s.Down, commentText(f.p.Net.Features[feature].Name))
	}
	for i := range f.integer.Features {
		line(f.integer.Features[i].Scaling, f.p.Front.Index[i])
	}
	for _, i := range given {
		line(f.scaling(i), i)
	}
	b.WriteString("};\n")
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
	for i, fold := range f.folds {
		even, span := fold.Length%2 == 0, fold.Length
		if even {
			span /= 2
		}
		text, err := resolve(string(raw), map[string]int{"FOLD_EVEN": flag(even),
			"FOLD_NEEDS_SUM": flag(f.needsSum(i)),
			"FOLD_CENTRE":    flag(span%2 == 0)})
		if err != nil {
			return "", fmt.Errorf("exporter/emit/c/fold.c: %w", err)
		}
		total, polar := "int32_t", "net_polar"
		if fold.Wide {
			total, polar = "int64_t", "net_polar64"
		}
		turn := fmt.Sprintf("at = (at >= (%[1]dU - step)) ? (at - (%[1]dU - step)) : (at + step)",
			fold.Length)
		if isPowerOfTwo(fold.Length) {
			turn = fmt.Sprintf("at = (at + step) & %dU", fold.Length-1)
		}
		tables, cosine := fold.tables()
		b.WriteString(strings.NewReplacer("/*@tables*/\n", tables,
			"at = FOLD_TURN(at + step)", turn, "FOLD_SUM", fmt.Sprintf("int%d_t", fold.sumBits),
			"FOLD_TOTAL", total, "FOLD_POLAR", polar, "FOLD_SPAN", fmt.Sprintf("%dU", span),
			"FOLD_LENGTH", fmt.Sprintf("%dU", fold.Length),
			"FOLD_STEP", fold.step(), "FOLD_SCALE", fmt.Sprint(fold.Scale),
			"FOLD_DOWN", fmt.Sprint(fold.Down), "FOLD_COS(at)", cosine,
			"FOLD_SIN(at)", "NET_ROM_I16(&"+fold.prefix+"sine[at])",
			"fold_sum", fold.prefix+"sum", "fold_pair", fold.prefix+"pair", "fold_line",
			fold.prefix+"line").Replace(text))
	}
	return b.String(), nil
}

// needsSum reports whether the sum of a window is made of sums of a shape.
func (f *front) needsSum(shape int) bool {
	return slices.ContainsFunc(f.channels, func(c frontChannel) bool {
		return c.fold == shape && c.Sum && !c.KeepsSum()
	})
}

// step returns by how many places harmonic k goes on from one sum to the next.
func (f *frontFold) step() string {
	if f.Stride == 1 {
		return fmt.Sprintf("k %% %dU", f.Length)
	}
	return fmt.Sprintf("(%dU * k) %% %dU", f.Stride, f.Length)
}

// tables returns the arrays of one turn, and how its cosine is read. Where a quarter of a turn is a
// whole number of places one array serves both.
func (f *frontFold) tables() (arrays, cosine string) {
	var b strings.Builder
	array := func(name string, values []int16) {
		fmt.Fprintf(&b, "static const int16_t %s%s[%d] NET_ROM = {\n", f.prefix, name, len(values))
		list(&b, len(values), 12, func(i int) string { return fmt.Sprint(values[i]) })
		b.WriteString("};\n")
	}
	if f.Length%4 == 0 {
		array("sine", append(slices.Clone(f.Sin), f.Sin[:f.Length/4]...))
		return b.String(), fmt.Sprintf("NET_ROM_I16(&%ssine[at + %dU])", f.prefix, f.Length/4)
	}
	array("sine", f.Sin)
	array("cosine", f.Cos)
	return b.String(), "NET_ROM_I16(&" + f.prefix + "cosine[at])"
}

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

// features returns name_features.
func (f *front) features() string {
	var b strings.Builder
	b.WriteString("void net_features(net_front *f, int16_t x[NET_N_FEATURES])\n{\n")
	var body strings.Builder
	for i := range f.channels {
		f.measure(&b, &body, &f.channels[i])
	}
	for i := range f.integer.Features {
		f.feature(&body, i)
	}
	for _, l := range []struct{ declaration, use string }{{"uint_fast16_t i", "for (i = "},
		{"uint32_t angle", "angle = "}, {"uint32_t steps", "steps = "},
		{"int32_t value", "value = "}} {
		if strings.Contains(body.String(), l.use) {
			b.WriteString("    " + l.declaration + ";\n")
		}
	}
	b.WriteString("\n    if (f->full == 0U) {\n        return;\n    }\n    NET_BARRIER();\n")
	b.WriteString(body.String())
	f.begin(&b)
	b.WriteString("}\n\n")
	return b.String()
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
	if c.Sum {
		fmt.Fprintf(locals, "    int32_t sum_%s;\n", c.name)
		switch {
		case c.KeepsSum():
			fmt.Fprintf(b, "    sum_%s = f->sum_%[1]s;\n", c.name)
		default:
			fmt.Fprintf(b, "    sum_%[1]s = %[2]ssum(f->fold_%[1]s);\n", c.name,
				f.folds[c.fold].prefix)
		}
	}
	if c.Squares {
		bits := c.SquaresBits(f.samples())
		fmt.Fprintf(locals, "    uint%d_t squares_%s;\n", bits, c.name)
		fmt.Fprintf(b, "    squares_%[1]s = f->squares_%[1]s - (UINT%[2]d_C(%[3]d) * "+
			"(uint%[2]d_t)sum_%[1]s) - UINT%[2]d_C(%[4]d);\n", c.name, bits, 2*c.Middle,
			f.samples()*c.Middle*c.Middle)
	}
	if c.Before {
		fmt.Fprintf(b, "    if (f->steps == 0U) {\n        f->before_%s = sum_%[1]s;\n    }\n",
			c.name)
	}
	if c.BaseSteps > 0 {
		fmt.Fprintf(b, "    if (f->steps < %dU) {\n        f->base_%s += sum_%[2]s;\n    }\n",
			c.BaseSteps, c.name)
	}
	if c.Fold == nil {
		return
	}
	fmt.Fprintf(locals, "    uint32_t length_%s[%d];\n", c.name, len(c.Lines))
	fmt.Fprintf(b, "    %spair(f->fold_%s);\n", f.folds[c.fold].prefix, c.name)
	for _, run := range f.integer.LineRuns(c.index) {
		if run.Angle {
			fmt.Fprintf(locals, "    uint32_t angle_%s_%d;\n", c.name, run.First)
		}
	}
	line := func(at, k, angle string) string {
		return fmt.Sprintf("length_%[1]s[%[2]s] = %[3]sline(f->fold_%[1]s, %[4]s, %[5]s);\n",
			c.name, at,
			f.folds[c.fold].prefix, k, angle)
	}
	for _, run := range f.integer.LineRuns(c.index) {
		switch {
		case run.Angle:
			fmt.Fprintf(b, "    %s", line(fmt.Sprint(run.At), fmt.Sprint(run.First),
				fmt.Sprintf("&angle_%s_%d", c.name, run.First)))
		case run.Count == 1:
			fmt.Fprintf(b, "    %s", line(fmt.Sprint(run.At), fmt.Sprint(run.First), "NULL"))
		default:
			harmonic := "i"
			if run.First > run.At {
				harmonic = fmt.Sprintf("i + %dU", run.First-run.At)
			}
			fmt.Fprintf(b, "    for (i = %d; i < %dU; i++) {\n        %s    }\n", run.At,
				run.At+run.Count, line("i", harmonic, "NULL"))
		}
	}
}

// feature writes how x of a feature is made.
func (f *front) feature(b *strings.Builder, i int) {
	feature, made := &f.integer.Front.Features[i], &f.integer.Features[i]
	c := f.channelOf(feature.Channel)
	d := feature.Definition
	length := func(c *frontChannel, k int) string {
		return fmt.Sprintf("length_%s[%d]", c.name, slices.Index(c.Lines, k))
	}
	n := f.samples()
	value := ""
	switch d.Kind {
	case frontend.Level:
		value = "sum_" + c.name
	case frontend.Slope:
		value = fmt.Sprintf("sum_%s - f->before_%[1]s", c.name)
	case frontend.Trend:
		value = fmt.Sprintf("(%d * sum_%s) - (2 * f->ramp_%[2]s)", n+1, c.name)
		if c.RampBits(n) == 64 {
			value = fmt.Sprintf("(int32_t)(((%[1]d * (int64_t)sum_%[2]s) - (2 * f->ramp_%[2]s)) "+
				">> %[3]d)",
				n+1, c.name, c.TrendDown)
		}
	case frontend.Minimum:
		value = "f->low_" + c.name
	case frontend.Maximum:
		value = "f->high_" + c.name
	case frontend.Swing:
		value = fmt.Sprintf("(int32_t)f->high_%s - (int32_t)f->low_%[1]s", c.name)
	case frontend.Ripple:
		value = fmt.Sprintf("(int32_t)net_root((((uint64_t)squares_%[1]s * %[2]dU) - "+
			"(uint64_t)((int64_t)sum_%[1]s * sum_%[1]s)) << %[3]d)", c.name, n, 2*c.RippleBits)
	case frontend.RMS:
		value = f.rms(c)
	case frontend.Amplitude:
		value = "(int32_t)" + length(c, d.Order)
	case frontend.Phase:
		value = f.phase(b, i, c, length)
	case frontend.Distortion:
		fmt.Fprintf(b, "    value = 0;\n    if (%[1]s >= UINT32_C(%[2]d)) {\n        value = "+
			"net_ratio(net_length_of(&%[3]s, %[4]d, %[5]d), %[1]s);\n    }\n", length(c, 1),
			made.Floor, length(c, 2), d.Order-1, (32-bits.Len(uint(d.Order-1)))/2)
		value = "value"
	case frontend.Relative:
		value = "sum_" + c.name
		if c.BaseSteps > 0 {
			value = f.relative(b, c)
		}
	}
	fmt.Fprintf(b, "    x[%s%s] = net_scaled(%s, &net_scales[%d]);\n", featureMacro,
		macroPart(f.p.Net.Features[f.p.Front.Index[i]].Name), value, i)
}

// rms returns what stands for the root mean square about physical zero.
func (f *front) rms(c *frontChannel) string {
	zero, n := c.RMSZero, int64(f.samples())
	return fmt.Sprintf("(int32_t)net_root((uint64_t)(((int64_t)squares_%[1]s << %[2]d) + "+
		"(INT64_C(%[3]d) * sum_%[1]s) + INT64_C(%[4]d)))", c.name, 2*c.RMSBits,
		2*zero<<c.RMSBits, n*zero*zero)
}

// phase writes what the angle of feature i is made of.
func (f *front) phase(b *strings.Builder, i int, c *frontChannel,
	length func(*frontChannel, int) string) string {
	feature, made := &f.integer.Front.Features[i], &f.integer.Features[i]
	k := feature.Definition.Order
	fmt.Fprintf(b, "    angle = UINT32_C(%d);\n", made.Turned)
	term := func(c *frontChannel, floor uint32, sign string) {
		fmt.Fprintf(b, "    if (%s >= UINT32_C(%d)) {\n        angle %s= angle_%s_%d;\n    }\n",
			length(c, k), floor, sign, c.name, k)
	}
	term(c, made.Floor, "+")
	if feature.Definition.Other != "" {
		term(f.channelOf(feature.Other), made.Floor2, "-")
	}
	return "net_angle(angle)"
}

// relative writes how far a sum is from its baseline.
func (f *front) relative(b *strings.Builder, c *frontChannel) string {
	fmt.Fprintf(b, "    steps = (f->steps < %dU) ? (f->steps + 1U) : %[1]dU;\n", c.BaseSteps)
	fmt.Fprintf(b, "    value = net_relative(sum_%s, f->base_%[1]s, steps, INT32_C(%d), "+
		"INT32_C(%d));\n", c.name, c.BaseZero, c.BaseFloor)
	return "value"
}

// begin writes the end of name_features: the next window begins.
func (f *front) begin(b *strings.Builder) {
	for _, c := range f.channels {
		if c.Before {
			fmt.Fprintf(b, "    f->before_%s = sum_%[1]s;\n", c.name)
		}
	}
	if most := f.integer.MostSteps(); most > 0 {
		fmt.Fprintf(b, "    if (f->steps < %dU) {\n        f->steps++;\n    }\n", most)
	}
	b.WriteString("    net_begin(f);\n")
}

// clearing returns net_begin, which empties what a window keeps and lets name_sample go on.
func (f *front) clearing() string {
	var b, body strings.Builder
	longest, n := 0, f.samples()
	for _, c := range f.channels {
		if c.Fold != nil {
			longest = max(longest, c.Fold.Length)
			fmt.Fprintf(&body, "    for (i = 0; i < %dU; i++) {\n        f->fold_%s[i] = "+
				"%d;\n    }\n",
				c.Fold.Length, c.name, -c.Fold.Each*c.Middle)
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
	b.WriteString("/* Begins a window. Sums begin where the middle codes of a window lead to 0. " +
		"What lets\n" +
		" * net_sample go on is written last. */\n" +
		"static void net_begin(net_front *f)\n{\n")
	if longest > 0 {
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

// encodeOne returns name_encode_one; nothing where every feature is computed.
func (f *front) encodeOne() string {
	given := f.given()
	if len(given) == 0 {
		return ""
	}
	var b strings.Builder
	b.WriteString("int16_t net_encode_one(uint16_t feature, int32_t value)\n{\n" +
		"    int16_t x = 0;\n\n    switch (feature) {\n")
	for i, g := range given {
		fmt.Fprintf(&b, "    case %s%s:\n        x = net_scaled(value, &net_scales[%d]);\n"+
			"        break;\n", featureMacro, macroPart(f.p.Net.Features[g].Name),
			len(f.integer.Features)+i)
	}
	b.WriteString("    default: /* computed */\n        break;\n    }\n    return x;\n}\n")
	return b.String()
}
