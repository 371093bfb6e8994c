package model

import (
	"bytes"
	"maps"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// vectors is the folder of numbers that other libraries computed; see the README there.
const vectors = "../testdata/vectors"

func readBytes(t testing.TB, elements ...string) []byte {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join(elements...))
	if err != nil {
		t.Fatal(err)
	}
	return raw
}

func readNPZ(t testing.TB, name string) map[string]*Tensor {
	t.Helper()
	raw := readBytes(t, vectors, name+".npz")
	tensors, err := ReadNPZ(bytes.NewReader(raw), int64(len(raw)), name)
	if err != nil {
		t.Fatal(err)
	}
	return tensors
}

func readSafetensors(t testing.TB, name string) map[string]*Tensor {
	t.Helper()
	raw := readBytes(t, vectors, name+".safetensors")
	tensors, err := ReadSafetensors(bytes.NewReader(raw), int64(len(raw)), name)
	if err != nil {
		t.Fatal(err)
	}
	return tensors
}

// weightsOf returns the state dict of a vector file, without the inputs and expected values.
func weightsOf(tensors map[string]*Tensor) map[string]*Tensor {
	weights := maps.Clone(tensors)
	maps.DeleteFunc(weights, func(name string, _ *Tensor) bool {
		return !strings.HasPrefix(name, "rnn.") && !strings.HasPrefix(name, "dense.") &&
			!strings.HasPrefix(name, "head.")
	})
	return weights
}

// vectorSpec returns the layers that the state dict of a vector file leaves open, from the README
// there.
func vectorSpec(name string) Spec {
	rnn, head := LayerSpec{Name: "rnn"}, LayerSpec{Name: "head"}
	switch name {
	case "gru_1layer_dense":
		return Spec{Layers: []LayerSpec{rnn, {Name: "dense", Activation: "relu"}, head}}
	case "rnn_tanh":
		rnn.Cell = "elman-tanh"
	case "rnn_relu":
		rnn.Cell = "elman-relu"
	default:
		return Spec{}
	}
	return Spec{Layers: []LayerSpec{rnn, head}}
}

func fromTorch(t testing.TB, tensors map[string]*Tensor, spec Spec) *Network {
	t.Helper()
	n, err := FromTorch("vectors", weightsOf(tensors), spec)
	if err != nil {
		t.Fatal(err)
	}
	return n
}
