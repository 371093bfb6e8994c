package model

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// ReadFile reads the network of a file, see [ImportFile]; a normalisation in the file is in its weights.
func ReadFile(path string, spec Spec) (*Network, error) {
	i, err := ImportFile(path, spec)
	if err != nil {
		return nil, err
	}
	return i.Folded(), nil
}

// ImportFile reads a network and what its file says beyond it, by the extension: .onnx, .safetensors or .npz. An ONNX graph says
// everything itself, and spec must be empty. The other two hold tensors alone and do not say which convention of names, gate order
// and layout they follow, so spec.Convention must: "torch". For what else a spec may have to say see [FromTorch].
//
// Errors: the operating system's, wrapped, if the file cannot be opened; else [*FormatError] or [*UnsupportedError].
func ImportFile(path string, spec Spec) (*Import, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("cannot read the model: %w", err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, fmt.Errorf("cannot read the model: %w", err)
	}
	at := place{file: path}
	if !info.Mode().IsRegular() {
		return nil, at.broken("", "is not a regular file")
	}
	extension := strings.ToLower(filepath.Ext(path))
	if slices.Contains(pickleExtensions, extension) {
		return nil, at.unsupported(pickleHint, pickleMessage)
	}
	read := ReadSafetensors
	switch extension {
	case ".safetensors":
	case ".npz":
		read = ReadNPZ
	case ".onnx":
		if spec.Convention != "" || len(spec.Layers) > 0 {
			return nil, at.unsupported("remove convention and [[model.layer]]", "an ONNX file says its layers itself, but the job says them too")
		}
		return ReadONNX(f, info.Size(), path)
	default:
		return nil, at.unsupported("save the network as .onnx, or its state dict as .safetensors or .npz", "unknown extension %q, read are .onnx, .safetensors and .npz", extension)
	}
	if err := checkConvention(spec.Convention, at); err != nil {
		return nil, err
	}
	tensors, err := read(f, info.Size(), path)
	if err != nil {
		return nil, err
	}
	n, err := FromTorch(path, tensors, spec)
	if err != nil {
		return nil, err
	}
	return &Import{Network: n}, nil
}

func checkConvention(convention string, at place) error {
	const hint = `save a torch state dict and set convention = "torch"`
	switch convention {
	case "torch":
		return nil
	case "keras":
		return at.unsupported(hint, `convention "keras" is not read yet`)
	case "":
		return at.unsupported(hint, "the file does not say its convention and none is given")
	}
	return at.unsupported(hint, "unknown convention %q", convention)
}
