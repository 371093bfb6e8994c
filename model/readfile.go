package model

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// ReadFile reads a network by the extension of its file: .safetensors or .npz, both with the tensor names of a torch state dict.
// Such files do not say which convention of names, gate order and layout they follow, so spec.Convention must: "torch". For what
// else a spec may have to say see [FromTorch].
//
// Errors: the operating system's, wrapped, if the file cannot be opened; else [*FormatError] or [*UnsupportedError].
func ReadFile(path string, spec Spec) (*Network, error) {
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
		return nil, at.unsupported("save the state dict as .safetensors or .npz", ".onnx is not read yet")
	default:
		return nil, at.unsupported("save the state dict as .safetensors or .npz", "unknown extension %q, read are .safetensors and .npz", extension)
	}
	if err := checkConvention(spec.Convention, at); err != nil {
		return nil, err
	}
	tensors, err := read(f, info.Size(), path)
	if err != nil {
		return nil, err
	}
	return FromTorch(path, tensors, spec)
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
