package emit

import (
	"embed"
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"kerf/quant"
)

// The C that does not depend on the network: real C files for a network called
// net, which the export renames.
//
//go:embed c/*.h c/*.c
var cFiles embed.FS

// Names of ours; behind the compiler option -D one begins too.
var (
	cPrefix      = regexp.MustCompile(`(\b|-D)net(_|\.[ch]\b)`)
	cUpperPrefix = regexp.MustCompile(`(\b|-D)NET(_|\.[ch]\b)`)
)

// guard stands before text from files, where net_ is no prefix of ours. It
// cannot come from a file: commentText escapes control characters.
const guard = "\x01"

// rename gives a C text the name of the job: net_step becomes leakair_step,
// NET_N_UNITS becomes LEAKAIR_N_UNITS, "net.h" becomes "leakair.h". It takes the
// guards away.
func rename(text, name string) string {
	text = cPrefix.ReplaceAllString(text, "${1}"+name+"${2}")
	text = cUpperPrefix.ReplaceAllString(text, "${1}"+strings.ToUpper(name)+"${2}")
	return strings.ReplaceAll(text, guard, "")
}

// template reads one of the C files, keeps the branches that this network
// needs, and puts generated text in place of the marker comments.
func (h *Program) template(file string, marks map[string]string) (string, error) {
	raw, err := cFiles.ReadFile("c/" + file)
	if err != nil {
		return "", err
	}
	text, err := resolve(string(raw), h.choices())
	if err != nil {
		return "", fmt.Errorf("exporter/emit/c/%s: %w", file, err)
	}
	for mark, with := range marks {
		text = strings.Replace(text, "/*@"+mark+"*/\n", with, 1)
	}
	return rename(emptyLines.ReplaceAllString(text, "\n\n"), h.Name), nil
}

// emptyLines are what branches leave that were taken out.
var emptyLines = regexp.MustCompile(`\n{3,}`)

var choiceLine = regexp.MustCompile(`^#if ((?:NET|LAYER)_\w+) == (\d+)$`)

// resolve removes the branches #if CHOICE == N ... #else ... #endif that the
// choices rule out. Other preprocessor lines stay as they are.
func resolve(text string, choices map[string]int) (string, error) {
	var b strings.Builder
	type level struct{ chosen, on bool }
	var stack []level
	on := true
	for line := range strings.Lines(text) {
		directive := strings.TrimSpace(line)
		match := choiceLine.FindStringSubmatch(directive)
		switch {
		case match != nil:
			value, known := choices[match[1]]
			if !known {
				return "", fmt.Errorf("unknown choice %s", match[1])
			}
			stack = append(stack, level{chosen: true, on: on})
			on = on && strconv.Itoa(value) == match[2]
			continue
		case strings.HasPrefix(directive, "#if"):
			stack = append(stack, level{on: on})
		case directive == "#else" && len(stack) > 0 && stack[len(stack)-1].chosen:
			on = stack[len(stack)-1].on && !on
			continue
		case strings.HasPrefix(directive, "#endif"):
			if len(stack) == 0 {
				return "", fmt.Errorf("#endif without #if")
			}
			top := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			if top.chosen {
				on = top.on
				continue
			}
		}
		if on {
			b.WriteString(line)
		}
	}
	if len(stack) > 0 {
		return "", fmt.Errorf("#if without #endif")
	}
	return b.String(), nil
}

// header is NAME.h.
func (h *Program) header() (string, error) {
	net := h.Net
	var b strings.Builder
	units := 0
	for _, l := range net.Layers {
		units += l.Units
	}
	fits := 0
	if h.Fits {
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
		{"NET_KERF_VERSION", fmt.Sprintf("%q", commentText(h.Version)), "that made them"},
		{"NET_X_FRACTION_BITS", net.InputFraction, "x = (physical - mean)/std * 2^bits, halves " +
			"away from 0, limited to int16"},
	} {
		fmt.Fprintf(&b, "#define %s %v /* %s */\n", d.macro, d.value, d.note)
	}
	for i, l := range net.Layers {
		fmt.Fprintf(&b, "#define NET_L%d_UNITS %dU /* %s */\n", i, l.Units, l.Kind)
	}
	if h.Period > 0 {
		fmt.Fprintf(&b, "#define NET_PERIOD_US %.0fUL /* between two steps, in microseconds: "+
			"the network was trained at this rate */\n", 1e6*h.Period)
	}
	if h.SettleSteps != nil {
		fmt.Fprintf(&b, "#define NET_SETTLE_STEPS %d /* steps after which outputs no longer "+
			"tell how the state began: they differ by less than a tenth of the tolerance on all "+
			"sign-off recordings */\n", *h.SettleSteps)
	}
	b.WriteString("\n/* Inputs in order: index in x[]; unit, mean and std of the physical " +
		"value. */\n")
	for i, f := range net.Features {
		fmt.Fprintf(&b, "#define %s%s %d /* %s, %s, mean %g, std %g */\n", featureMacro,
			macroPart(f.Name), i, commentText(f.Name), commentText(f.Unit), f.Mean, f.Std)
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
	b.WriteByte('\n')
	return h.template("net.h", map[string]string{"file": h.banner("interface of the network"),
		"interface": b.String(), "state": h.stateStruct()})
}

// weightsHeader is NAME_weights.h.
func (h *Program) weightsHeader() string {
	net := h.Net
	var b strings.Builder
	b.WriteString(h.banner("weights, biases and formats; included by net.c alone"))
	b.WriteString("#ifndef NET_WEIGHTS_H\n#define NET_WEIGHTS_H\n\n#ifndef NET_ROM\n#error " +
		"\"include this file from net.c only\"\n#endif\n\n")
	fmt.Fprintf(&b, "/* %s.\n * %s.\n *\n * Input order, unit, mean and standard deviation:\n",
		h.description(), net.Formats)
	for i, f := range net.Features {
		fmt.Fprintf(&b, " *   %2d  %s, %s, mean %g, std %g\n", i, commentText(f.Name),
			commentText(f.Unit), f.Mean, f.Std)
	}
	b.WriteString(" *\n * Output order and unit:\n")
	for o, out := range net.Outputs {
		fmt.Fprintf(&b, " *   %2d  %s, %s, int32 with %d fraction bits\n", o, commentText(out.Name),
			commentText(out.Unit), net.OutputFraction(o))
	}
	b.WriteString(" *\n * Accumulators are int32. For every row, sum |w| * 32768 + |bias| + " +
		"rounding is below 2^31:\n")
	b.WriteString(" * no input and no state can overflow them. */\n")
	b.WriteString("#define NET_WEIGHTS_ID 0x@ID@UL\n")
	if net.Shape().UsesTable() {
		fmt.Fprintf(&b, "#define NET_TABLE_STEPS %d\n", len(quant.TanhTable())-1)
	}
	b.WriteString(h.layerMacros())
	b.WriteString(h.weightArrays())
	b.WriteString("\n#endif /* NET_WEIGHTS_H */\n")
	return rename(b.String(), h.Name)
}

// description is the network in ASCII.
func (h *Program) description() string {
	return commentText(strings.ReplaceAll(h.Description, "→", "->"))
}

// wrapped breaks a line of a comment where it gets longer than 90 columns.
func wrapped(text string) string {
	const widest = 90
	var b strings.Builder
	column := 0
	for i, word := range strings.Fields(text) {
		switch {
		case i > 0 && column+1+len(word) > widest:
			b.WriteString("\n * ")
			column = 0
		case i > 0:
			b.WriteByte(' ')
			column++
		}
		b.WriteString(word)
		column += len(word)
	}
	return b.String()
}

// banner opens every emitted C file. It holds no time and no folder.
func (h *Program) banner(what string) string {
	return fmt.Sprintf("/* %s: %s.\n * Network: %s.\n * Export 0x@ID@, made by kerf %s from a "+
		"job with SHA-256 %.16s... Do not edit: make it again.\n * %s */\n",
		h.Name, what, h.description(), commentText(h.Version), h.JobHash,
		wrapped(commentText(h.VerdictLine)))
}
