package model

import (
	"cmp"
	"encoding/binary"
	"io"
	"slices"
)

// maxSafetensorsHeader is the most bytes of a header. It is the limit of the format's own library
// (README of the safetensors repository, part "Format").
const maxSafetensorsHeader = 100_000_000

// safetensorsFloats are the types that weights may have. The format has other types, which this
// reader refuses.
var safetensorsFloats = map[string]floatType{"F16": float16Type, "BF16": bfloat16Type,
	"F32": float32Type, "F64": float64Type}

// floatHint is the advice for tensors of another type.
const floatHint = "only F16, BF16, F32 and F64 are read; save the float state dict without " +
	"quantization and without counters"

// safetensorsEntry is the entry of one tensor in the header.
type safetensorsEntry struct {
	name       string
	dtype      string
	shape      []int
	begin, end int64 // bytes, counted from the end of the header
}

// ReadSafetensors reads all tensors of a safetensors file of the given size in bytes; name is used
// in errors only.
//
// A header with a repeated or unknown key, and data with an overlap, a gap or a rest, give a
// [ErrFormat]. Tensors that are not float, and more than 256 MiB of data, give
// [ErrUnsupported]. Source of the layout: README of the safetensors repository, part "Format".
// The reader is our own because the only Go module for the format has no tagged release and brings
// a pickle reader.
func ReadSafetensors(r io.ReaderAt, size int64, name string) (map[string]*Tensor, error) {
	file := place{file: name}
	if err := refusePickle(r, size, file); err != nil {
		return nil, err
	}
	const hint = "is this a safetensors file, and was it copied completely?"
	var length [8]byte
	if size < int64(len(length)) {
		return nil, file.broken(hint, "has %d bytes, too few for a safetensors file", size)
	}
	if err := file.readAt(r, length[:], 0); err != nil {
		return nil, err
	}
	headerLength := binary.LittleEndian.Uint64(length[:])
	if headerLength > maxSafetensorsHeader {
		return nil, file.broken(hint, "states a header of %d bytes, the format allows %d",
			headerLength, maxSafetensorsHeader)
	}
	dataStart := int64(len(length)) + int64(headerLength)
	if dataStart > size {
		return nil, file.broken(hint, "states a header of %d bytes, but only %d follow",
			headerLength, size-int64(len(length)))
	}
	header := make([]byte, headerLength)
	if err := file.readAt(r, header, int64(len(length))); err != nil {
		return nil, err
	}
	entries, err := parseSafetensorsHeader(header, file)
	if err != nil {
		return nil, err
	}
	if err := checkSafetensorsLayout(entries, size-dataStart, file); err != nil {
		return nil, err
	}
	tensors := make(map[string]*Tensor, len(entries))
	for _, e := range entries {
		raw := make([]byte, e.end-e.begin)
		if err := file.tensor(e.name).readAt(r, raw, dataStart+e.begin); err != nil {
			return nil, err
		}
		tensors[e.name] = &Tensor{Shape: e.shape,
			Data: safetensorsFloats[e.dtype].values(binary.LittleEndian, raw)}
	}
	return tensors, nil
}

// checkSafetensorsLayout sorts the entries by position and checks types, sizes, and that they fill
// the data without overlap or gap.
func checkSafetensorsLayout(entries []safetensorsEntry, dataBytes int64, file place) error {
	slices.SortStableFunc(entries, func(a, b safetensorsEntry) int {
		// An empty tensor begins where the next one begins.
		return cmp.Or(cmp.Compare(a.begin, b.begin), cmp.Compare(a.end, b.end))
	})
	filled := int64(0)
	for _, e := range entries {
		at := file.tensor(e.name)
		float, ok := safetensorsFloats[e.dtype]
		if !ok {
			return at.unsupported(floatHint, "has type %q", e.dtype)
		}
		if e.begin < 0 || e.end < e.begin || e.end > dataBytes {
			return at.broken("", "bytes %d to %d are outside the data of %d bytes", e.begin, e.end,
				dataBytes)
		}
		count, ok := elements(e.shape)
		if !ok || int64(count) > dataBytes {
			return at.broken("", "shape %s is negative or larger than the file",
				formatShape(e.shape))
		}
		if want := int64(count) * int64(float.bytes); e.end-e.begin != want {
			return at.broken("", "shape %s of %s takes %d bytes, but %d are stated",
				formatShape(e.shape), e.dtype, want, e.end-e.begin)
		}
		if e.begin < filled {
			return at.broken("", "starts at byte %d, inside the tensor before it", e.begin)
		}
		if e.begin > filled {
			return at.broken("", "starts at byte %d, leaving a gap after byte %d", e.begin, filled)
		}
		filled = e.end
	}
	if filled != dataBytes {
		return file.broken("", "%d bytes follow the last tensor", dataBytes-filled)
	}
	if dataBytes > maxTensorBytes {
		return file.unsupported("", "holds %d bytes of tensors, at most %d are read", dataBytes,
			maxTensorBytes)
	}
	return nil
}
