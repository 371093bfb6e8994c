package model

import (
	"maps"
	"reflect"
	"slices"
	"strings"
	"testing"
)

func TestStateDictKeepsTheNetwork(t *testing.T) {
	const seed = 5
	stacks := [][]layerSize{
		{{GRUResetAfter, 4}, {LSTM, 3}}, {{LSTM, 4}, {LSTM, 3}, {GRUResetBefore, 2}},
		{{ElmanReLU, 2}, {ElmanTanh, 3}, {ElmanReLU, 4}},
	}
	for _, k := range everyKind {
		stacks = append(stacks, []layerSize{{k, 4}}, []layerSize{{k, 4}, {k, 4}},
			[]layerSize{{k, 4}, {k, 3}, {k, 5}})
	}
	heads := [][]denseSize{
		{{Identity, 2}}, {{Logistic, 1}}, {{ReLU, 3}, {Identity, 2}},
		{{Tanh, 3}, {Logistic, 4}, {ReLU, 1}},
	}
	for _, stack := range stacks {
		for _, head := range heads {
			n := randomNetwork(seed, 3, stack, head)
			tensors, spec := ToTorch(n), ToTorchSpec(n)
			back, err := FromTorch("back", tensors, spec)
			if err != nil {
				t.Errorf("%v: %v", n, err)
				continue
			}
			if !reflect.DeepEqual(back, n) {
				t.Errorf("seed %d: %v came back as %v", seed, n, back)
			}
			if count := 4*len(stack) + 2*len(head); len(tensors) != count {
				t.Errorf("%v: %d tensors, want %d", n, len(tensors), count)
			}
		}
	}
}

func TestTorchNames(t *testing.T) {
	for _, c := range []struct {
		stack   []layerSize
		head    []denseSize
		modules string // with the highest layer
	}{
		{[]layerSize{{GRUResetAfter, 4}}, []denseSize{{Identity, 2}}, "gru_l0 head"},
		{[]layerSize{{GRUResetBefore, 4}}, []denseSize{{Identity, 2}}, "gru_l0 head"},
		{[]layerSize{{GRUResetAfter, 4}}, []denseSize{{ReLU, 2}, {Identity, 2}},
			"rnn_l0 dense0 head"},
		{[]layerSize{{LSTM, 4}}, []denseSize{{Identity, 2}}, "rnn_l0 head"},
		{[]layerSize{{LSTM, 4}, {LSTM, 4}}, []denseSize{{ReLU, 2}, {ReLU, 2}, {Identity, 2}},
			"rnn_l0 rnn_l1 dense0 dense1 head"},
		{[]layerSize{{LSTM, 4}, {LSTM, 4}, {ElmanTanh, 4}}, []denseSize{{Identity, 2}},
			"rnn0_l0 rnn1_l0 rnn2_l0 head"},
	} {
		tensors := ToTorch(randomNetwork(1, 3, c.stack, c.head))
		var want []string
		for _, m := range strings.Fields(c.modules) {
			if name, number, recurrent := strings.Cut(m, "_l"); recurrent {
				for _, leaf := range []string{"weight_ih", "weight_hh", "bias_ih", "bias_hh"} {
					want = append(want, name+"."+leaf+"_l"+number)
				}
			} else {
				want = append(want, m+".weight", m+".bias")
			}
		}
		slices.Sort(want)
		if got := slices.Sorted(maps.Keys(tensors)); !slices.Equal(got, want) {
			t.Errorf("got %q, want %q", got, want)
		}
	}
}

func TestStacksAreInferred(t *testing.T) {
	for _, kind := range []Kind{GRUResetAfter, LSTM} {
		n := randomNetwork(6, 3, []layerSize{{kind, 4}, {kind, 4}, {kind, 2}},
			[]denseSize{{Identity, 2}})
		back, err := FromTorch("back", ToTorch(n), Spec{})
		if err != nil {
			t.Errorf("%v: %v", n, err)
		} else if !reflect.DeepEqual(back, n) {
			t.Errorf("%v came back as %v", n, back)
		}
	}
}

func TestSpecLeavesTheRestToInference(t *testing.T) {
	n := randomNetwork(7, 3, []layerSize{{GRUResetAfter, 4}, {LSTM, 5}}, []denseSize{{Identity, 2}})
	spec := ToTorchSpec(n)
	for i := range spec.Layers {
		spec.Layers[i].Cell, spec.Layers[i].Activation = "", ""
	}
	if back, err := FromTorch("back", ToTorch(n), spec); err != nil || !reflect.DeepEqual(back, n) {
		t.Errorf("got %v, error %v, want %v", back, err, n)
	}
}

func TestModulesWithoutAName(t *testing.T) {
	n := randomNetwork(8, 3, []layerSize{{ElmanTanh, 4}}, []denseSize{{Identity, 2}})
	for _, bare := range []string{"rnn.", "head."} {
		tensors := map[string]*Tensor{}
		for name, tensor := range ToTorch(n) {
			tensors[strings.TrimPrefix(name, bare)] = tensor
		}
		spec := ToTorchSpec(n)
		for i := range spec.Layers {
			if spec.Layers[i].Name+"." == bare {
				spec.Layers[i].Name = ""
			}
		}
		if back, err := FromTorch("back", tensors, spec); err != nil ||
			!reflect.DeepEqual(back, n) {
			t.Errorf("%s: got %v, error %v, want %v", bare, back, err, n)
		}
	}
}

func TestSpecsThatAreRefused(t *testing.T) {
	rnn, dense, head := LayerSpec{Name: "rnn", Cell: "gru"},
		LayerSpec{Name: "dense", Activation: "relu"}, LayerSpec{Name: "head"}
	for _, c := range []struct {
		name     string
		layers   []LayerSpec
		sentinel error
		message  string
		hint     string
	}{
		{"module missing in the list", []LayerSpec{rnn, head}, ErrUnsupported,
			`has modules that are not listed: "dense"`,
			"    [[model.layer]]\n    name = \"dense\""},
		{"module missing in the file", []LayerSpec{rnn, dense, {Name: "out"}}, ErrUnsupported,
			`layer "out": the file has no module of this name`,
			`the file has "rnn", "dense", "head"`},
		{"listed twice", []LayerSpec{rnn, dense, dense, head}, ErrUnsupported,
			`layer "dense": is listed twice`, "once"},
		{"unknown cell", []LayerSpec{{Name: "rnn", Cell: "GRU"}, dense, head}, ErrUnsupported,
			`layer "rnn": unknown cell "GRU"`,
			`known are "gru", "gru-reset-before", "lstm", "elman-tanh", "elman-relu"`},
		{"cell in another case", []LayerSpec{{Name: "rnn", Cell: "GRU"}, dense, head},
			ErrUnsupported, `layer "rnn": unknown cell "GRU"`, `did you mean "gru"?`},
		{"activation with a slip", []LayerSpec{rnn, {Name: "dense", Activation: "relu6"}, head},
			ErrUnsupported, `layer "dense": unknown activation "relu6"`, `did you mean "relu"?`},
		{"module with a slip", []LayerSpec{rnn, dense, {Name: "Head"}}, ErrUnsupported,
			`layer "Head": the file has no module of this name`, `did you mean "head"?`},
		{"unknown activation", []LayerSpec{rnn, {Name: "dense", Activation: "gelu"}, head},
			ErrUnsupported,
			`layer "dense": unknown activation "gelu"`, `known are "identity", "relu", "tanh", ` +
				`"logistic"`},
		{"cell of a dense layer", []LayerSpec{rnn, dense, {Name: "head", Cell: "gru"}},
			ErrUnsupported, `layer "head": is a dense layer, but a cell is given`, "no cell"},
		{"activation of a recurrent layer",
			[]LayerSpec{{Name: "rnn", Activation: "tanh"}, dense, head}, ErrUnsupported,
			`layer "rnn": is a recurrent layer, but an activation is given`, "cell says"},
		{"recurrent after dense", []LayerSpec{dense, rnn, head}, ErrUnsupported,
			`layer "rnn": is a recurrent layer after a dense one`, "first"},
		{"dense layers in the wrong order", []LayerSpec{rnn, head, dense}, ErrFormat,
			`tensor "head.weight": has shape [2 × 6], expected [any × 7]`, "the one before it"},
		{"LSTM for a GRU", []LayerSpec{{Name: "rnn", Cell: "lstm"}, dense, head}, ErrFormat,
			`tensor "rnn.weight_hh_l0": has shape [21 × 7], but "lstm" has [4*units × units]`,
			"3 for a GRU"},
		{"Elman for a GRU", []LayerSpec{{Name: "rnn", Cell: "elman-relu"}, dense, head}, ErrFormat,
			`but "elman-relu" has [1*units × units]`, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			n, err := FromTorch("m.npz", readSafetensors(t, "gru_1layer_dense"),
				Spec{Layers: c.layers})
			if n != nil {
				t.Error("a network was returned with the error")
			}
			checkRefusal(t, err, c.sentinel, c.message, c.hint)
		})
	}
}

func TestElmanInAListNeedsACell(t *testing.T) {
	_, err := FromTorch("m.npz", readSafetensors(t, "rnn_relu"),
		Spec{Layers: []LayerSpec{{Name: "rnn"}, {Name: "head"}}})
	checkRefusal(t, err, ErrUnsupported, "does not say whether the Elman layer uses tanh or ReLU",
		`cell = ? # "elman-tanh", "elman-relu"`)
}

func TestRecurrentLayersOfAllModulesCount(t *testing.T) {
	n := randomNetwork(9, 3, []layerSize{{LSTM, 3}, {LSTM, 3}, {LSTM, 3}},
		[]denseSize{{Identity, 2}})
	tensors := ToTorch(n)
	for name, tensor := range maps.Clone(tensors) {
		if rest, found := strings.CutPrefix(name, "rnn."); found && strings.HasSuffix(rest, "_l0") {
			tensors["other."+rest] = tensor
		}
	}
	_, err := FromTorch("m.npz", tensors,
		Spec{Layers: []LayerSpec{{Name: "rnn"}, {Name: "other"}, {Name: "head"}}})
	checkRefusal(t, err, ErrUnsupported, "has 4 recurrent layers, at most 3 are read",
		"fewer layers")
}
