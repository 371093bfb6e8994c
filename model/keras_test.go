package model

import (
	"encoding/json"
	"path/filepath"
	"slices"
	"testing"
)

// kerasVector is one file keras_*.json of the vectors.
type kerasVector struct {
	Weights   map[string]*Tensor
	Input     *Tensor
	RNNOutput *Tensor `json:"rnn_output"`
	OutputSeq *Tensor `json:"output_seq"`
}

func readKeras(t *testing.T, name string) kerasVector {
	t.Helper()
	var v kerasVector
	if err := json.Unmarshal(readBytes(t, vectors, name+".json"), &v); err != nil {
		t.Fatal(err)
	}
	return v
}

// arrays returns the weights in the order of get_weights().
func (v kerasVector) arrays() []*Tensor {
	var list []*Tensor
	for _, name := range []string{"rnn/kernel", "rnn/recurrent_kernel", "rnn/bias", "dense/kernel",
		"dense/bias"} {
		list = append(list, v.Weights[name])
	}
	return list
}

func TestKerasFilesAgreeWithTheirLayers(t *testing.T) {
	// Source: the Keras layers of TensorFlow.js 4.22.0 in float32; reset_after by torch
	// (testdata/vectors/README.md).
	elman := []LayerSpec{{Cell: "elman-tanh"}, {}}
	for _, c := range []struct {
		file, network string
		layers        []LayerSpec
	}{
		{"keras_gru_reset_after", "GRU (reset-after) 5→7, dense 7→2", nil},
		{"keras_gru_reset_before", "GRU (reset-before) 5→7, dense 7→2", nil},
		{"keras_gru_reset_before", "GRU (reset-before) 5→7, dense 7→2",
			[]LayerSpec{{Name: "gru", Cell: "gru-reset-before"},
				{Name: "dense", Activation: "identity"}}},
		{"keras_lstm", "LSTM 5→7, dense 7→2", nil},
		{"keras_simple_rnn", "Elman (tanh) 5→7, dense 7→2", elman},
	} {
		t.Run(c.file, func(t *testing.T) {
			v := readKeras(t, c.file)
			n, err := ReadFile(filepath.Join(vectors, c.file+".npz"),
				Spec{Convention: "keras", Layers: c.layers})
			if err != nil {
				t.Fatal(err)
			}
			if n.String() != c.network {
				t.Errorf("got %v, want %s", n, c.network)
			}
			if err := n.Validate(); err != nil {
				t.Fatal(err)
			}
			got := replay(n, v.Input, nil, nil)
			compare(t, "rnn_output", got.states, v.RNNOutput, float32Tolerance)
			compare(t, "output_seq", got.outputs, v.OutputSeq, float32Tolerance)
		})
	}
}

func TestHardSigmoidIsNotTheLogisticFunction(t *testing.T) {
	// The arrays do not say the activation of the gates, so this network is read, but computes
	// other values than Keras. The README says what to do; the float error in every report shows
	// it. If the values ever agree, the vectors or the test are wrong.
	v := readKeras(t, "keras_gru_hard_sigmoid")
	n, err := FromKeras("m.npz", v.arrays(), Spec{})
	if err != nil {
		t.Fatal(err)
	}
	got, worst := replay(n, v.Input, nil, nil).outputs, 0.0
	for i, w := range v.OutputSeq.Data {
		worst = max(worst, w-got[i], got[i]-w)
	}
	if worst < 0.01 {
		t.Errorf("largest difference %v", worst)
	}
}

func TestKerasStacks(t *testing.T) {
	// There are no outside numbers for this network. Its parts are those of the files above, whose
	// layout TestKerasFilesAgreeWithTheirLayers checks.
	gru, lstm := readKeras(t, "keras_gru_reset_after").arrays(), readKeras(t, "keras_lstm").arrays()
	second := []*Tensor{filled(7, 28), lstm[1], lstm[2]}
	bias := func(n int) *Tensor { return filled(n) }
	for _, c := range []struct {
		want   string
		arrays []*Tensor
		layers []LayerSpec
	}{
		{"GRU (reset-after) 5→7, LSTM 7→7, dense 7→2", slices.Concat(gru[:3], second, gru[3:]),
			nil},
		{"GRU (reset-after) 5→7, dense 7→6 ReLU, dense 6→3",
			slices.Concat(gru[:3], []*Tensor{filled(7, 6), bias(6), filled(6, 3)}),
			[]LayerSpec{{}, {Activation: "relu"}, {}}},
		{"LSTM 5→7, dense 7→7 tanh, dense 7→7",
			slices.Concat(lstm[:3], []*Tensor{filled(7, 7), filled(7, 7)}),
			[]LayerSpec{{}, {Activation: "tanh"}, {}}},
		{"Elman (ReLU) 5→7, dense 7→7", []*Tensor{filled(5, 7), filled(7, 7), filled(7, 7)},
			[]LayerSpec{{Cell: "elman-relu"}, {}}},
		{"GRU (reset-before) 5→7, dense 7→1", []*Tensor{filled(5, 21), filled(7, 21), filled(7, 1)},
			[]LayerSpec{{Cell: "gru-reset-before"}, {}}},
	} {
		n, err := FromKeras("m.npz", c.arrays, Spec{Layers: c.layers})
		if err != nil {
			t.Errorf("%s: %v", c.want, err)
			continue
		}
		if n.String() != c.want || n.Validate() != nil {
			t.Errorf("got %v, %v, want %s", n, n.Validate(), c.want)
		}
	}
}

func filled(shape ...int) *Tensor {
	count, _ := elements(shape)
	return &Tensor{Shape: shape, Data: make([]float64, count)}
}

func TestKerasArraysThatAreRefused(t *testing.T) {
	gru := readKeras(t, "keras_gru_reset_after").arrays()
	before := readKeras(t, "keras_gru_reset_before").arrays()
	rnn := readKeras(t, "keras_simple_rnn").arrays()
	nan := filled(7, 2)
	nan.Data[3] = nan.Data[3] / nan.Data[4]
	for _, c := range []struct {
		name          string
		arrays        []*Tensor
		layers        []LayerSpec
		sentinel      error
		message, hint string
	}{
		{"nothing", nil, nil, ErrUnsupported, "has no recurrent layer", "get_weights()"},
		{"elman", rnn, nil, ErrUnsupported, "layer 1 is a SimpleRNN; the file does not say " +
			"whether it uses tanh or ReLU", "[[model.layer]]"},
		{"gru without bias", []*Tensor{gru[0], gru[1], gru[3], gru[4]}, nil, ErrUnsupported,
			"layer 1 is a GRU without bias; the file does not say its reset_after",
			`cell = ? # "gru"`},
		{"other bias", gru, []LayerSpec{{Cell: "gru-reset-before"}, {}}, ErrFormat,
			`array "arr_2": has shape [2 × 21], but "gru-reset-before" has a bias of shape [21]`,
			"reset_after=True"},
		{"other bias", before, []LayerSpec{{Cell: "gru"}, {}}, ErrFormat, `array "arr_2": has ` +
			`shape [21], but "gru" has a bias of shape [2 × 21]`, "reset_after=False"},
		{"other cell", gru, []LayerSpec{{Cell: "lstm"}, {}}, ErrFormat, `array "arr_0": has ` +
			`shape [5 × 21] and the array after it [7 × 21], but "lstm" has kernel [inputs × ` +
			`4*units] and recurrent_kernel [units × 4*units]`, "3 for a GRU"},
		{"no dense", gru[:3], nil, ErrUnsupported, "has no dense layer",
			"must end with a Dense layer"},
		{"two dense", slices.Concat(gru, []*Tensor{filled(2, 2), filled(2)}), nil, ErrUnsupported,
			"has 2 dense layers; the file does not say their activations", "activation ="},
		{"one entry too many", gru, []LayerSpec{{}, {}, {}}, ErrUnsupported,
			"has 2 layers, but 3 are listed", "all layers"},
		{"recurrent behind dense", slices.Concat(gru, []*Tensor{filled(2, 21), gru[1], gru[2]}),
			[]LayerSpec{{}, {}, {Cell: "gru"}}, ErrUnsupported,
			"layer 3: is a recurrent layer after a dense one", "first"},
		{"rest", slices.Concat(gru, []*Tensor{filled(4)}), nil, ErrFormat,
			`array "arr_5": has shape [4], expected [2 × any]`, "kernel"},
		{"does not chain", []*Tensor{gru[0], gru[1], gru[2], filled(6, 2)}, nil, ErrFormat,
			`array "arr_3": has shape [6 × 2], expected [7 × any]`, "results of the one before"},
		{"not a number", []*Tensor{gru[0], gru[1], gru[2], nan}, nil, ErrFormat,
			`array "arr_3": value at [1, 1] is NaN`, "diverged"},
		{"unknown cell", gru, []LayerSpec{{Cell: "peephole"}, {}}, ErrUnsupported,
			`layer 1: unknown cell "peephole"`, "known are"},
	} {
		_, err := FromKeras("m.npz", c.arrays, Spec{Layers: c.layers})
		t.Run(c.name, func(t *testing.T) { checkRefusal(t, err, c.sentinel, c.message, c.hint) })
	}
}
