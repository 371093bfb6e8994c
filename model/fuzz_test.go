package model

import (
	"bytes"
	"errors"
	"io"
	"reflect"
	"testing"
)

// checkReader feeds hostile bytes to a reader: it must not panic, must return one of the two error types, and what it accepts must be whole.
func checkReader(t *testing.T, read func(io.ReaderAt, int64, string) (map[string]*Tensor, error), file []byte) {
	tensors, err := read(bytes.NewReader(file), int64(len(file)), "fuzz")
	if err != nil {
		if !errors.Is(err, ErrFormat) && !errors.Is(err, ErrUnsupported) {
			t.Fatalf("untyped error %v", err)
		}
		return
	}
	for name, tensor := range tensors {
		if count, ok := elements(tensor.Shape); !ok || count != len(tensor.Data) {
			t.Fatalf("tensor %q: shape %v with %d values", name, tensor.Shape, len(tensor.Data))
		}
	}
	if n, err := FromTorch("fuzz", tensors, Spec{}); err == nil {
		checkNetwork(t, n)
	}
	if n, err := FromTorch("fuzz", tensors, vectorSpec("rnn_tanh")); err == nil {
		checkNetwork(t, n)
	}
}

func checkNetwork(t *testing.T, n *Network) {
	if err := n.Validate(); err != nil {
		t.Fatalf("FromTorch accepted what Validate refuses: %v", err)
	}
	if back, err := FromTorch("back", ToTorch(n), ToTorchSpec(n)); err != nil || !reflect.DeepEqual(back, n) {
		t.Fatalf("%v changed on the way through a state dict, error %v", n, err)
	}
}

func FuzzReadSafetensors(f *testing.F) {
	for _, name := range []string{"gru_1layer", "gru_1layer_nobias", "lstm_2layer", "rnn_tanh"} {
		f.Add(readBytes(f, vectors, name+".safetensors"))
	}
	f.Add(safetensorsFile(`{"__metadata__":{"a":"b"},"h":{"dtype":"BF16","shape":[],"data_offsets":[0,2]}}  `, []byte{0x80, 0x3f}))
	f.Fuzz(func(t *testing.T, file []byte) { checkReader(t, ReadSafetensors, file) })
}

func FuzzReadNPZ(f *testing.F) {
	for _, name := range []string{"gru_1layer", "gru_1layer_nobias"} {
		f.Add(readBytes(f, vectors, name+".npz"))
	}
	f.Add(readBytes(f, cityWeather, "model.npz"))
	f.Fuzz(func(t *testing.T, file []byte) { checkReader(t, ReadNPZ, file) })
}

func FuzzParseNPY(f *testing.F) {
	// Without the checksums of a zip archive around it, so that changed bytes get through to the parser.
	f.Add(npyFile(1, "{'descr': '<f4', 'fortran_order': False, 'shape': (2, 3), }", sixFloats("<f4")))
	f.Add(npyFile(3, `{"shape":(1,2,3),"fortran_order":True,"descr":">f8"}`, sixFloats(">f8")))
	f.Add(npyFile(2, "{'descr': '<f2', 'fortran_order': False, 'shape': (), }", []byte{0, 0x3c}))
	f.Fuzz(func(t *testing.T, file []byte) {
		tensor, err := parseNPY(file, place{file: "fuzz"})
		if err == nil {
			if count, ok := elements(tensor.Shape); !ok || count != len(tensor.Data) {
				t.Fatalf("shape %v with %d values", tensor.Shape, len(tensor.Data))
			}
		}
	})
}
