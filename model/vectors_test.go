package model

import (
	"bytes"
	"maps"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// vectors are numbers that torch 1.13 computed; see the README beside them.
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

// weightsOf drops the arrays of inputs and expected values that a vector file holds beside the state dict.
func weightsOf(tensors map[string]*Tensor) map[string]*Tensor {
	weights := maps.Clone(tensors)
	maps.DeleteFunc(weights, func(name string, _ *Tensor) bool {
		return !strings.HasPrefix(name, "rnn.") && !strings.HasPrefix(name, "dense.") && !strings.HasPrefix(name, "head.")
	})
	return weights
}

func fromTorch(t testing.TB, tensors map[string]*Tensor) *Network {
	t.Helper()
	n, err := FromTorch("vectors", weightsOf(tensors))
	if err != nil {
		t.Fatal(err)
	}
	return n
}
