package model

import (
	"reflect"
	"testing"
)

// If a network was read wrongly in one respect, the right one is among the variants of the wrong
// one, and gives the outputs of the trained network value for value.
func TestVariantsHaveTheNetworkThatWasTrained(t *testing.T) {
	for _, c := range []struct {
		name  string
		net   *Network
		wrong func(n *Network)
		what  string
	}{
		{"activation", randomNetwork(4, 3, []layerSize{{GRUResetAfter, 4}},
			[]denseSize{{ReLU, 4}, {Identity, 2}}), func(n *Network) {
			n.Dense[0].Activation = Identity
		}, VariantActivation},
		{"cell", randomNetwork(4, 3, []layerSize{{ElmanTanh, 4}, {ElmanTanh, 4}},
			[]denseSize{{Identity, 2}}), func(n *Network) {
			for _, l := range n.Recurrent {
				l.Kind = ElmanReLU
			}
		}, VariantCell},
		{"reset", randomNetwork(4, 3, []layerSize{{GRUResetBefore, 4}}, []denseSize{{Identity, 2}}),
			func(n *Network) {
				n.Recurrent[0].Kind = GRUResetAfter
			}, VariantReset},
		{"gates", randomNetwork(4, 3, []layerSize{{LSTM, 4}}, []denseSize{{Identity, 2}}),
			func(n *Network) {
				l, order := n.Recurrent[0], []int{2, 0, 3, 1}
				l.W, l.U, l.B, l.D = arrange(l.W, order), arrange(l.U, order), arrange(l.B, order),
					arrange(l.D, order)
			}, VariantGates},
		{"transposed", randomNetwork(4, 3, []layerSize{{GRUResetAfter, 4}},
			[]denseSize{{Identity, 2}}), func(n *Network) {
			transposeBlocks(n.Recurrent[0].U, 4)
		}, VariantTransposed},
		{"dense order", randomNetwork(4, 3, []layerSize{{GRUResetAfter, 4}},
			[]denseSize{{Tanh, 4}, {Tanh, 4}, {Identity, 2}}), func(n *Network) {
			n.Dense[0], n.Dense[1] = n.Dense[1], n.Dense[0]
		}, VariantOrder},
	} {
		read := c.net.Clone()
		c.wrong(read)
		found := 0
		for _, v := range read.Variants() {
			if reflect.DeepEqual(v.Network, c.net) {
				found++
				if v.What != c.what {
					t.Errorf("%s: called %s", c.name, v.What)
				}
			}
			if reflect.DeepEqual(v.Network, read) {
				t.Errorf("%s: %s (%s) is the network itself", c.name, v.What, v.How)
			}
		}
		if found == 0 {
			t.Errorf("%s: the trained network is not among %d variants", c.name,
				len(read.Variants()))
		}
	}
}
