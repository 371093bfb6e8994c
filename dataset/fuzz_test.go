package dataset

import (
	"bytes"
	"compress/gzip"
	"errors"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"kerf/model"
	"kerf/testdata/hardinput"
)

// Limits of the memory that one file may allocate. A step of a CSV file has ten bytes at least, and
// a sequence of one such step takes some hundred bytes with its name and scenario. Packed files may
// unpack to 200 times their size and 16 MiB; every unpacked byte can become a value of eight bytes.
var (
	csvLimits     = hardinput.Limits{PerByte: 100, Spare: 1 << 20}
	gzipLimits    = hardinput.Limits{PerByte: 100 * 200, Spare: 100 * 16 << 20}
	npzLimits     = hardinput.Limits{PerByte: 40 * 200, Spare: 40 * 16 << 20}
	parquetLimits = hardinput.Limits{PerByte: 40 * 200, Spare: 40 * 16 << 20}
)

// checkTyped checks that an error is of a known type.
func checkTyped(t *testing.T, err error) {
	t.Helper()
	if !errors.Is(err, ErrInput) && !errors.Is(err, model.ErrFormat) &&
		!errors.Is(err, model.ErrUnsupported) {
		t.Fatalf("untyped error %v", err)
	}
}

// checkRecording reads hostile bytes. The reader must not panic, and must return whole sequences or
// an error of a known type that names the file.
func checkRecording(t *testing.T, limits hardinput.Limits, raw []byte, file string,
	features []string, reference Reference) {
	var rec *Recordings
	var err error
	limits.Check(t, len(raw), file, func() error {
		rec, err = ReadRecording(bytes.NewReader(raw), int64(len(raw)), file, features, reference)
		return err
	})
	if err != nil {
		checkTyped(t, err)
		return
	}
	if rec.Steps() == 0 {
		t.Fatal("no step and no error")
	}
	names := map[string]bool{}
	for _, s := range rec.Sequences {
		if s.Steps == 0 || len(s.X) != s.Steps*len(features) ||
			len(s.Y) != s.Steps*len(reference.Outputs) {
			t.Fatalf("sequence %q has %d steps, %d features, %d outputs", s.Name, s.Steps, len(s.X),
				len(s.Y))
		}
		if names[s.Name] || NameFault(s.Name) != "" || NameFault(s.Scenario) != "" ||
			s.Name == "" || s.Scenario == "" {
			t.Fatalf("sequence %q, scenario %q", s.Name, s.Scenario)
		}
		names[s.Name] = true
		for _, v := range slices.Concat(s.X, s.Y) {
			if math.IsNaN(v) || math.Abs(v) > largestNumber {
				t.Fatalf("value %v", v)
			}
		}
	}
}

func FuzzReadCSV(f *testing.F) {
	f.Add([]byte("\ufeffsequence,scenario,t,a,y\r\n0,calm,0,1,2\r\n0,calm,1,\" " +
		"3\",2e3\r\n1,worn,0,1,2"))
	f.Add([]byte("y,a,t,scenario,sequence,note\n1,0x1p-2,0,\"a\nb\",s,\n"))
	f.Add([]byte("\xff\xfes\x00"))
	f.Fuzz(func(t *testing.T, raw []byte) {
		checkRecording(t, csvLimits, raw, "r.csv", []string{"a"}, Reference{Outputs: []string{"y"}})
		checkRecording(t, csvLimits, raw, "r.csv", []string{"a", "t"},
			Reference{Outputs: []string{"calm", "worn"}, Column: "y"})
	})
}

// The text is packed in the test, so that changed bytes get through the checksum.
func FuzzReadGzip(f *testing.F) {
	f.Add([]byte("sequence,scenario,t,a,y\n0,calm,0,1,2\n"), uint8(0))
	f.Add([]byte("sequence,scenario,t,a,y\n0,calm,0,1,2\n"), uint8(20))
	f.Fuzz(func(t *testing.T, text []byte, damaged uint8) {
		var packed bytes.Buffer
		w := gzip.NewWriter(&packed)
		if _, err := w.Write(text); err != nil || w.Close() != nil {
			t.Fatal(err)
		}
		raw := packed.Bytes()
		raw[int(damaged)%len(raw)] ^= damaged // 0: none
		checkRecording(t, gzipLimits, raw, "r.csv.gz", []string{"a"},
			Reference{Outputs: []string{"y"}})
	})
}

func recordedSeed(f *testing.F, file string) []byte {
	raw, err := os.ReadFile(filepath.Join(recordings, file))
	if err != nil {
		f.Fatal(err)
	}
	return raw
}

func FuzzReadNPZ(f *testing.F) {
	f.Add(recordedSeed(f, "selection.npz"))
	f.Fuzz(func(t *testing.T, raw []byte) {
		checkRecording(t, npzLimits, raw, "r.npz", []string{"temp_max"},
			Reference{Outputs: []string{"temp_max_next"}})
	})
}

func FuzzReadParquet(f *testing.F) {
	f.Add(recordedSeed(f, "selection_snappy_v1.parquet"))
	f.Add(recordedSeed(f, "selection_zstd_v2.parquet"))
	f.Fuzz(func(t *testing.T, raw []byte) {
		checkRecording(t, parquetLimits, raw, "r.parquet", []string{"temp_max"},
			Reference{Outputs: []string{"temp_max_next"}})
	})
}

// checkSamples reads hostile bytes as samples of the channels a and b. The reader must not panic,
// and must return whole windows or an error of a known type.
func checkSamples(t *testing.T, limits hardinput.Limits, raw []byte, file string,
	sampling Sampling) {
	var all []*Samples
	var err error
	limits.Check(t, len(raw), file, func() error {
		all, err = ReadSamples(bytes.NewReader(raw), int64(len(raw)), file, []string{"a", "b"},
			sampling)
		return err
	})
	if err != nil {
		checkTyped(t, err)
		return
	}
	if len(all) == 0 {
		t.Fatal("no sample and no error")
	}
	names := map[string]bool{}
	for _, s := range all {
		if s.Sequence == "" || names[s.Sequence] || len(s.T) == 0 || len(s.X) != 2 {
			t.Fatalf("sequence %q has %d steps and %d channels", s.Sequence, len(s.T), len(s.X))
		}
		names[s.Sequence] = true
		for i, t0 := range s.T {
			if i > 0 && !(t0 > s.T[i-1]) {
				t.Fatalf("sequence %q: a window at %v follows one at %v", s.Sequence, t0, s.T[i-1])
			}
		}
		for _, values := range s.X {
			if len(values) != len(s.T)*sampling.Samples {
				t.Fatalf("%d samples for %d steps", len(values), len(s.T))
			}
			for _, v := range values {
				if math.IsNaN(v) || math.Abs(v) > largestNumber {
					t.Fatalf("value %v", v)
				}
			}
		}
	}
}

// twoSamples are windows of two samples, a tenth of a second apart.
var twoSamples = Sampling{Samples: 2, Rate: 10, Period: 1}

func FuzzReadSamples(f *testing.F) {
	f.Add([]byte("sequence,scenario,t,a,b\n0,calm,0,1,2\n0,calm,0.1,3,4\n0,calm,1,5,6\n" +
		"0,calm,1.1,7,8\n1,worn,-5,1,2\n1,worn,-4.9,1,2\n"))
	f.Add([]byte("\ufeffb,a,t,scenario,sequence\r\n1,0x1p-2,1e300,\"a\nb\",s\r\n1,2,1e300,x,s\n"))
	f.Add([]byte("sequence,scenario,t,a,b\n,calm,nan,inf,1e999\n"))
	f.Fuzz(func(t *testing.T, raw []byte) {
		checkSamples(t, csvLimits, raw, "r.csv", twoSamples)
		checkSamples(t, csvLimits, raw, "r.csv", Sampling{Samples: 1, Rate: 1e-3, Period: 1e3})
	})
}

func FuzzReadSamplesNPZ(f *testing.F) {
	text := recordedSeed(f, "selection.npz")
	f.Add(text)
	f.Fuzz(func(t *testing.T, raw []byte) {
		checkSamples(t, npzLimits, raw, "r.npz", twoSamples)
		sampling := Sampling{Samples: 1, Rate: 1, Period: 1} // of the seed, which has a row a step
		npzLimits.Check(t, len(raw), "r.npz", func() error {
			_, err := ReadSamples(bytes.NewReader(raw), int64(len(raw)), "r.npz",
				[]string{"temp_max"}, sampling)
			return err
		})
	})
}

func FuzzReadFeatures(f *testing.F) {
	f.Add("name,channel,kind,unit,mean,std,front_end\np,supply,level,bar,0,1,spectrum\n")
	f.Add("name,channel,kind,unit,mean,std,computed,scale,offset,wrap\n" +
		"p,supply,phase,rad,0,1,\"phase(1, return)\",57.29578,-9e1,yes\nq,a,k,u,0,1,,,,no\n" +
		"r,a,k,u,0,1,level,0,nan,maybe\n")
	f.Add("\ufeffstd,mean,unit,kind,channel,name\r\n1e-30,-1e30,\"°C\",k,\"c,d\",\"=1+1\"\r\n")
	f.Fuzz(func(t *testing.T, text string) {
		csvLimits.Check(t, len(text), "f.csv", func() error {
			features, err := ReadFeatures(strings.NewReader(text), "f.csv")
			if err != nil && !errors.Is(err, ErrInput) {
				t.Fatalf("untyped error %v", err)
			}
			for _, f := range features {
				if f.Name == "" || !(f.Std > 0) || math.Abs(f.Mean) > largestNumber ||
					NameFault(f.Name+f.Channel) != "" && len(f.Name+f.Channel) < LongestName ||
					f.Line < 2 || !(math.Abs(f.Scale)+math.Abs(f.Offset) <= 2*largestNumber) ||
					f.Computed != "" && f.Scale == 0 {
					t.Fatalf("%q gives %+v", text, f)
				}
			}
			return err
		})
	})
}

func FuzzReadOutputs(f *testing.F) {
	f.Add("name,unit,mean,std\nleakage,L/min,0,1\n")
	f.Add("unit,std,mean,name,note\n,2,-3,a,\n,1e999,0,b,\n")
	f.Fuzz(func(t *testing.T, text string) {
		csvLimits.Check(t, len(text), "o.csv", func() error {
			outputs, err := ReadOutputs(strings.NewReader(text), "o.csv")
			if err != nil && !errors.Is(err, ErrInput) {
				t.Fatalf("untyped error %v", err)
			}
			for _, o := range outputs {
				if o.Name == "" || !(o.Std > 0) || NameFault(o.Name) != "" ||
					NameFault(o.Unit) != "" || o.Line < 2 {
					t.Fatalf("%q gives %+v", text, o)
				}
			}
			return err
		})
	})
}
