package emit

import (
	"fmt"
	"math/rand/v2"
	"regexp"
	"strings"
	"testing"

	"kerf/budget/cost"
	"kerf/model"
	"kerf/quant"
	"kerf/quant/rows"
	"kerf/testdata/randomnet"
)

// budget counts the tiles in the code of a network without seeing it: they are those of the
// emitted kernels.
func TestBudgetCountsTheEmittedTiles(t *testing.T) {
	tiles := regexp.MustCompile(`"\.irp k, ([0-9, ]+)\\n"`)
	random := rand.New(rand.NewPCG(7, 7))
	for i := range 60 {
		kind := []model.Kind{model.GRUResetAfter, model.GRUResetBefore, model.LSTM,
			model.ElmanTanh}[i%4]
		p := randomnet.Network(random, 1+random.IntN(80), randomnet.Layers{
			Kinds: []model.Kind{kind}, Activations: randomnet.OneGRU.Activations}, 2)
		rec := randomnet.Recordings(random, p)
		net, err := quant.Quantize(p, quant.Calibrate(p, rec), randomnet.Formats(random, p.Net),
			quant.Nearest)
		if err != nil {
			t.Fatal(err)
		}
		program := &Program{Net: net}
		for _, isa := range []string{"armv7em", "armv7m", "armv6m"} {
			var code strings.Builder
			if err := program.kernelCode(&code, rows.Of(isa)); err != nil {
				t.Fatal(err)
			}
			emitted := 0
			for _, m := range tiles.FindAllStringSubmatch(code.String(), -1) {
				emitted += len(strings.Split(m[1], ","))
			}
			counted := 0.0
			_, shared := cost.Functions(net.Shape(), isa, cost.Fast)
			for name, n := range shared {
				if strings.HasSuffix(name, "_tile") {
					counted += n
				}
			}
			if emitted == 0 || counted != float64(emitted) {
				t.Errorf("%s, %s: %d tiles, counted %g", describeShape(net), isa, emitted, counted)
			}
		}
	}
}

func describeShape(n *quant.Network) string {
	return fmt.Sprintf("%d features, %v", n.Shape().Features, n.Formats)
}
