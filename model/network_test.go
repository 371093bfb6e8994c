package model

import (
	"errors"
	"math"
	"reflect"
	"strings"
	"testing"
)

func TestCounts(t *testing.T) {
	n := fromTorch(t, readSafetensors(t, "gru_1layer"), Spec{})
	if n.Inputs() != 5 || n.Recurrent[0].Units != 7 || n.Outputs() != 2 {
		t.Errorf("got %d → %d → %d, want 5 → 7 → 2 (README of the vectors)", n.Inputs(),
			n.Recurrent[0].Units, n.Outputs())
	}
	// The data part of gru_1layer.safetensors, written by torch's state dict, ends at byte 1240 and
	// holds float32.
	if got := n.Parameters(); got != 1240/4 {
		t.Errorf("got %d parameters, want %d", got, 1240/4)
	}
}

func TestGRUHasThreeQuartersOfTheWeightsOfAnLSTM(t *testing.T) {
	// Common practice, no source: a GRU has three gate blocks where an LSTM has four.
	gru, lstm := readSafetensors(t, "gru_1layer"), readSafetensors(t, "lstm_1layer")
	for _, name := range []string{"rnn.weight_ih_l0", "rnn.weight_hh_l0", "rnn.bias_ih_l0",
		"rnn.bias_hh_l0"} {
		if got, want := 4*len(gru[name].Data), 3*len(lstm[name].Data); got != want {
			t.Errorf("%s: GRU has %d values and LSTM %d, want 3 : 4", name, len(gru[name].Data),
				len(lstm[name].Data))
		}
	}
	for _, k := range []Kind{GRUResetAfter, GRUResetBefore} {
		if 4*k.Gates() != 3*LSTM.Gates() {
			t.Errorf("%v has %d gates and LSTM %d, want 3 : 4", k, k.Gates(), LSTM.Gates())
		}
	}
}

func TestCloneSharesNothing(t *testing.T) {
	n := fromTorch(t, readSafetensors(t, "gru_1layer"), Spec{})
	c := n.Clone()
	for _, s := range [][]float64{c.Recurrent[0].W, c.Recurrent[0].U, c.Recurrent[0].B,
		c.Recurrent[0].D, c.Dense[0].W, c.Dense[0].B} {
		for i := range s {
			s[i] = 99
		}
	}
	if err := c.Validate(); err != nil {
		t.Error(err)
	}
	for name, tensor := range ToTorch(n) {
		for i, v := range tensor.Data {
			if v == 99 {
				t.Fatalf("%s[%d] changed with the clone", name, i)
			}
		}
	}
}

func TestTensorsAreCopied(t *testing.T) {
	tensors := readSafetensors(t, "gru_1layer")
	n := fromTorch(t, tensors, Spec{})
	before := n.Clone()
	for _, source := range []map[string]*Tensor{tensors, ToTorch(n)} {
		for name, tensor := range source {
			tensor.Data[0] += 1
			if !reflect.DeepEqual(n, before) {
				t.Fatalf("the network changed with tensor %q", name)
			}
		}
	}
}

func TestValidate(t *testing.T) {
	for _, c := range []struct {
		name   string
		damage func(n *Network)
		want   string
	}{
		{"no recurrent layer", func(n *Network) {
			n.Recurrent = nil
		}, "the network has no recurrent layer"},
		{"no dense layer", func(n *Network) { n.Dense = nil }, "the network has no dense layer"},
		{"four recurrent layers", func(n *Network) {
			n.Recurrent = []*Recurrent{n.Recurrent[0], n.Recurrent[0], n.Recurrent[0],
				n.Recurrent[0]}
		}, "the network has 4 recurrent layers, at most 3 are possible"},
		{"second layer of other width", func(n *Network) {
			n.Recurrent = append(n.Recurrent, n.Recurrent[0])
		},
			"Recurrent[1]: takes 5 inputs, but the layer before it gives 7"},
		{"LSTM with the rows of a GRU", func(n *Network) {
			n.Recurrent[0].Kind = LSTM
		}, "Recurrent[0].W: holds 105 values, expected 140"},
		{"unknown activation", func(n *Network) {
			n.Dense[0].Activation = 4
		}, "Dense[0]: unknown activation 4 is not known"},
		{"negative activation", func(n *Network) {
			n.Dense[0].Activation = -1
		}, "Dense[0]: unknown activation -1 is not known"},
		{"unknown kind", func(n *Network) {
			n.Recurrent[0].Kind = 9
		}, "Recurrent[0]: unknown kind 9 is not known"},
		{"short W", func(n *Network) {
			n.Recurrent[0].W = n.Recurrent[0].W[1:]
		}, "Recurrent[0].W: holds 104 values, expected 105"},
		{"short U", func(n *Network) {
			n.Recurrent[0].U = n.Recurrent[0].U[1:]
		}, "Recurrent[0].U: holds 146 values, expected 147"},
		{"no D", func(n *Network) {
			n.Recurrent[0].D = nil
		}, "Recurrent[0].D: holds 0 values, expected 21"},
		{"NaN", func(n *Network) {
			n.Recurrent[0].B[12] = math.NaN()
		}, "Recurrent[0].B[12]: value is NaN"},
		{"infinite head", func(n *Network) {
			n.Dense[0].W[3] = math.Inf(-1)
		}, "Dense[0].W[3]: value is -Inf"},
		{"no units", func(n *Network) {
			n.Recurrent[0].Units = 0
		}, "Recurrent[0]: Inputs is 5 and Units is 0, expected at least 1 of each"},
		{"head of other width", func(n *Network) {
			n.Dense[0].Inputs = 6
		}, "Dense[0]: takes 6 inputs, but the layer before it gives 7"},
	} {
		t.Run(c.name, func(t *testing.T) {
			n := fromTorch(t, readSafetensors(t, "gru_1layer"), Spec{})
			if err := n.Validate(); err != nil {
				t.Fatalf("before the damage: %v", err)
			}
			c.damage(n)
			err := n.Validate()
			if !errors.Is(err, ErrFormat) || err.Error() != c.want {
				t.Errorf("got %v, want %s", err, c.want)
			}
		})
	}
}

func TestKind(t *testing.T) {
	for _, c := range []struct {
		kind  Kind
		text  string
		gates int
		cell  bool
	}{
		{GRUResetAfter, "GRU (reset-after)", 3, false},
		{GRUResetBefore, "GRU (reset-before)", 3, false},
		{LSTM, "LSTM", 4, true},
		{ElmanTanh, "Elman (tanh)", 1, false},
		{ElmanReLU, "Elman (ReLU)", 1, false},
	} {
		if c.kind.String() != c.text || c.kind.Gates() != c.gates || c.kind.HasCell() != c.cell {
			t.Errorf("got %v with %d gates, cell %v; want %+v", c.kind, c.kind.Gates(),
				c.kind.HasCell(), c)
		}
	}
	defer func() {
		if text, _ := recover().(string); !strings.Contains(text, "unknown kind") {
			t.Errorf("got panic %q", text)
		}
	}()
	Kind(0).Gates()
}

func TestString(t *testing.T) {
	n := &Network{
		Recurrent: []*Recurrent{{Kind: GRUResetAfter, Inputs: 19, Units: 24},
			{Kind: LSTM, Inputs: 24, Units: 8}},
		Dense: []*Dense{{Inputs: 8, Outputs: 6, Activation: ReLU},
			{Inputs: 6, Outputs: 4, Activation: Tanh}, {Inputs: 4, Outputs: 2}},
	}
	if got, want := n.String(), "GRU (reset-after) 19→24, LSTM 24→8, dense 8→6 ReLU, dense 6→4 "+
		"tanh, dense 4→2"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}
