package emit

import (
	"fmt"
	"strconv"
	"strings"

	"kerf/model"
)

// layerTemplate is the template that a layer of the network is made from.
type layerTemplate struct {
	file    string         // of cFiles
	choices map[string]int // that decide its branches, see resolve
	words   []string       // pairs: a word of the template and its replacement
}

// cellFiles are the templates of recurrent layers.
var cellFiles = map[model.Kind]string{
	model.GRUResetAfter: "gru_after.c", model.GRUResetBefore: "gru_before.c", model.LSTM: "lstm.c",
	model.ElmanTanh: "elman.c", model.ElmanReLU: "elman.c",
}

// flag returns a choice for resolve: 1 for on, else 0.
func flag(on bool) int {
	if on {
		return 1
	}
	return 0
}

// layerTemplates returns the templates of the layers in the order in which they run.
func (p *Program) layerTemplates() []layerTemplate {
	var all []layerTemplate
	layer := func(prefix string) []string {
		return []string{"layer_", "net_" + prefix + "_", "LAYER_",
			"NET_" + strings.ToUpper(prefix) + "_"}
	}
	for i, l := range p.Net.Layers {
		prefix := "l" + strconv.Itoa(i)
		all = append(all, layerTemplate{
			file: cellFiles[l.Kind], words: layer(prefix),
			choices: map[string]int{"LAYER_STATE_BITS": l.Formats.StateBits,
				"LAYER_RELU": flag(l.Kind == model.ElmanReLU)},
		})
	}
	for i, d := range p.Net.Dense {
		offset := 0
		switch {
		case len(d.Scale) > 0:
			offset = 2
		case len(d.Offset) > 0:
			offset = 1
		}
		prefix := p.densePrefix(i)
		all = append(all, layerTemplate{
			file: "dense.c", words: layer(prefix),
			choices: map[string]int{"LAYER_LAST": flag(d.Last),
				"LAYER_RESCALED": flag(d.Weights.Rescaled()), "LAYER_ACTIVATION": int(d.Activation),
				"LAYER_OFFSET": offset},
		})
	}
	return all
}

// densePrefix returns the prefix of the C identifiers of dense layer i.
func (p *Program) densePrefix(i int) string {
	if p.Net.Dense[i].Last {
		return "head"
	}
	return "d" + strconv.Itoa(i)
}

// choices returns the choices of the templates of whole files: which operations the network uses.
func (p *Program) choices() map[string]int {
	c := p.newFront().choices()
	c["NET_CLASSES"] = flag(p.Net.Classes)
	for _, name := range []string{"ADD", "TABLE", "LOGISTIC", "SCALE", "MUL", "NARROW",
		"BLEND16", "BLEND32", "CELL16", "CELL32", "W4", "W8", "W16"} {
		c["NET_USES_"+name] = 0
	}
	for _, m := range p.Net.Matrices() {
		c[fmt.Sprintf("NET_USES_W%d", m.WordBits)] = 1
	}
	use := func(names ...string) {
		for _, n := range names {
			c["NET_USES_"+n] = 1
		}
	}
	for _, l := range p.Net.Layers {
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
	for _, d := range p.Net.Dense {
		switch d.Activation {
		case model.Tanh:
			use("TABLE")
		case model.Logistic:
			use("TABLE", "LOGISTIC")
		}
	}
	return c
}

// layerCode returns the code of layers, behind the code that reads the rows of their matrices.
func (p *Program) layerCode() (string, error) {
	var b strings.Builder
	for _, t := range p.layerTemplates() {
		raw, err := cFiles.ReadFile("c/" + t.file)
		if err != nil {
			return "", err
		}
		text, err := resolve(string(raw), t.choices)
		if err != nil {
			return "", fmt.Errorf("exporter/emit/c/%s: %w", t.file, err)
		}
		b.WriteString(strings.NewReplacer(t.words...).Replace(text))
		b.WriteByte('\n')
	}
	reading, err := p.rowCode()
	return reading + b.String(), err
}
