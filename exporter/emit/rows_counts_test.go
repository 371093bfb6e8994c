package emit

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"kerf/quant/rows"

	"kerf/budget/cost"
	"kerf/model"
	"kerf/quant"
	"kerf/testdata/randomnet"
)

// budget counts what the code of a network is made of without seeing it: the counts are those of
// the emitted C.
func TestBudgetCountsTheEmittedCalls(t *testing.T) {
	calls := map[string]string{ // a part of the code, and the call that it is
		"c4_8": "net_four_w8(&sums", "c2_8": "net_two_w8(&sums", "c1_8": "net_one_w8(&sums",
		"c4_4":  "net_four_w4(&row0",
		"c2_16": "net_two_w16(&row0", "c1_16": "net_one_w16(", "c2_4": "net_two_w4(&sums",
		"c1_4": "net_one_w4(&sums",
	}
	random := rand.New(rand.NewPCG(7, 7))
	for i := range 200 {
		kind := []model.Kind{model.GRUResetAfter, model.GRUResetBefore, model.LSTM,
			model.ElmanTanh}[i%4]
		features := 1 + random.IntN(60)
		if i%20 == 0 {
			features = 150 + random.IntN(150) // too many for some sums, so that rows are read alone
		}
		p := randomnet.Network(random, features,
			randomnet.Layers{Kinds: []model.Kind{kind},
				Activations: randomnet.OneGRU.Activations}, 2)
		rec := randomnet.Recordings(random, p)
		net, err := quant.Quantize(p, quant.Calibrate(p, rec), randomnet.Formats(random, p.Net),
			quant.Nearest)
		if err != nil {
			t.Fatal(err)
		}
		program := &Program{Net: net}
		if slices.ContainsFunc(program.blocks(), func(k block) bool {
			if !k.matrix.Rescaled() {
				return false
			}
			without := *k.matrix
			without.Bias = make([]int32, len(k.matrix.Bias))
			small := block{matrix: &without, rows: k.rows}
			return k.inGroups(rows.Dual) != small.inGroups(rows.Dual) ||
				k.inGroups(rows.Three) != small.inGroups(rows.Three)
		}) {
			continue // biases too large for raised weights: a shape does not show that
		}
		for w, isa := range []string{"armv7em", "avr", "armv6m"} {
			text := ""
			for _, k := range program.blocks() {
				if k.matrix.Rescaled() {
					text += k.inEachWay()[w]
				}
			}
			counted := map[string]int{}
			functions, _ := cost.Functions(net.Shape(), isa)
			for _, f := range functions {
				for part := range calls {
					for name, n := range f.Code { // with or without _kept, _straight, _inside
						if name == part || strings.HasPrefix(name, part+"_") {
							counted[part] += int(n)
						}
					}
				}
			}
			for part, call := range calls {
				if isa == "avr" && part == "c2_8" {
					call = "net_columns_w8(&sums" // reads all pairs of columns
				}
				if got := strings.Count(text, call); got != counted[part] {
					t.Errorf("%s, %s: %d calls %s, counted %d", describeShape(net), isa, got, call,
						counted[part])
				}
			}
		}
	}
}

func describeShape(n *quant.Network) string {
	return fmt.Sprintf("%d features, %v", n.Shape().Features, n.Formats)
}
