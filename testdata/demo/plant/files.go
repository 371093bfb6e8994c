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
)

// Write simulates the three sets and writes train.csv, selection.csv.gz and
// signoff.csv.gz into the folder dir, which is made if it is missing. An
// error names the file that could not be written.
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
		var packed bytes.Buffer
		if err := set.writeGzip(&packed); err != nil {
			return err
		}
		path := filepath.Join(dir, set.Name+".csv.gz")
		if err := os.WriteFile(path, packed.Bytes(), 0o644); err != nil {
			return err
		}
	}
	return nil
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
// FeatureNames, leakage in L/min and air in % by volume. Values have four
// significant digits. The only errors are those of w.
func (s Set) WriteCSV(w io.Writer) error {
	out := bufio.NewWriter(w)
	fmt.Fprintf(out, "sequence,scenario,t,%s,leakage,air\n", strings.Join(FeatureNames[:], ","))
	for _, sc := range scenarios {
		for i := range s.PerScenario {
			name := fmt.Sprintf("%s-%s-%02d", s.Prefix, sc.name, i+1)
			for t, st := range s.simulate(sc, i) {
				line := out.AvailableBuffer()
				line = fmt.Appendf(line, "%s,%s,%.1f", name, sc.name, float64(t)*StepSeconds)
				for _, v := range st.features {
					line = appendValue(line, v)
				}
				line = appendValue(line, st.leakage)
				line = appendValue(line, st.air)
				out.Write(append(line, '\n'))
			}
		}
	}
	return out.Flush() // a bufio.Writer keeps its first error until here
}

// appendValue adds a comma and a value with four significant digits to a line.
func appendValue(line []byte, v float64) []byte {
	return strconv.AppendFloat(append(line, ','), v, 'g', 4, 64)
}
