package model

import (
	"bytes"
	"errors"
	"io"
	"maps"
	"reflect"
	"slices"
	"testing"

	"kerf/testdata/hardinput"
)

// Limits of the memory that one file may allocate. Header and values of safetensors are read once
// and widened to float64 (F16: four times). An archive may unpack to 200 times its size and 16 MiB,
// of which the unpacked bytes, the values and their transpose take up to 16 times. A graph may make
// one value per byte and 2^20 more, each several times over while it grows, and 100,000 messages.
var (
	safetensorsLimits = hardinput.Limits{PerByte: 64, Spare: 1 << 20}
	npzLimits         = hardinput.Limits{PerByte: 16 * unpackFactor, Spare: 16 * unpackSpare}
	npyLimits         = hardinput.Limits{PerByte: 32, Spare: 1 << 20}
	onnxLimits        = hardinput.Limits{PerByte: 512, Spare: 96 << 20}
)

// checkReader reads hostile bytes. The reader must not panic, and must return one of the two error
// types or whole tensors that stay the same when they are written and read again.
func checkReader(t *testing.T, limits hardinput.Limits,
	read func(io.ReaderAt, int64, string) (map[string]*Tensor, error), file []byte) {
	var tensors map[string]*Tensor
	var err error
	limits.Check(t, len(file), "fuzz", func() error {
		tensors, err = read(bytes.NewReader(file), int64(len(file)), "fuzz")
		return err
	})
	if err != nil {
		checkErrorType(t, err)
		return
	}
	for name, tensor := range tensors {
		if count, ok := elements(tensor.Shape); !ok || count != len(tensor.Data) {
			t.Fatalf("tensor %q: shape %v with %d values", name, tensor.Shape, len(tensor.Data))
		}
	}
	checkWriters(t, tensors)
	for _, spec := range []Spec{{}, vectorSpec("rnn_tanh")} {
		n, err := FromTorch("fuzz", tensors, spec)
		if err != nil {
			checkErrorType(t, err)
			continue
		}
		checkNetwork(t, n)
	}
	var arrays []*Tensor
	for _, name := range slices.Sorted(maps.Keys(tensors)) {
		arrays = append(arrays, tensors[name])
	}
	if n, err := FromKeras("fuzz", arrays, Spec{}); err == nil {
		checkNetwork(t, n)
	} else {
		checkErrorType(t, err)
	}
}

func checkErrorType(t *testing.T, err error) {
	if !errors.Is(err, ErrFormat) && !errors.Is(err, ErrUnsupported) {
		t.Fatalf("untyped error %v", err)
	}
}

// checkWriters writes tensors in both formats and reads them again; every bit must be the same.
func checkWriters(t *testing.T, tensors map[string]*Tensor) {
	for format, c := range map[string]struct {
		write func(io.Writer, map[string]*Tensor) error
		read  func(io.ReaderAt, int64, string) (map[string]*Tensor, error)
	}{
		"safetensors": {func(w io.Writer, all map[string]*Tensor) error {
			return WriteSafetensors(w, all, nil)
		}, ReadSafetensors},
		"npz": {WriteNPZ, ReadNPZ},
	} {
		var first, second bytes.Buffer
		if err := c.write(&first, tensors); err != nil {
			continue // a name or value that the format does not take
		}
		back, err := c.read(bytes.NewReader(first.Bytes()), int64(first.Len()), "back")
		if err != nil {
			t.Fatalf("%s: what was written is refused: %v", format, err)
		}
		if err := c.write(&second, back); err != nil ||
			!bytes.Equal(first.Bytes(), second.Bytes()) {
			t.Fatalf("%s: tensors changed on the way through a file, error %v", format, err)
		}
	}
}

func checkNetwork(t *testing.T, n *Network) {
	if err := n.Validate(); err != nil {
		t.Fatalf("a reader accepted what Validate refuses: %v", err)
	}
	if back, err := FromTorch("back", ToTorch(n), ToTorchSpec(n)); err != nil ||
		!reflect.DeepEqual(back, n) {
		t.Fatalf("%v changed on the way through a state dict, error %v", n, err)
	}
}

func FuzzReadSafetensors(f *testing.F) {
	for _, name := range []string{"gru_1layer", "gru_1layer_nobias", "lstm_2layer", "rnn_tanh"} {
		f.Add(readBytes(f, vectors, name+".safetensors"))
	}
	f.Add(safetensorsFile(
		`{"__metadata__":{"a":"b"},"h":{"dtype":"BF16","shape":[],"data_offsets":[0,2]}}  `,
		[]byte{0x80, 0x3f}))
	f.Fuzz(func(t *testing.T, file []byte) {
		checkReader(t, safetensorsLimits, ReadSafetensors, file)
	})
}

func FuzzReadNPZ(f *testing.F) {
	for _, name := range []string{"gru_1layer", "gru_1layer_nobias", "keras_lstm"} {
		f.Add(readBytes(f, vectors, name+".npz"))
	}
	f.Add(readBytes(f, cityWeather, "model.npz"))
	f.Fuzz(func(t *testing.T, file []byte) { checkReader(t, npzLimits, ReadNPZ, file) })
}

func FuzzParseNPY(f *testing.F) {
	// There is no zip archive around the array, whose checksum would keep changed bytes from the
	// parser.
	f.Add(npyFile(1, "{'descr': '<f4', 'fortran_order': False, 'shape': (2, 3), }",
		sixFloats("<f4")))
	f.Add(npyFile(3, `{"shape":(1,2,3),"fortran_order":True,"descr":">f8"}`, sixFloats(">f8")))
	f.Add(npyFile(2, "{'descr': '<f2', 'fortran_order': False, 'shape': (), }", []byte{0, 0x3c}))
	f.Fuzz(func(t *testing.T, file []byte) {
		npyLimits.Check(t, len(file), "fuzz", func() error {
			tensor, err := ReadNPY(file, "fuzz")
			if err != nil {
				checkErrorType(t, err)
				return err
			}
			if count, ok := elements(tensor.Shape); !ok || count != len(tensor.Data) {
				t.Fatalf("shape %v with %d values", tensor.Shape, len(tensor.Data))
			}
			return nil
		})
	})
}

func FuzzNPYColumn(f *testing.F) {
	f.Add(npyFile(1, "{'descr': '<f4', 'fortran_order': False, 'shape': (6,), }", sixFloats("<f4")))
	f.Add(npyFile(1, "{'descr': '>U2', 'fortran_order': False, 'shape': (2,), }",
		[]byte("\x00\x00\x00a\x00\x00\x00\x00\x00\x11\x00\x00\x00\x00\xd8\x00")))
	f.Add(npyFile(2, "{'descr': '|S3', 'fortran_order': False, 'shape': (1,), }",
		[]byte("a\xff\x00")))
	f.Add(npyFile(3, "{'descr': '<i8', 'fortran_order': True, 'shape': (1,), }", make([]byte, 8)))
	f.Fuzz(func(t *testing.T, file []byte) {
		npyLimits.Check(t, len(file), "fuzz", func() error {
			c, err := OpenNPYColumn(bytes.NewReader(file), "fuzz", "a")
			for err == nil {
				if err = c.Next(); err == nil {
					c.Text()
				}
			}
			if err == io.EOF {
				return nil
			}
			checkErrorType(t, err)
			return err
		})
	})
}
