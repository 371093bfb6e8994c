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

// network is a network with int8 weights, 16-bit state and a linear head.
type network struct {
	name                     string
	kind                     model.Kind
	features, units, outputs int
	seed                     uint64
}

// networks are those that are measured; the first has a counterpart in float C.
var networks = []network{
	{"gru", model.GRUResetAfter, 20, 16, 2, 20},
	{"lstm", model.LSTM, 20, 16, 2, 21},
	{"odd", model.GRUResetAfter, 13, 11, 3, 22},
}

// perStep returns the multiply-accumulates of a step: gates, and the head.
func (n network) perStep() float64 {
	return float64(n.kind.Gates()*n.units*(n.features+n.units) + n.outputs*n.units)
}

// String describes the network.
func (n network) String() string {
	return fmt.Sprintf("%s, %d features, %d units, %d outputs", n.kind, n.features, n.units,
		n.outputs)
}

// trained returns the network. Its weights are those of no training: they are normally distributed,
// of the size that training starts from (deviation 1 over the root of the number of inputs: common
// practice, no source).
func (n network) trained() *model.Network {
	random := rand.New(rand.NewPCG(n.seed, 0))
	values := func(n int, size float64) []float64 {
		v := make([]float64, n)
		for i := range v {
			v[i] = random.NormFloat64() * size
		}
		return v
	}
	rows := n.kind.Gates() * n.units
	return &model.Network{
		Recurrent: []*model.Recurrent{{Kind: n.kind, Inputs: n.features, Units: n.units,
			W: values(rows*n.features, 0.22), U: values(rows*n.units, 0.25), B: values(rows, 0.2),
			D: values(rows, 0.2)}},
		Dense: []*model.Dense{{Inputs: n.units, Outputs: n.outputs, Activation: model.Identity,
			W: values(n.outputs*n.units, 0.25), B: values(n.outputs, 0.2)}},
	}
}

// writeInteger writes the emitted C, as network "net".
func writeInteger(n network, dir string) error {
	net := n.trained()
	var f []dataset.Feature
	for i := range n.features {
		f = append(f, dataset.Feature{Name: fmt.Sprintf("f%d", i), Unit: "bar", Std: 1})
	}
	var o []dataset.Output
	for i := range n.outputs {
		o = append(o, dataset.Output{Name: fmt.Sprintf("o%d", i), Unit: "L/min", Std: 1})
	}
	p := dataset.NewFloat(net, f, o)
	rec := n.recordings()
	fixed, err := quant.Quantize(p, quant.Calibrate(p, rec), quant.Uniform(net, 8, 8, 16),
		quant.Nearest)
	if err != nil {
		return err
	}
	kept := make([]int, n.units)
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
	if err := os.MkdirAll(dir, 0o755); err != nil {
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
func (n network) recordings() *dataset.Recordings {
	const steps = 200
	random := rand.New(rand.NewPCG(n.seed, 1))
	q := &dataset.Sequence{Name: "0", Scenario: "random", Steps: steps,
		Y: make([]float64, steps*n.outputs)}
	for range steps * n.features {
		q.X = append(q.X, random.NormFloat64())
	}
	return &dataset.Recordings{Features: n.features, Outputs: n.outputs,
		Sequences: []*dataset.Sequence{q}}
}

// writeFloat writes the float C, as network "floatnet": the files of folder c, with sizes and
// weights.
func writeFloat(net *model.Network, dir string) error {
	r, head := net.Recurrent[0], net.Dense[0]
	sizes := fmt.Sprintf("#define FLOATNET_N_FEATURES %d\n#define FLOATNET_N_UNITS %d\n#define "+
		"FLOATNET_N_OUTPUTS %d\n", r.Inputs, r.Units, head.Outputs)
	weights := matrix("w", r.W, r.Inputs) + matrix("u", r.U, r.Units) +
		vector("b", r.B) + vector("d", r.D) +
		matrix("head_w", head.W, r.Units) + vector("head_b", head.B)
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
