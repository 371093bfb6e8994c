package model

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"kerf/fault"
	"kerf/whole"
)

// ReadFile reads the network of a file as [ImportFile] does, and folds a normalisation in the file
// into the weights.
func ReadFile(path string, spec Spec) (*Network, error) {
	i, err := ImportFile(path, spec)
	if err != nil {
		return nil, err
	}
	return i.Folded(), nil
}

// ImportFile reads a network and the other things that its file says. The extension says the
// format: .onnx, .safetensors or .npz. An ONNX graph is complete, and spec must be empty. The other
// two hold arrays alone, so spec.Convention must say which names, gate order and layout they
// follow: "torch" for a state dict, see [FromTorch], or in an .npz file "keras" for the result of
// get_weights(), stored by numpy.savez without names, see [FromKeras].
//
// If the file cannot be opened, the error of the operating system is wrapped; all other errors are
// of kind [ErrFormat] or [ErrUnsupported].
func ImportFile(path string, spec Spec) (*Import, error) {
	at := place{file: path}
	f, size, extension, err := openModel(at)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return importOpen(f, size, extension, at, spec)
}

// openModel opens a model file, and returns its size in bytes and its extension in small letters.
func openModel(at place) (f *os.File, size int64, extension string, err error) {
	f, size, err = whole.OpenRegular(at.file)
	if errors.Is(err, whole.ErrNotRegular) {
		return nil, 0, "", at.broken("", "is not a regular file").From(err)
	}
	if err != nil {
		return nil, 0, "", fmt.Errorf("cannot read the model: %w", err)
	}
	return f, size, strings.ToLower(filepath.Ext(at.file)), nil
}

// importOpen does what [ImportFile] does with an open file.
func importOpen(f *os.File, size int64, extension string, at place, spec Spec) (*Import, error) {
	if slices.Contains(pickleExtensions, extension) {
		return nil, at.unsupported(pickleHint, pickleMessage)
	}
	switch extension {
	case ".onnx":
		if spec.Convention != "" || len(spec.Layers) > 0 {
			return nil, at.unsupported("remove convention and [[model.layer]]",
				"an ONNX file says its layers itself, but the job says them too")
		}
		return ReadONNX(f, size, at.file)
	case ".safetensors", ".npz":
		n, err := readArrays(f, size, extension, at, spec)
		if err != nil {
			return nil, err
		}
		return &Import{Network: n}, nil
	case ".keras", ".h5", ".hdf5":
		return nil, at.unsupported(hdf5Hint, "%s files are not read: they are HDF5 inside, for "+
			"which there is no reader that needs no C library", extension)
	}
	return nil, at.unsupported("save the network as .onnx, or its arrays as .safetensors or .npz",
		"unknown extension %q, read are .onnx, .safetensors and .npz", extension)
}

// tensorReaders are the readers of files of named arrays, by extension.
var tensorReaders = map[string]func(r io.ReaderAt, size int64,
	name string) (map[string]*Tensor, error){".safetensors": ReadSafetensors, ".npz": ReadNPZ}

// hdf5Hint says how to save a model of which only an HDF5 file is at hand.
const hdf5Hint = `save the arrays instead, which a job reads with convention = "keras":
    numpy.savez("model.npz", *model.get_weights())`

// readArrays reads a file that holds named arrays and nothing else.
func readArrays(r io.ReaderAt, size int64, extension string, at place,
	spec Spec) (*Network, error) {
	const hint = `set convention = "torch" for a state dict, or "keras" for an .npz file of ` +
		`get_weights()`
	switch spec.Convention {
	case "torch", "keras":
	case "":
		return nil, at.unsupported(hint, "the file does not say its convention and none is given")
	default:
		return nil, at.unsupported(fault.DidYouMeanOr(spec.Convention, []string{"torch", "keras"},
			hint), "unknown convention %q", spec.Convention)
	}
	tensors, err := tensorReaders[extension](r, size, at.file)
	if err != nil {
		return nil, err
	}
	return fromArrays(at, tensors, spec)
}

// fromArrays builds the network of named arrays by the convention of the spec.
func fromArrays(at place, tensors map[string]*Tensor, spec Spec) (*Network, error) {
	if spec.Convention == "torch" {
		return FromTorch(at.file, tensors, spec)
	}
	arrays := make([]*Tensor, len(tensors))
	for i := range arrays {
		name := fmt.Sprintf("arr_%d", i)
		if arrays[i] = tensors[name]; arrays[i] == nil {
			hint := kerasHint
			for tensor := range tensors {
				if strings.HasSuffix(tensor, "weight_ih_l0") {
					hint = `these are torch's names: convention = "torch" in [model] reads them`
				}
			}
			return nil, at.unsupported(hint, "holds %d arrays, but none is called %q as "+
				"numpy.savez names them without names", len(tensors), name)
		}
	}
	return FromKeras(at.file, arrays, spec)
}
