package emit

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"kerf/model"
	"kerf/quant"
	"kerf/testdata/randomnet"
)

// Numbers of columns around every place where the loops over tiles change: few without a loop,
// turns with and without a rest, an odd column.
var columnCounts = []int{1, 2, 3, 4, 7, 8, 9, 10, 13, 14, 19, 23, 24, 25, 26, 37, 49, 54}

// The program of an Elman layer with so many columns of weights of so many bits, and 5 or 7 rows:
// groups of which the last is not full.
func columnsProgram(t *testing.T, bits, columns int) *Program {
	t.Helper()
	random := rand.New(rand.NewPCG(uint64(bits), uint64(columns)))
	p := randomnet.Network(random, columns, randomnet.Layers{Kinds: []model.Kind{model.ElmanTanh},
		Activations: randomnet.OneGRU.Activations}, 1)
	p.Net.Recurrent[0] = elman(random, columns, 5+2*(columns%2))
	p.Net.Dense[0].Inputs = p.Net.Recurrent[0].Units
	p.Net.Dense[0].W = p.Net.Dense[0].W[:0]
	for range p.Net.Dense[0].Inputs {
		p.Net.Dense[0].W = append(p.Net.Dense[0].W, random.NormFloat64())
	}
	rec := randomnet.Recordings(random, p)
	formats := quant.Formats{Layers: []quant.LayerFormats{{InputBits: bits, RecurrentBits: bits,
		StateBits: 16}}, Dense: []int{bits}}
	net, err := quant.Quantize(p, quant.Calibrate(p, rec), formats, quant.Nearest)
	if err != nil {
		t.Fatal(err)
	}
	return &Program{Name: "leakair", Version: "test", JobHash: fmt.Sprintf("%064x", 0),
		VerdictLine: "test", Net: net, Vectors: Vectors(net, rec),
		KeptUnits: [][]int{make([]int, net.Layers[0].Units)}}
}

// Plain C in every word width and number of columns passes the self-test under the sanitizers.
func TestEveryNumberOfColumns(t *testing.T) {
	for _, bits := range []int{4, 8, 16} {
		for _, columns := range columnCounts {
			t.Run(fmt.Sprintf("int%d, %d columns", bits, columns), func(t *testing.T) {
				t.Parallel()
				dir := t.TempDir()
				writeC(t, columnsProgram(t, bits, columns), dir)
				compile(t, dir, append(append([]string{"gcc", "-std=c99",
					"-fsanitize=undefined,address", "-fno-sanitize-recover=all"}, strict...),
					"leakair.c", "leakair_selftest.c", "-o", "selftest")...)
				compile(t, dir, "./selftest")
			})
		}
	}
}

// elman is a layer of random weights.
func elman(random *rand.Rand, inputs, units int) *model.Recurrent {
	values := func(n int, size float64) []float64 {
		v := make([]float64, n)
		for i := range v {
			v[i] = size * random.NormFloat64()
		}
		return v
	}
	return &model.Recurrent{Kind: model.ElmanTanh, Inputs: inputs, Units: units,
		W: values(units*inputs, 0.3), U: values(units*units, 0.3), B: values(units, 0.5),
		D: values(units, 0.5)}
}
