package plant

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"kerf/testdata/demo/packed"
)

// Write simulates the three sets and writes train.csv, and for selection and
// sign-off NAME.csv.gz and NAME_samples.gz, into the folder dir, which is made
// if it is missing. An error names the file that could not be written.
func Write(dir string) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	var table bytes.Buffer
	if err := Train.WriteCSV(&table); err != nil {
		return err
	}
	if err := os.WriteFile(filepath.Join(dir, "train.csv"), table.Bytes(), 0o644); err != nil {
		return err
	}
	for _, set := range []Set{Selection, Signoff} {
		for name, write := range map[string]func(io.Writer) error{
			set.Name + ".csv.gz":     set.writeGzip,
			set.Name + "_samples.gz": set.Samples().Write,
		} {
			var content bytes.Buffer
			if err := write(&content); err != nil {
				return err
			}
			if err := os.WriteFile(filepath.Join(dir, name), content.Bytes(), 0o644); err != nil {
				return err
			}
		}
	}
	return nil
}

// Samples simulates the set and returns the samples that are kept.
func (s Set) Samples() *packed.Recording {
	r := &packed.Recording{Channels: Channels[:], Window: Window, Rate: Rate, Period: StepSeconds}
	for _, sc := range scenarios {
		for i := range s.Sampled {
			sequence := packed.Sequence{Name: s.sequence(sc, i), Scenario: sc.name}
			steps := s.simulate(sc, i)
			for c := range Channels {
				var codes []uint16
				for _, st := range steps {
					codes = append(codes, st.codes[c][:]...)
				}
				sequence.Add(codes)
			}
			r.Sequences = append(r.Sequences, sequence)
		}
	}
	return r
}

// sequence returns the name of sequence number i of a scenario.
func (s Set) sequence(sc scenario, i int) string {
	return fmt.Sprintf("%s-%s-%02d", s.Prefix, sc.name, i+1)
}

// writeGzip writes the CSV of the set compressed, without time and name, so that equal sets give
// equal bytes.
func (s Set) writeGzip(w io.Writer) error {
	z, err := gzip.NewWriterLevel(w, gzip.BestCompression)
	if err != nil {
		return err
	}
	if err := s.WriteCSV(z); err != nil {
		return err
	}
	return z.Close()
}

// WriteCSV simulates the set and writes it: a header line, then one line per
// step with sequence, scenario, t in seconds, the features in the order of
// FeatureNames, leakage in L/min and air in % by volume. The only errors are
// those of w.
func (s Set) WriteCSV(w io.Writer) error {
	out := bufio.NewWriter(w)
	fmt.Fprintf(out, "sequence,scenario,t,%s,leakage,air\n", strings.Join(FeatureNames[:], ","))
	for _, sc := range scenarios {
		for i := range s.PerScenario {
			name := s.sequence(sc, i)
			for t, st := range s.simulate(sc, i) {
				line := out.AvailableBuffer()
				line = fmt.Appendf(line, "%s,%s,%.1f", name, sc.name, float64(t)*StepSeconds)
				for f, v := range st.features {
					line = appendValue(line, v, featureDecimals[f])
				}
				line = appendValue(line, st.leakage, 3)
				line = appendValue(line, st.air, 3)
				out.Write(append(line, '\n'))
			}
		}
	}
	return out.Flush() // a bufio.Writer keeps its first error until here
}

// appendValue adds a comma and a value with so many decimals to a line.
func appendValue(line []byte, v float64, decimals int) []byte {
	return strconv.AppendFloat(append(line, ','), v, 'f', decimals, 64)
}
