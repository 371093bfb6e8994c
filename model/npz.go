package model

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"
)

// ReadNPZ reads all arrays of an .npz archive of the given size in bytes: a zip file of .npy
// members, stored or deflated. name is used in errors only. The keys of the result are the member
// names without ".npy".
//
// It reads arrays of floats of 16, 32 or 64 bits, in either byte order, row-major or column-major.
// Damage gives [ErrFormat]. Other types, pickled objects, and arrays that take more than 256
// MiB or [MaxUnpacked] together give [ErrUnsupported]. Source of the layout: NumPy reference,
// numpy.lib.format.
func ReadNPZ(r io.ReaderAt, size int64, name string) (map[string]*Tensor, error) {
	file := place{file: name}
	if err := refusePickle(r, size, file); err != nil {
		return nil, err
	}
	archive, err := zip.NewReader(r, size)
	if err != nil {
		return nil, file.broken("is this an .npz file, and was it copied completely?",
			"cannot be read as a zip archive: %w", err)
	}
	tensors := make(map[string]*Tensor, len(archive.File))
	left := uint64(min(maxTensorBytes, MaxUnpacked(size)))
	for _, member := range archive.File {
		at := place{name, fmt.Sprintf("member %q", member.Name)}
		key, isArray := strings.CutSuffix(member.Name, ".npy")
		if !isArray {
			return nil, at.unsupported("write the file with numpy.savez and arrays only",
				"is not an .npy array")
		}
		if tensors[key] != nil {
			return nil, at.broken("", "stands twice in the archive")
		}
		if member.UncompressedSize64 > left {
			return nil, at.unsupported("", "the arrays take more than %d bytes together",
				min(maxTensorBytes, MaxUnpacked(size)))
		}
		left -= member.UncompressedSize64
		raw, err := readMember(member, at)
		if err != nil {
			return nil, err
		}
		if tensors[key], err = parseNPY(raw, place{name, fmt.Sprintf("array %q", key)}); err !=
			nil {
			return nil, err
		}
	}
	return tensors, nil
}

// ReadNPY reads one .npy file; name is used in errors only. Errors are those of [ReadNPZ].
func ReadNPY(raw []byte, name string) (*Tensor, error) {
	if len(raw) > maxTensorBytes {
		return nil, place{file: name}.unsupported("", "the array takes more than %d bytes",
			maxTensorBytes)
	}
	return parseNPY(raw, place{file: name})
}

// readMember unpacks a member. Memory grows with the bytes that are there, not with the size that
// the archive states.
func readMember(member *zip.File, at place) ([]byte, error) {
	content, err := member.Open()
	if errors.Is(err, zip.ErrAlgorithm) {
		return nil, at.unsupported("write the file with numpy.savez",
			"is packed by a method other than deflate")
	}
	if err != nil {
		return nil, at.broken("", "cannot be unpacked: %w", err)
	}
	defer content.Close()
	var raw bytes.Buffer
	// The zip reader checks length and checksum at the end of the member.
	if _, err := io.Copy(&raw, content); err != nil {
		return nil, at.broken("was the file copied completely?", "cannot be unpacked: %w", err)
	}
	return raw.Bytes(), nil
}

// parseNPY decodes one .npy file.
func parseNPY(raw []byte, at place) (*Tensor, error) {
	header, data, err := parseNPYHeader(raw, at)
	if err != nil {
		return nil, err
	}
	if err := header.setType(at); err != nil {
		return nil, err
	}
	count, ok := elements(header.shape)
	if !ok || count > len(data) || count*header.float.bytes != len(data) {
		return nil, at.broken("", "shape %s of %q does not fit the %d bytes that follow the header",
			formatShape(header.shape), header.descr, len(data))
	}
	values := header.float.values(header.order, data)
	if header.fortran {
		values = toRowMajor(values, header.shape)
	}
	return &Tensor{Shape: header.shape, Data: values}, nil
}

// toRowMajor reorders column-major values, whose first index changes fastest.
func toRowMajor(values []float64, shape []int) []float64 {
	out := make([]float64, len(values))
	index := make([]int, len(shape))
	for i := range out {
		from, stride := 0, 1
		for axis, k := range index {
			from += k * stride
			stride *= shape[axis]
		}
		out[i] = values[from]
		for axis := len(shape) - 1; axis >= 0; axis-- {
			if index[axis]++; index[axis] < shape[axis] {
				break
			}
			index[axis] = 0
		}
	}
	return out
}
