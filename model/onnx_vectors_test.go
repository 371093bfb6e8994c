package model

import (
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

func importONNX(t testing.TB, path string) *Import {
	t.Helper()
	i, err := ImportFile(path, Spec{})
	if err != nil {
		t.Fatal(err)
	}
	return i
}

// replayAxes runs a network over an input with steps and sequences on the given axes, from start
// states [layers × sequences × units] or nil, and returns outputs and states of the last layer in
// the order of sequences, then steps.
func replayAxes(n *Network, input *Tensor, stepAxis int, h0, c0 *Tensor) replayed {
	if stepAxis == 1 {
		return replay(n, input, h0, c0)
	}
	steps, sequences, inputs := input.Shape[0], input.Shape[1], input.Shape[2]
	swapped := &Tensor{Shape: []int{sequences, steps, inputs}}
	for s := range sequences {
		for k := range steps {
			swapped.Data = append(swapped.Data, input.Data[(k*sequences+s)*inputs:][:inputs]...)
		}
	}
	return replay(n, swapped, h0, c0)
}

// lastSteps keeps the values of the last step of every sequence.
func lastSteps(values []float64, steps, width int) []float64 {
	var last []float64
	for end := steps * width; end <= len(values); end += steps * width {
		last = append(last, values[end-width:end]...)
	}
	return last
}

// stepsFirst reorders values from sequences first to steps first.
func stepsFirst(values []float64, sequences, steps, width int) []float64 {
	var out []float64
	for k := range steps {
		for s := range sequences {
			out = append(out, values[(s*steps+k)*width:][:width]...)
		}
	}
	return out
}

func TestONNXFilesOfTorch(t *testing.T) {
	// Source: graphs and numbers by torch 1.13 (testdata/vectors/README.md). The descriptions are
	// the networks that torch exported.
	for _, c := range []struct {
		file, network string
		last          bool
	}{
		{"torch_gru_2layer_dense_seq", "GRU (reset-after) 5→7, GRU (reset-after) 7→7, dense 7→6 " +
			"ReLU, dense 6→2", false},
		{"torch_gru_last", "GRU (reset-after) 5→7, dense 7→2", true},
		{"torch_gru_last_hidden", "GRU (reset-after) 5→7, dense 7→2", true},
		{"torch_gru_seq", "GRU (reset-after) 5→7, dense 7→2", false},
		{"torch_gru_seq_dynbatch", "GRU (reset-after) 5→7, dense 7→2", false},
		{"torch_gru_seq_static", "GRU (reset-after) 5→7, dense 7→2", false},
		{"torch_gru_stateful", "GRU (reset-after) 5→7, dense 7→2", false},
		{"torch_gru_stateful_step", "GRU (reset-after) 5→7, dense 7→2", false},
		{"torch_lstm_last", "LSTM 5→7, dense 7→2", true},
		{"torch_lstm_last_hidden", "LSTM 5→7, dense 7→2", true},
		{"torch_lstm_seq", "LSTM 5→7, dense 7→2", false},
		{"torch_lstm_seq_dynbatch", "LSTM 5→7, dense 7→2", false},
		{"torch_lstm_stateful", "LSTM 5→7, dense 7→2", false},
		{"torch_lstm_stateful_step", "LSTM 5→7, dense 7→2", false},
		{"torch_rnn_relu_seq", "Elman (ReLU) 5→7, dense 7→2", false},
		{"onnx_form_sub_div", "GRU (reset-after) 5→7, dense 7→2", false},
		{"onnx_form_mul_add", "GRU (reset-after) 5→7, dense 7→7 ReLU, dense 7→2 logistic", false},
		{"onnx_form_negative", "GRU (reset-after) 5→7, dense 7→2", false},
		{"onnx_form_last_layer_state", "LSTM 5→7, LSTM 7→7, dense 7→6 tanh, dense 6→3", true},
		{"onnx_form_flattened", "GRU (reset-after) 5→7, dense 7→2", false},
		{"onnx_form_heads", "GRU (reset-after) 5→7, GRU (reset-after) 7→7, dense 7→7 ReLU, " +
			"dense 7→2", false},
		{"onnx_form_two_outputs", "GRU (reset-after) 5→7, GRU (reset-after) 7→7, dense 7→7 " +
			"ReLU, dense 7→2", true},
		{"onnx_form_chosen", "GRU (reset-after) 5→7, GRU (reset-after) 7→7, dense 7→1", false},
		{"onnx_form_between", "GRU (reset-after) 5→7, LSTM 7→7, dense 7→2", false},
		{"onnx_form_columns", "GRU (reset-after) 5→7, dense 7→2", false},
		{"onnx_form_states", "GRU (reset-after) 5→7, GRU (reset-after) 7→7, dense 7→2", true},
		{"onnx_form_steps_first", "Elman (tanh) 5→7, Elman (tanh) 7→7, Elman (tanh) 7→7, dense 7→2",
			false},
	} {
		t.Run(c.file, func(t *testing.T) {
			v := readNPZ(t, c.file)
			i := importONNX(t, filepath.Join(vectors, c.file+".onnx"))
			if got := i.Network.String(); got != c.network {
				t.Fatalf("got %s, want %s", got, c.network)
			}
			if i.LastStep != c.last {
				t.Errorf("outputs after the last step only: %v, want %v", i.LastStep, c.last)
			}
			if want := c.file == "onnx_form_last_layer_state" ||
				c.file == "onnx_form_states"; i.Softmax != want {
				t.Errorf("softmax: %v, want %v", i.Softmax, want)
			}
			stepAxis := 1
			if c.file == "onnx_form_steps_first" {
				stepAxis = 0
			}
			n := i.Folded()
			got := replayAxes(n, v["input"], stepAxis, v["h0"], v["c0"])
			steps, sequences := v["input"].Shape[stepAxis], v["input"].Shape[1-stepAxis]
			outputs := got.outputs
			if c.last {
				outputs = lastSteps(outputs, steps, n.Outputs())
			}
			if stepAxis == 0 {
				outputs = stepsFirst(outputs, sequences, steps, n.Outputs())
			}
			want := v["output"]
			if second := v["second"]; second != nil { // of one sequence
				want = &Tensor{Data: slices.Concat(want.Data, second.Data)}
			}
			if i.Softmax {
				outputs = softmax(outputs, n.Outputs())
			}
			if c.file == "onnx_form_states" { // logarithms of shares
				for i, v := range outputs {
					outputs[i] = math.Log(v)
				}
			}
			compare(t, "output", outputs, want, float32Tolerance)
			if h := v["h_final"]; h != nil {
				compare(t, "h_final", got.final, h, float32Tolerance)
			}
			if h := v["c_final"]; h != nil {
				compare(t, "c_final", got.finalCell, h, float32Tolerance)
			}
		})
	}
}

func TestONNXReferenceCells(t *testing.T) {
	// Source: the reference cells of the onnx package 1.12.0 (testdata/vectors/README.md). The
	// graphs end with the hidden state.
	for _, c := range []struct{ file, network string }{
		{"op_gru_defaults", "GRU (reset-before) 3→4, dense 4→4"},
		{"op_gru_lbr0", "GRU (reset-before) 3→4, dense 4→4"},
		{"op_gru_lbr1", "GRU (reset-after) 3→4, dense 4→4"},
		{"op_gru_nobias_h0", "GRU (reset-after) 3→4, dense 4→4"},
		{"op_lstm", "LSTM 3→4, dense 4→4"},
		{"op_lstm_defaults", "LSTM 3→4, dense 4→4"},
		{"op_rnn", "Elman (tanh) 3→4, dense 4→4"},
		{"op_rnn_defaults", "Elman (tanh) 3→4, dense 4→4"},
	} {
		t.Run(c.file, func(t *testing.T) {
			v := readNPZ(t, c.file)
			i := importONNX(t, filepath.Join(vectors, c.file+".onnx"))
			if got := i.Network.String(); got != c.network {
				t.Fatalf("got %s, want %s", got, c.network)
			}
			got := replayAxes(i.Network, v["X"], 0, v["initial_h"], v["initial_c"])
			compare(t, "Y", stepsFirst(got.outputs, v["X"].Shape[1], v["X"].Shape[0], 4), v["Y"],
				float32Tolerance)
			compare(t, "Y_h", got.final, v["Y_h"], float32Tolerance)
			compare(t, "Y_f64", stepsFirst(got.outputs, v["X"].Shape[1], v["X"].Shape[0], 4),
				v["Y_f64"], float64Tolerance)
		})
	}
}

func TestEveryONNXVectorIsChecked(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(vectors, "*.onnx"))
	if err != nil || len(files) != 35 { // 27 and 8 in the tables above
		t.Errorf("%d files, error %v; a new file needs a line in a table", len(files), err)
	}
}

func TestNormalisationInTheGraph(t *testing.T) {
	v := readNPZ(t, "onnx_form_sub_div")
	i := importONNX(t, filepath.Join(vectors, "onnx_form_sub_div.onnx"))
	compare(t, "mean", i.Mean, v["mean"], float32Tolerance)
	compare(t, "std", i.Std, v["std"], float32Tolerance)

	v = readNPZ(t, "onnx_form_mul_add") // (0.5 x) / std + 0.1
	i = importONNX(t, filepath.Join(vectors, "onnx_form_mul_add.onnx"))
	mean, std := &Tensor{}, &Tensor{}
	for _, s := range v["std"].Data {
		std.Data = append(std.Data, 2*s)
		mean.Data = append(mean.Data, -0.1*2*s)
	}
	compare(t, "mean", i.Mean, mean, float32Tolerance)
	compare(t, "std", i.Std, std, float32Tolerance)

	for _, file := range []string{"onnx_form_negative", "onnx_form_chosen", "onnx_form_heads"} {
		if i := importONNX(t, filepath.Join(vectors, file+".onnx")); i.Mean != nil || i.Std != nil {
			t.Errorf("%s: got mean %v and std %v, which its weights must hold", file, i.Mean, i.Std)
		}
	}
}

func TestONNXAgreesWithStateDict(t *testing.T) {
	// torch wrote both files from the same network (testdata/vectors/README.md), so that every
	// weight is equal bit for bit.
	for onnx, dict := range map[string]string{"torch_gru_seq": "gru_1layer",
		"torch_lstm_last": "lstm_1layer"} {
		got, want := importONNX(t, filepath.Join(vectors, onnx+".onnx")).Network,
			fromTorch(t, readSafetensors(t, dict), Spec{})
		for name, w := range ToTorch(want) {
			if g := ToTorch(got)[name]; g == nil || !slices.Equal(g.Data, w.Data) {
				t.Errorf("%s: %s differs", onnx, name)
			}
		}
	}
}

// onnxNodes is the folder of operator tests of the ONNX standard; see the README there.
const onnxNodes = "../testdata/onnxnodes"

func TestONNXNodeTests(t *testing.T) {
	// Weights are inputs of these graphs, which no exporter makes: the test stores them in the
	// graph first.
	for _, c := range []struct {
		name    string
		outputs []string // in the order of the output files
		refused string
	}{
		{"test_gru_batchwise", []string{"Y", "Y_h"}, ""},
		{"test_gru_defaults", []string{"Y_h"}, ""},
		{"test_gru_seq_length", []string{"Y_h"}, ""},
		{"test_gru_with_initial_bias", []string{"Y_h"}, ""},
		{"test_lstm_batchwise", []string{"Y", "Y_h"}, ""},
		{"test_lstm_defaults", []string{"Y_h"}, ""},
		{"test_lstm_with_initial_bias", []string{"Y_h"}, ""},
		{"test_lstm_with_peepholes", nil, "node 0 (LSTM): has peepholes from the cell state to " +
			"its gates"},
		{"test_rnn_seq_length", []string{"Y_h"}, ""},
		{"test_simple_rnn_batchwise", []string{"Y", "Y_h"}, ""},
		{"test_simple_rnn_defaults", []string{"Y_h"}, ""},
		{"test_simple_rnn_with_initial_bias", []string{"Y_h"}, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			folder := filepath.Join(onnxNodes, c.name)
			raw := readBytes(t, folder, "model.onnx")
			if _, err := decodeAndEvaluate(raw, nil); err == nil ||
				!strings.Contains(err.Error(), "computed from the features, or an input of "+
					"the graph") {
				t.Errorf("with weights as inputs: got %v", err)
			}
			inputs := map[string][]byte{}
			m, err := decodeONNX(raw, place{file: c.name})
			if err != nil {
				t.Fatal(err)
			}
			for k, in := range m.graph.inputs[1:] {
				inputs[in.name] = readBytes(t, folder, "input_"+string(rune('1'+k))+".pb")
			}
			i, err := decodeAndEvaluate(raw, inputs)
			if c.refused != "" {
				checkRefusal(t, err, ErrUnsupported, c.refused, "without peepholes")
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			x := readPB(t, folder, "input_0.pb")
			stepAxis := 0
			if strings.HasSuffix(c.name, "_batchwise") {
				stepAxis = 1
			}
			got := replayAxes(i.Network, x, stepAxis, nil, nil)
			for k, name := range c.outputs {
				want := readPB(t, folder, "output_"+string(rune('0'+k))+".pb")
				values := got.outputs // one sequence, or sequences first
				if name == "Y_h" {
					values = got.final
				}
				compare(t, name, values, want, float32Tolerance)
			}
		})
	}
	folders, err := os.ReadDir(onnxNodes)
	if err != nil || len(folders) != 12+2 { // and README and operators.zip
		t.Errorf("%d entries, error %v; a new test needs a line in the table", len(folders), err)
	}
}

// decodeAndEvaluate reads a graph after storing tensors in it.
func decodeAndEvaluate(raw []byte, tensors map[string][]byte) (*Import, error) {
	at := place{file: "m.onnx"}
	m, err := decodeONNX(raw, at)
	if err != nil {
		return nil, err
	}
	for name, tensor := range tensors {
		m.graph.initializers[name] = tensor
	}
	return m.network(int64(len(raw)), at)
}

func readPB(t *testing.T, elements ...string) *Tensor {
	t.Helper()
	c, err := decodeONNXTensor(readBytes(t, elements...), place{})
	if err != nil {
		t.Fatal(err)
	}
	return &Tensor{Shape: c.shape, Data: c.floats}
}

// softmax turns the scores of every step into shares.
func softmax(scores []float64, width int) []float64 {
	var shares []float64
	for step := range slices.Chunk(scores, width) {
		sum := 0.0
		for _, s := range step {
			sum += math.Exp(s)
		}
		for _, s := range step {
			shares = append(shares, math.Exp(s)/sum)
		}
	}
	return shares
}
