package model

import (
	"bytes"
	"errors"
	"io/fs"
	"maps"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"kerf/fault"
)

// checkRefusal compares an error with its sentinel and with parts of its text and hint.
func checkRefusal(t *testing.T, err, sentinel error, message, hint string) {
	t.Helper()
	if !errors.Is(err, sentinel) {
		t.Fatalf("got %v, want an error of kind %q", err, sentinel)
	}
	if !strings.Contains(err.Error(), message) {
		t.Errorf("got %q, want it to contain %q", err, message)
	}
	if strings.HasSuffix(err.Error(), ".") || strings.Contains(err.Error(), "\n") {
		t.Errorf("%q is not one sentence without full stop", err)
	}
	var advice *fault.Error
	if !errors.As(err, &advice) {
		t.Fatalf("%T gives no hint", err)
	}
	if !strings.Contains(advice.Hint, hint) {
		t.Errorf("got hint %q, want it to contain %q", advice.Hint, hint)
	}
}

func TestVectorFilesThatAreRefused(t *testing.T) {
	for _, c := range []struct{ file, message, hint string }{
		{"gru_1layer_dense", `has 2 dense layers: "dense", "head"; the file does not say their ` +
			`order and what stands between them`,
			"in the job file:\n    [[model.layer]]\n    name = \"rnn\"\n    cell = ? # \"gru\", " +
				"\"gru-reset-before\"\n" +
				"    [[model.layer]]\n    name = \"dense\"\n    activation = ? # \"identity\", " +
				"\"relu\", \"tanh\", \"logistic\"\n" +
				"    [[model.layer]]\n    name = \"head\"\n    activation"},
		{"rnn_tanh", `tensor "rnn.weight_hh_l0": the file does not say whether the Elman layer ` +
			`uses tanh or ReLU`,
			"    [[model.layer]]\n    name = \"rnn\"\n    cell = ? # \"elman-tanh\", " +
				"\"elman-relu\"\n    [[model.layer]]\n    name = \"head\"\n"},
	} {
		path := filepath.Join(vectors, c.file+".safetensors")
		_, err := ReadFile(path, Spec{Convention: "torch"})
		checkRefusal(t, err, ErrUnsupported, path+": "+c.message, c.hint)
	}
	_, err := ReadFile(filepath.Join(vectors, "gru_1layer.npz"), Spec{Convention: "torch"})
	checkRefusal(t, err, ErrUnsupported,
		`has tensors of unknown meaning: "h0" [1 × 3 × 7], "h_final" [1 × 3 × 7], "input" [3 × `+
			`40 × 5], "output_seq" [3 × 40 × 2] and 4 more`, "nothing else")
}

func TestStateDictsThatAreRefused(t *testing.T) {
	filled := func(shape ...int) *Tensor {
		count, _ := elements(shape)
		return &Tensor{Shape: shape, Data: make([]float64, count)}
	}
	type dict = map[string]*Tensor
	for _, c := range []struct {
		name     string
		change   func(d dict)
		sentinel error
		message  string
		hint     string
	}{
		{"nothing", func(d dict) { clear(d) }, ErrFormat, "holds no tensors", ""},
		{"bidirectional", func(d dict) {
			d["rnn.weight_ih_l0_reverse"] = filled(21, 5)
		}, ErrUnsupported,
			"belongs to a bidirectional layer", "bidirectional=False"},
		{"projection", func(d dict) {
			d["rnn.weight_hr_l0"] = filled(3, 7)
		}, ErrUnsupported, "is the projection of an LSTM", "proj_size=0"},
		{"half a second layer", func(d dict) {
			d["rnn.weight_ih_l1"] = filled(21, 7)
		}, ErrFormat, `lacks tensor "rnn.weight_hh_l1"`, ""},
		{"four layers", func(d dict) {
			d["rnn.weight_ih_l3"] = filled(21, 7)
		}, ErrUnsupported, "has 4 recurrent layers, at most 3 are read", "fewer"},
		{"layer number with a leading zero", func(d dict) {
			d["rnn.weight_ih_l00"] = filled(21, 7)
		}, ErrUnsupported, `"rnn.weight_ih_l00" [21 × 7]`, ""},
		{"second layer with the inputs of the first", func(d dict) {
			d["rnn.weight_ih_l1"], d["rnn.weight_hh_l1"] = filled(21, 5), filled(21, 7)
		},
			ErrFormat, `tensor "rnn.weight_ih_l1": has shape [21 × 5], expected [21 × 7]`,
			"the one before it"},
		{"second layer of other cell", func(d dict) {
			d["rnn.weight_ih_l1"], d["rnn.weight_hh_l1"] = filled(28, 7), filled(28, 7)
		},
			ErrFormat, `tensor "rnn.weight_hh_l1": has shape [28 × 7], but "gru" has [3*units ` +
				`× units]`, "4 for an LSTM"},
		{"two modules", func(d dict) {
			d["b.weight_ih_l0"] = filled(21, 5)
		}, ErrUnsupported, `has 2 recurrent modules: "b", "rnn"; the file does not say their order`,
			"name = \"b\"\n    cell = ? # \"gru\", \"gru-reset-before\", \"lstm\", " +
				"\"elman-tanh\", \"elman-relu\"\n    [[model.layer]]\n    name = \"rnn\"\n    " +
				"cell = ? # \"gru\", \"gru-reset-before\"\n"},
		{"units that wrap around", func(d dict) {
			// 4 times this number of units is 2^64, which overflows to 0
			d["rnn.weight_hh_l0"] = &Tensor{Shape: []int{0, math.MaxInt/2 + 1}}
			d["rnn.weight_ih_l0"] = filled(0, 5)
		}, ErrFormat, "expected [3*units × units] or [4*units × units]", ""},
		{"no recurrent layer", func(d dict) {
			maps.DeleteFunc(d, func(name string, _ *Tensor) bool {
				return strings.HasPrefix(name, "rnn.")
			})
		}, ErrUnsupported, "no tensor is called weight_ih_l0", "torch.nn.GRU"},
		{"no head", func(d dict) {
			delete(d, "head.weight")
			delete(d, "head.bias")
		}, ErrUnsupported, "has no dense layer", "linear layer"},
		{"two dense layers", func(d dict) {
			d["fc.weight"] = filled(7, 7)
		}, ErrUnsupported, `has 2 dense layers: "fc", "head"`, "activation"},
		{"normalisation layer", func(d dict) {
			d["norm.weight"] = filled(7)
			d["norm.bias"] = filled(7)
		}, ErrUnsupported,
			`unknown meaning: "norm.bias" [7], "norm.weight" [7]`, "nothing else"},
		{"counter", func(d dict) {
			d["norm.num_batches_tracked"] = filled()
		}, ErrUnsupported, `"norm.num_batches_tracked" []`, ""},
		{"bias alone", func(d dict) {
			d["x.bias"] = filled(2)
		}, ErrUnsupported, `"x.bias" [2]`, ""},
		{"weight beside the recurrent ones", func(d dict) {
			d["rnn.weight"] = filled(2, 7)
		}, ErrUnsupported, `"rnn.weight" [2 × 7]`, ""},
		{"no input weights", func(d dict) {
			delete(d, "rnn.weight_ih_l0")
		}, ErrFormat, `lacks tensor "rnn.weight_ih_l0"`, ""},
		{"no recurrent weights", func(d dict) {
			delete(d, "rnn.weight_hh_l0")
		}, ErrFormat, `lacks tensor "rnn.weight_hh_l0"`, ""},
		{"one bias of two", func(d dict) {
			delete(d, "rnn.bias_hh_l0")
		}, ErrFormat, `lacks tensor "rnn.bias_hh_l0"`, ""},
		{"other of two", func(d dict) {
			delete(d, "rnn.bias_ih_l0")
		}, ErrFormat, `lacks tensor "rnn.bias_ih_l0"`, ""},
		{"recurrent rows", func(d dict) { d["rnn.weight_hh_l0"] = filled(20, 7) }, ErrFormat,
			`tensor "rnn.weight_hh_l0": has shape [20 × 7], expected [3*units × units] or ` +
				`[4*units × units]`, ""},
		{"recurrent vector", func(d dict) {
			d["rnn.weight_hh_l0"] = filled(21)
		}, ErrFormat, "has shape [21], expected [3*units × units] or", ""},
		{"no units", func(d dict) {
			d["rnn.weight_hh_l0"] = filled(0, 0)
		}, ErrFormat, "has shape [0 × 0], expected", ""},
		{"input rows", func(d dict) {
			d["rnn.weight_ih_l0"] = filled(20, 5)
		}, ErrFormat, "has shape [20 × 5], expected [21 × any]", ""},
		{"no inputs", func(d dict) {
			d["rnn.weight_ih_l0"] = filled(21, 0)
		}, ErrFormat, "has shape [21 × 0], expected [21 × any]", ""},
		{"bias length", func(d dict) {
			d["rnn.bias_ih_l0"] = filled(20)
		}, ErrFormat, "has shape [20], expected [21]", ""},
		{"head width", func(d dict) {
			d["head.weight"] = filled(2, 6)
		}, ErrFormat, `tensor "head.weight": has shape [2 × 6], expected [any × 7]`, ""},
		{"head bias", func(d dict) {
			d["head.bias"] = filled(3)
		}, ErrFormat, `tensor "head.bias": has shape [3], expected [2]`, ""},
		{"too few values", func(d dict) {
			d["head.bias"] = &Tensor{Shape: []int{2}, Data: []float64{1}}
		}, ErrFormat, "has shape [2], but 1 values", ""},
		{"NaN", func(d dict) { d["rnn.weight_hh_l0"].Data[3*7+5] = math.NaN() }, ErrFormat,
			`tensor "rnn.weight_hh_l0": value at [3, 5] is NaN`, "diverged"},
		{"infinity", func(d dict) {
			d["head.bias"].Data[1] = math.Inf(1)
		}, ErrFormat, `tensor "head.bias": value at [1] is +Inf`, "diverged"},
	} {
		t.Run(c.name, func(t *testing.T) {
			tensors := readSafetensors(t, "gru_1layer")
			c.change(tensors)
			n, err := FromTorch("m.safetensors", tensors, Spec{})
			if n != nil {
				t.Error("a network was returned with the error")
			}
			checkRefusal(t, err, c.sentinel, "m.safetensors: ", c.hint)
			checkRefusal(t, err, c.sentinel, c.message, c.hint)
		})
	}
}

func TestFilesThatAreRefused(t *testing.T) {
	good := string(readBytes(t, vectors, "gru_1layer.safetensors"))
	zipped := string(zipFile(t, "archive/data.pkl", "\x80\x02}.", "archive/data/0", "1234"))
	// Python documentation, pickletools: PROTO 4, FRAME
	const rawPickle = "\x80\x04\x95\x0b\x00\x00\x00\x00\x00\x00\x00}."
	const savePickle = "save_file(model.state_dict(), \"model.safetensors\")"
	for _, c := range []struct {
		file, content, convention string
		sentinel                  error
		message, hint             string
	}{
		{"m.pt", good, "torch", ErrUnsupported, "m.pt: pickle files can run code when loaded",
			savePickle},
		{"m.PTH", "", "torch", ErrUnsupported, "pickle files can run code when loaded", savePickle},
		{"m.bin", "", "torch", ErrUnsupported, "pickle files can run code when loaded",
			"from safetensors.torch import save_file"},
		{"m.npz", zipped, "torch", ErrUnsupported, "m.npz: member archive/data.pkl: pickle " +
			"files can run code when loaded", savePickle},
		{"m.safetensors", zipped, "torch", ErrUnsupported, "pickle files can run code when loaded",
			savePickle},
		{"m.safetensors", rawPickle, "torch", ErrUnsupported,
			"pickle files can run code when loaded", savePickle},
		{"m.npz", rawPickle, "torch", ErrUnsupported, "pickle files can run code when loaded",
			savePickle},
		{"m.npz", "PK\x03\x04", "torch", ErrFormat, "starts like a zip archive", ""},
		{"m.npz", good, "torch", ErrFormat, "cannot be read as a zip archive", "copied completely"},
		{"m.onnx", "\x08\x07", "", ErrFormat, "holds no graph", "is this an ONNX file"},
		{"m.onnx", "\x08\x07", "torch", ErrUnsupported, "says its layers itself",
			"remove convention"},
		{"m.weights.h5", "", "keras", ErrUnsupported,
			".h5 files are not read: they are HDF5 inside",
			`numpy.savez("model.npz", *model.get_weights())`},
		{"m.keras", "", "", ErrUnsupported, ".keras files are not read", `convention = "keras"`},
		{"m.mat", "", "torch", ErrUnsupported, `unknown extension ".mat", read are .onnx, ` +
			`.safetensors and .npz`, ".onnx"},
		{"m", "", "torch", ErrUnsupported, `unknown extension ""`, ".safetensors"},
		{"m.safetensors", good, "keras", ErrUnsupported, `holds 6 arrays, but none is called ` +
			`"arr_0"`, `convention = "torch" in [model] reads them`},
		{"m.safetensors", good, "", ErrUnsupported, "does not say its convention",
			`convention = "torch"`},
		{"m.safetensors", good, "Torch", ErrUnsupported, `unknown convention "Torch"`,
			`convention = "torch"`},
	} {
		path := filepath.Join(t.TempDir(), c.file)
		if err := os.WriteFile(path, []byte(c.content), 0o600); err != nil {
			t.Fatal(err)
		}
		_, err := ReadFile(path, Spec{Convention: c.convention})
		checkRefusal(t, err, c.sentinel, c.message, c.hint)
	}
	if _, err := ReadFile(filepath.Join(vectors, "absent.npz"),
		Spec{Convention: "torch"}); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("absent file: got %v", err)
	}
	_, err := ReadFile(vectors, Spec{Convention: "torch"})
	checkRefusal(t, err, ErrFormat, "is not a regular file", "")
}

func TestSafetensorsLengthIsNoPickle(t *testing.T) {
	// A header of 0x0280 bytes starts the file with 80 02, like a pickle of protocol 2.
	header := `{"a":{"dtype":"F32","shape":[0],"data_offsets":[0,0]}}`
	header += strings.Repeat(" ", 0x0280-len(header))
	file := safetensorsFile(header, nil)
	if file[0] != 0x80 || file[1] != 0x02 {
		t.Fatalf("file starts % x", file[:2])
	}
	if _, err := ReadSafetensors(bytes.NewReader(file), int64(len(file)), "m"); err != nil {
		t.Error(err)
	}
}
