package model

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"math"
	"slices"
	"unicode/utf8"
)

// WriteSafetensors writes tensors, in the order of their names, with metadata, which may be nil.
// The type of a tensor is F32 if that holds all its values exactly, else F64, so that reading gives
// back the same values. The same arguments give the same bytes. WriteSafetensors returns an error
// if a name is not UTF-8, which the format's JSON would change, if a shape does not fit its data,
// or if w returns one.
func WriteSafetensors(w io.Writer, tensors map[string]*Tensor, metadata map[string]string) error {
	var header, data bytes.Buffer
	header.WriteByte('{')
	if len(metadata) > 0 {
		fmt.Fprintf(&header, `"__metadata__":%s`, mustJSON(metadata))
	}
	for _, name := range slices.Sorted(maps.Keys(tensors)) {
		t := tensors[name]
		if name == "__metadata__" {
			return fmt.Errorf("a tensor cannot be called %q", name)
		}
		if !utf8.ValidString(name) {
			return fmt.Errorf("a tensor cannot be called %q: names are UTF-8", name)
		}
		if count, ok := elements(t.Shape); !ok || count != len(t.Data) {
			return fmt.Errorf("tensor %q: shape %s does not fit %d values", name,
				formatShape(t.Shape), len(t.Data))
		}
		begin := data.Len()
		dtype := appendValues(&data, t.Data)
		if header.Len() > 1 {
			header.WriteByte(',')
		}
		fmt.Fprintf(&header, `%s:{"dtype":"%s","shape":%s,"data_offsets":[%d,%d]}`,
			mustJSON(name), dtype, mustJSON(append([]int{}, t.Shape...)), begin, data.Len())
	}
	header.WriteByte('}')
	for header.Len()%8 != 0 { // the data start at a multiple of 8 bytes
		header.WriteByte(' ')
	}
	file := binary.LittleEndian.AppendUint64(nil, uint64(header.Len()))
	file = append(file, header.Bytes()...)
	_, err := w.Write(append(file, data.Bytes()...))
	return err
}

// appendValues stores the values in the narrowest type that holds them exactly, and returns its
// name.
func appendValues(data *bytes.Buffer, values []float64) (dtype string) {
	wide := slices.ContainsFunc(values, func(v float64) bool { return float64(float32(v)) != v })
	for _, v := range values {
		if wide {
			data.Write(binary.LittleEndian.AppendUint64(nil, math.Float64bits(v)))
		} else {
			data.Write(binary.LittleEndian.AppendUint32(nil, math.Float32bits(float32(v))))
		}
	}
	if wide {
		return "F64"
	}
	return "F32"
}

// mustJSON encodes text, lists of integers and maps of text, none of which can give an error.
func mustJSON(v any) []byte {
	text, err := json.Marshal(v)
	if err != nil {
		panic(err)
	}
	return text
}
