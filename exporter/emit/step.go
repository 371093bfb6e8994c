package emit

import (
	"fmt"
	"strings"

	"kerf/model"
)

// stepCode returns net_reset and net_step, which call the layers one after the other.
func (p *Program) stepCode() string {
	var reset, locals, calls strings.Builder
	in := "x"
	for i, l := range p.Net.Layers {
		fields := p.fields(i)
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
			fmt.Fprintf(&locals, "    int16_t %s[NET_L%d_UNITS + (NET_L%d_UNITS %% 2U)] "+
				"NET_ALIGNED;\n", out, i, i)
			args = append(args, out)
		}
		fmt.Fprintf(&calls, "    net_l%d_step(%s, %s);\n", i, strings.Join(args, ", "), in)
		in = out
	}
	for i, d := range p.Net.Dense {
		out := "y"
		if !d.Last {
			out = fmt.Sprintf("d%d", i)
			fmt.Fprintf(&locals, "    int16_t %s[NET_D%d_ROWS] NET_ALIGNED;\n", out, i)
		}
		fmt.Fprintf(&calls, "    net_%s_step(%s, %s);\n", p.densePrefix(i), in, out)
		in = out
	}
	if locals.Len() > 0 {
		locals.WriteByte('\n')
	}
	return "void net_reset(net_state *s)\n{\n    uint16_t j;\n\n" + reset.String() + "}\n\n" +
		"void net_step(net_state *s, const int16_t x[NET_N_FEATURES], int32_t " +
		"y[NET_N_OUTPUTS])\n{\n" + locals.String() + "#ifdef NET_ASSERT\n    NET_ASSERT((" +
		"(uintptr_t)x & NET_X_MASK) == 0U);\n#endif\n" + calls.String() + "}\n\n"
}

// sizeChecks returns checks at compile time: the sizes in NAME.h are those of the emitted arrays.
func (p *Program) sizeChecks() string {
	var arrays []string
	add := func(array string) { arrays = append(arrays, "sizeof(net_"+array+")") }
	for _, k := range p.blocks() {
		add(k.prefix)
	}
	for _, d := range p.Net.Dense {
		if len(d.Scale) > 0 {
			add("head_scale")
		}
		if len(d.Offset) > 0 {
			add("head_offset")
		}
	}
	text := "NET_CHECK(weight_bytes, NET_WEIGHT_BYTES ==\n    " + strings.Join(arrays, " +\n    ") +
		");\n"
	if p.Net.Shape().UsesTable() {
		text += "NET_CHECK(table_bytes, NET_TABLE_BYTES == sizeof(net_tanh_table));\n"
	}
	return text + "NET_CHECK(state_bytes, NET_STATE_BYTES <= sizeof(net_state));\n\n"
}
