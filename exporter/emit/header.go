package emit

import (
	"fmt"
	"strconv"
	"strings"

	"kerf/model"
)

// header returns NAME.h.
func (p *Program) header() (string, error) {
	net := p.Net
	var b strings.Builder
	units := 0
	for _, l := range net.Layers {
		units += l.Units
	}
	fits := 0
	if p.Fits {
		fits = 1
	}
	for _, d := range []struct {
		macro string
		value any
		note  string
	}{
		{"NET_N_FEATURES", len(net.Features), "inputs of a step"},
		{"NET_N_UNITS", units, "hidden units"},
		{"NET_N_OUTPUTS", len(net.Outputs), "outputs of a step"},
		{"NET_STATE_BYTES", net.Shape().StateBytes(), "RAM between two steps"},
		{"NET_WEIGHT_BYTES", net.Shape().WeightBytes(), "flash: weights, biases, shifts"},
		{"NET_TABLE_BYTES", net.Shape().TableBytes(), "flash: tanh table"},
		{"NET_ID", "0x@ID@UL", "ties the files of one export together"},
		{"NET_FITS", fits, "1: the sign-off says that it fits; 0: NOT SIGNED"},
		{"NET_KERF_VERSION", fmt.Sprintf("%q", commentText(p.Version)), "that made them"},
		{"NET_X_FRACTION_BITS", net.InputFraction, "x = (physical - mean)/std * 2^bits, halves " +
			"away from 0, limited to int16"},
	} {
		fmt.Fprintf(&b, "#define %s %v /* %s */\n", d.macro, d.value, d.note)
	}
	if p.ModelVersion != "" {
		fmt.Fprintf(&b, "#define NET_MODEL_VERSION \"%s\" /* as the job has it */\n",
			strings.ReplaceAll(commentText(p.ModelVersion), `"`, `\"`))
	}
	for i, l := range net.Layers {
		fmt.Fprintf(&b, "#define NET_L%d_UNITS %dU /* %s */\n", i, l.Units, l.Kind)
	}
	if p.Period > 0 {
		fmt.Fprintf(&b, "#define NET_PERIOD_US %.0fUL /* between two steps, in microseconds: "+
			"the network was trained at this rate */\n", 1e6*p.Period)
	}
	if p.SettleSteps != nil {
		fmt.Fprintf(&b, "#define NET_SETTLE_STEPS %d /* steps after which outputs no longer "+
			"tell how the state began: they differ by less than a tenth of the tolerance on all "+
			"sign-off recordings */\n", *p.SettleSteps)
	}
	b.WriteString("\n/* Inputs in order: index in x[]; unit, mean and std of the physical value, " +
		"as x has them: where the\n   weights ask for a feature of another scale, std is not that of " +
		"features.csv. */\n")
	for i, f := range net.Features {
		fmt.Fprintf(&b, "#define %s%s %d /* %s, %s, mean %g, std %g */\n", featureMacro,
			macroPart(f.Name), i, commentText(f.Name), commentText(f.Unit), f.Mean, f.Std)
	}
	b.WriteString("\n/* Of the physical value of each: fraction bits for net_encode_one, mean " +
		"and std as x has them")
	if p.Ranges != nil {
		b.WriteString(", and the\n   least and the largest value of the recordings that the " +
			"formats come from")
	}
	b.WriteString(". */\n")
	for i := range net.Features {
		b.WriteString(p.valueMacros(i))
	}
	b.WriteString("\n/* Outputs in order: index in y[], fraction bits, and y for 1 in the " +
		"physical unit. */\n")
	for o, out := range net.Outputs {
		macro := outputMacro + macroPart(out.Name)
		fmt.Fprintf(&b, "#define %s %d /* %s, %s */\n", macro, o, commentText(out.Name),
			commentText(out.Unit))
		fmt.Fprintf(&b, "#define %s%s %d\n", macro, fractionMacro, net.OutputFraction(o))
		if bits := net.OutputFraction(o); bits >= 0 && bits <= 30 {
			fmt.Fprintf(&b, "#define %s%s (INT32_C(1) << %d)\n", macro, oneMacro, bits)
		}
	}
	marks := map[string]string{"file": p.banner("interface of the network"),
		"state": p.stateStruct()}
	if front := p.newFront(); front != nil {
		b.WriteString(front.interfaceMacros())
		marks["front"] = front.structMembers()
	}
	b.WriteByte('\n')
	marks["interface"] = b.String()
	return p.template("net.h", marks)
}

// field is a member of the struct that holds the state.
type field struct {
	ctype, name string
	length      string
}

// fields returns the members that hold the state of recurrent layer i between two steps.
func (p *Program) fields(i int) []field {
	l := p.Net.Layers[i]
	units := fmt.Sprintf("NET_L%d_UNITS", i)
	even := units
	if l.Units%2 == 1 {
		even += " + 1U"
	}
	name := func(what string, fraction int) string {
		if len(p.Net.Layers) > 1 {
			what += strconv.Itoa(i)
		}
		if fraction < 0 {
			return what // whole numbers have no such name
		}
		return fmt.Sprintf("%s_Q%d", what, fraction)
	}
	wide := l.Formats.StateBits == 32
	switch {
	case l.Kind == model.LSTM && wide:
		return []field{{"int16_t", name("h", 15), even},
			{"int32_t", name("c", l.CellFraction), units}}
	case l.Kind == model.LSTM:
		return []field{{"int16_t", name("h", 15), even},
			{"int16_t", name("c", l.CellFraction), even}}
	case wide:
		return []field{{"int32_t", name("h", 30), units}}
	}
	return []field{{"int16_t", name("h", l.OutputFraction), even}}
}

// stateStruct returns the members of the struct that holds the state. Wide members come first, and
// an odd number of narrow values is filled up, so that no compiler needs padding between members.
func (p *Program) stateStruct() string {
	var b strings.Builder
	for _, ctype := range []string{"int32_t", "int16_t"} {
		for i := range p.Net.Layers {
			for _, f := range p.fields(i) {
				if f.ctype == ctype {
					fmt.Fprintf(&b, "    %s %s[%s];\n", f.ctype, f.name, f.length)
				}
			}
		}
	}
	return b.String()
}
