package emit

import (
	"fmt"
	"strconv"
	"strings"

	"kerf/model"
)

// part is a piece of the emitted C: a template, the prefix of its identifiers,
// and what decides between the branches of the template.
type part struct {
	prefix  string // of C identifiers behind the name of the job: l0, d0, head
	file    string
	choices map[string]int
	words   []string // pairs: a word of the template and what stands for it
}

// templates of the recurrent kinds.
var cellFiles = map[model.Kind]string{
	model.GRUResetAfter: "gru_after.c", model.GRUResetBefore: "gru_before.c", model.LSTM: "lstm.c",
	model.ElmanTanh: "elman.c", model.ElmanReLU: "elman.c",
}

func flag(on bool) int {
	if on {
		return 1
	}
	return 0
}

// parts lists the layers in the order in which they run.
func (h *Program) parts() []part {
	var parts []part
	layer := func(prefix string) []string {
		return []string{"layer_", "net_" + prefix + "_", "LAYER_",
			"NET_" + strings.ToUpper(prefix) + "_"}
	}
	for i, l := range h.Net.Layers {
		prefix := "l" + strconv.Itoa(i)
		parts = append(parts, part{
			prefix: prefix, file: cellFiles[l.Kind], words: layer(prefix),
			choices: map[string]int{"LAYER_STATE_BITS": l.Formats.StateBits,
				"LAYER_RELU": flag(l.Kind == model.ElmanReLU)},
		})
	}
	for i, d := range h.Net.Dense {
		offset := 0
		switch {
		case len(d.Scale) > 0:
			offset = 2
		case len(d.Offset) > 0:
			offset = 1
		}
		prefix := h.densePrefix(i)
		parts = append(parts, part{
			prefix: prefix, file: "dense.c",
			words: append([]string{"layer_row(", fmt.Sprintf("net_row_w%d(", d.Weights.WordBits)},
				layer(prefix)...),
			choices: map[string]int{"LAYER_LAST": flag(d.Last),
				"LAYER_RESCALED": flag(d.Weights.Rescaled()), "LAYER_ACTIVATION": int(d.Activation),
				"LAYER_OFFSET": offset},
		})
	}
	return parts
}

func (h *Program) densePrefix(i int) string {
	if h.Net.Dense[i].Last {
		return "head"
	}
	return "d" + strconv.Itoa(i)
}

// choices decide which operations the emitted C holds.
func (h *Program) choices() map[string]int {
	c := map[string]int{"NET_CLASSES": flag(h.Net.Classes)}
	for _, name := range []string{"ADD", "TABLE", "LOGISTIC", "SCALE", "RESULT", "MUL", "NARROW",
		"BLEND16", "BLEND32", "CELL16", "CELL32"} {
		c["NET_USES_"+name] = 0
	}
	for _, m := range h.Net.Matrices() {
		c["NET_USES_RESULT"] |= flag(m.Rescaled())
	}
	use := func(names ...string) {
		for _, n := range names {
			c["NET_USES_"+n] = 1
		}
	}
	for _, l := range h.Net.Layers {
		use("ADD")
		wide := l.Formats.StateBits == 32
		switch {
		case l.Kind == model.ElmanTanh:
			use("TABLE")
		case l.Kind == model.LSTM && wide:
			use("TABLE", "LOGISTIC", "SCALE", "CELL32", "MUL", "NARROW")
		case l.Kind == model.LSTM:
			use("TABLE", "LOGISTIC", "SCALE", "CELL16")
		case l.Kind == model.ElmanReLU:
		case wide:
			use("TABLE", "LOGISTIC", "SCALE", "BLEND32", "MUL", "NARROW")
		default:
			use("TABLE", "LOGISTIC", "SCALE", "BLEND16")
		}
	}
	for _, d := range h.Net.Dense {
		switch d.Activation {
		case model.Tanh:
			use("TABLE")
		case model.Logistic:
			use("TABLE", "LOGISTIC")
		}
	}
	return c
}

// layerCode is the code of rows and layers.
func (h *Program) layerCode() (string, error) {
	var b strings.Builder
	for _, p := range h.parts() {
		raw, err := cFiles.ReadFile("c/" + p.file)
		if err != nil {
			return "", err
		}
		text, err := resolve(string(raw), p.choices)
		if err != nil {
			return "", fmt.Errorf("exporter/emit/c/%s: %w", p.file, err)
		}
		b.WriteString(strings.NewReplacer(p.words...).Replace(text))
		b.WriteByte('\n')
	}
	layers := b.String()
	rows, err := h.rowCode(layers)
	if err != nil {
		return "", err
	}
	comment, err := cFiles.ReadFile("c/rows.c")
	return string(comment) + "\n" + rows + layers, err
}

// field is a member of the state.
type field struct {
	ctype, name string
	length      string
}

// fields lists the state of a layer: what is kept between two steps.
func (h *Program) fields(i int) []field {
	l := h.Net.Layers[i]
	units := fmt.Sprintf("NET_L%d_UNITS", i)
	name := func(what string, fraction int) string {
		if len(h.Net.Layers) > 1 {
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
		return []field{{"int16_t", name("h", 15), units},
			{"int32_t", name("c", l.CellFraction), units}}
	case l.Kind == model.LSTM:
		return []field{{"int16_t", name("h", 15), units},
			{"int16_t", name("c", l.CellFraction), units}}
	case wide:
		return []field{{"int32_t", name("h", 30), units}}
	}
	return []field{{"int16_t", name("h", l.OutputFraction), units}}
}

// stateStruct is the body of the state's struct. Wide members come first, so
// that no compiler needs padding between members.
func (h *Program) stateStruct() string {
	var b strings.Builder
	bytes := 0
	for _, ctype := range []string{"int32_t", "int16_t"} {
		for i := range h.Net.Layers {
			for _, f := range h.fields(i) {
				if f.ctype == ctype {
					bytes += h.Net.Layers[i].Units *
						map[string]int{"int32_t": 4, "int16_t": 2}[ctype]
					fmt.Fprintf(&b, "    %s %s[%s];\n", f.ctype, f.name, f.length)
				}
			}
		}
	}
	if bytes < h.Net.Shape().StateBytes() {
		b.WriteString("    int16_t filler; /* makes the size the same for every compiler */\n")
	}
	return b.String()
}

// stepCode is reset and step: the layers one after the other.
func (h *Program) stepCode() string {
	var reset, locals, calls strings.Builder
	in := "x"
	for i, l := range h.Net.Layers {
		fields := h.fields(i)
		fmt.Fprintf(&reset, "    for (j = 0; j < NET_L%d_UNITS; j++) {\n", i)
		var args []string
		for _, f := range fields {
			fmt.Fprintf(&reset, "        s->%s[j] = 0;\n", f.name)
			args = append(args, "s->"+f.name)
		}
		reset.WriteString("    }\n")
		out := args[0]
		if l.Formats.StateBits == 32 && l.Kind != model.LSTM {
			out = fmt.Sprintf("view%d_Q15", i)
			fmt.Fprintf(&locals, "    int16_t %s[NET_L%d_UNITS];\n", out, i)
			args = append(args, out)
		}
		fmt.Fprintf(&calls, "    net_l%d_step(%s, %s);\n", i, strings.Join(args, ", "), in)
		in = out
	}
	for i, d := range h.Net.Dense {
		out := "y"
		if !d.Last {
			out = fmt.Sprintf("d%d", i)
			fmt.Fprintf(&locals, "    int16_t %s[NET_D%d_OUTPUTS];\n", out, i)
		}
		fmt.Fprintf(&calls, "    net_%s_step(%s, %s);\n", h.densePrefix(i), in, out)
		in = out
	}
	if locals.Len() > 0 {
		locals.WriteByte('\n')
	}
	return "void net_reset(net_state *s)\n{\n    uint16_t j;\n\n" + reset.String() + "}\n\n" +
		"void net_step(net_state *s, const int16_t x[NET_N_FEATURES], int32_t " +
		"y[NET_N_OUTPUTS])\n{\n" + locals.String() + calls.String() + "}\n\n"
}

// sizeChecks compare the sizes that the header promises with what was emitted.
func (h *Program) sizeChecks() string {
	var arrays []string
	add := func(array string) { arrays = append(arrays, "sizeof net_"+array) }
	for _, k := range h.blocks() {
		add(k.prefix + "_w")
		add(k.prefix + "_b")
		if k.matrix.Rescaled() {
			add(k.prefix + "_shift")
		}
	}
	for _, d := range h.Net.Dense {
		if len(d.Scale) > 0 {
			add("head_scale")
		}
		if len(d.Offset) > 0 {
			add("head_offset")
		}
	}
	text := "NET_CHECK(weight_bytes, NET_WEIGHT_BYTES ==\n    " + strings.Join(arrays, " +\n    ") +
		");\n"
	if h.Net.Shape().UsesTable() {
		text += "NET_CHECK(table_bytes, NET_TABLE_BYTES == sizeof net_tanh_table);\n"
	}
	return text + "NET_CHECK(state_bytes, NET_STATE_BYTES <= sizeof(net_state));\n\n"
}

// layerMacros are the sizes and shifts of every layer, for NAME.h (sizes) or
// NAME_weights.h (the rest).
func (h *Program) layerMacros() string {
	var b strings.Builder
	define := func(prefix, name string, value any) {
		fmt.Fprintf(&b, "#define NET_%s_%s %v\n", strings.ToUpper(prefix), name, value)
	}
	for i, l := range h.Net.Layers {
		p := fmt.Sprintf("l%d", i)
		if l.Kind.Gates() > 1 {
			define(p, "ROWS", fmt.Sprintf("%dU", l.Input.Rows))
		}
		if l.Kind != model.ElmanReLU {
			define(p, "TABLE_SHIFT", fmt.Sprintf("%dU", l.TableShift()))
		}
		if l.Kind.HasCell() {
			define(p, "CELL_SHIFT", fmt.Sprintf("%dU", l.CellShift()))
			view, table := l.CellView()
			if l.Formats.StateBits == 32 {
				define(p, "CELL_VIEW_SHIFT", fmt.Sprintf("%dU", view))
			}
			define(p, "CELL_TABLE_SHIFT", fmt.Sprintf("%dU", table))
		}
	}
	for i, d := range h.Net.Dense {
		p := h.densePrefix(i)
		if !d.Weights.Rescaled() {
			define(p, "INPUTS", fmt.Sprintf("%dU", d.Weights.Cols))
			define(p, "STRIDE", fmt.Sprintf("%dU", stride(d.Weights)))
		}
		define(p, "OUTPUTS", fmt.Sprintf("%dU", d.Weights.Rows))
		if d.UsesTable() {
			define(p, "TABLE_SHIFT", fmt.Sprintf("%dU", d.TableShift()))
		}
	}
	return b.String()
}
