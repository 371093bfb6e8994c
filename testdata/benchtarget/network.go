package main

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"kerf/dataset"
	"kerf/exporter/emit"
	"kerf/model"
	"kerf/quant"
)

// The network: GRU (reset-after) with a linear head, int8 weights and 16-bit state.
const (
	features, units, outputs = 20, 16, 2
	// perStep is the number of multiply-accumulates of a step: three gates, and the head.
	perStep = 3*units*(features+units) + outputs*units
	seed    = 20
)

// trained returns the network. Its weights are those of no training: they are normally distributed,
// of the size that training starts from (deviation 1 over the root of the number of inputs: common
// practice, no source).
func trained() *model.Network {
	random := rand.New(rand.NewPCG(seed, 0))
	values := func(n int, size float64) []float64 {
		v := make([]float64, n)
		for i := range v {
			v[i] = random.NormFloat64() * size
		}
		return v
	}
	rows := 3 * units
	return &model.Network{
		Recurrent: []*model.Recurrent{{Kind: model.GRUResetAfter, Inputs: features, Units: units,
			W: values(rows*features, 0.22), U: values(rows*units, 0.25), B: values(rows, 0.2),
			D: values(rows, 0.2)}},
		Dense: []*model.Dense{{Inputs: units, Outputs: outputs, Activation: model.Identity,
			W: values(outputs*units, 0.25), B: values(outputs, 0.2)}},
	}
}

// writeInteger writes the emitted C, as network "net".
func writeInteger(net *model.Network, dir string) error {
	var f []dataset.Feature
	for i := range features {
		f = append(f, dataset.Feature{Name: fmt.Sprintf("f%d", i), Unit: "bar", Std: 1})
	}
	var o []dataset.Output
	for i := range outputs {
		o = append(o, dataset.Output{Name: fmt.Sprintf("o%d", i), Unit: "L/min", Std: 1})
	}
	p := dataset.NewFloat(net, f, o)
	rec := recordings()
	fixed, err := quant.Quantize(p, quant.Calibrate(p, rec), quant.Uniform(net, 8, 8, 16),
		quant.Nearest)
	if err != nil {
		return err
	}
	kept := make([]int, units)
	for j := range kept {
		kept[j] = j
	}
	h := &emit.Program{Name: "net", Version: "benchmark", JobHash: strings.Repeat("0", 64),
		VerdictLine: "benchmark", Net: fixed,
		Description: net.String(), KeptUnits: [][]int{kept}, Vectors: emit.Vectors(fixed, rec)}
	files, err := h.CFiles()
	if err != nil {
		return err
	}
	for name, content := range files {
		if err := os.WriteFile(filepath.Join(dir, name), content, 0o644); err != nil {
			return err
		}
	}
	return nil
}

// recordings returns normally distributed features, by which the formats are calibrated.
func recordings() *dataset.Recordings {
	const steps = 200
	random := rand.New(rand.NewPCG(seed, 1))
	q := &dataset.Sequence{Name: "0", Scenario: "random", Steps: steps,
		Y: make([]float64, steps*outputs)}
	for range steps * features {
		q.X = append(q.X, random.NormFloat64())
	}
	return &dataset.Recordings{Features: features, Outputs: outputs,
		Sequences: []*dataset.Sequence{q}}
}

// writeFloat writes the float C, as network "floatnet": the files of folder c, with sizes and
// weights.
func writeFloat(net *model.Network, dir string) error {
	r, head := net.Recurrent[0], net.Dense[0]
	sizes := fmt.Sprintf("#define FLOATNET_N_FEATURES %d\n#define FLOATNET_N_UNITS %d\n#define "+
		"FLOATNET_N_OUTPUTS %d\n", features, units, outputs)
	weights := matrix("w", r.W, features) + matrix("u", r.U, units) +
		vector("b", r.B) + vector("d", r.D) +
		matrix("head_w", head.W, units) + vector("head_b", head.B)
	files := map[string]string{"floatnet_sizes.h": sizes, "floatnet_weights.h": weights,
		"floatnet.c": floatSource, "floatnet.h": floatHeader}
	for name, content := range files {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(content), 0o644); err != nil {
			return err
		}
	}
	return nil
}

// matrix returns the C of a matrix by rows.
func matrix(name string, values []float64, columns int) string {
	var b strings.Builder
	fmt.Fprintf(&b, "static const float floatnet_%s[%d][%d] = {\n", name, len(values)/columns,
		columns)
	for i := 0; i < len(values); i += columns {
		fmt.Fprintf(&b, "    { %s },\n", numbers(values[i:i+columns]))
	}
	b.WriteString("};\n")
	return b.String()
}

// vector returns the C of an array.
func vector(name string, values []float64) string {
	return fmt.Sprintf("static const float floatnet_%s[%d] = { %s };\n", name, len(values),
		numbers(values))
}

// numbers returns C constants of type float: float32 with nine digits is exact.
func numbers(values []float64) string {
	texts := make([]string, len(values))
	for i, v := range values {
		texts[i] = strconv.FormatFloat(v, 'e', 8, 32) + "F"
	}
	return strings.Join(texts, ", ")
}
