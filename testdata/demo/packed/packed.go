// Package packed keeps recordings of converter codes in little space: as the
// bytes of their differences, which compress to a fifth of what texts of them do.
package packed

import (
	"bytes"
	"compress/gzip"
	"encoding/gob"
	"fmt"
	"io"
	"slices"
	"strconv"
)

// Recording is a recording of samples as codes of converters.
type Recording struct {
	Channels  []Channel
	Window    int     // samples of a channel in a step
	Rate      float64 // samples per second
	Period    float64 // s between the first samples of two windows
	Sequences []Sequence
}

// Channel is a channel with its converter.
type Channel struct {
	Name      string
	Low, High float64 // of the first and the last code
	LastCode  int
	Decimals  int // of a sample in CSV
}

// Value returns what a code stands for.
func (c Channel) Value(code uint16) float64 {
	return c.Low + float64(float64(code)*(c.High-c.Low))/float64(c.LastCode)
}

// Sequence is one sequence: per channel the higher bytes of the differences between its codes, and
// the lower. The first difference is that from 0.
type Sequence struct {
	Name, Scenario string
	Higher, Lower  [][]byte
}

// Add adds the codes of a channel.
func (s *Sequence) Add(codes []uint16) {
	var higher, lower []byte
	before := uint16(0)
	for _, code := range codes {
		apart := code - before
		higher, lower = append(higher, byte(apart>>8)), append(lower, byte(apart))
		before = code
	}
	s.Higher, s.Lower = append(s.Higher, higher), append(s.Lower, lower)
}

// Write writes the recording, compressed, without time and name, so that equal recordings give
// equal bytes.
func (r *Recording) Write(w io.Writer) error {
	z, err := gzip.NewWriterLevel(w, gzip.BestCompression)
	if err != nil {
		return err
	}
	if err := gob.NewEncoder(z).Encode(r); err != nil {
		return err
	}
	return z.Close()
}

// CSV returns the recording that was written to r as kerf reads it: sequence, scenario, t in
// seconds, and a column per channel in its unit.
func CSV(r io.Reader) ([]byte, error) {
	z, err := gzip.NewReader(r)
	if err != nil {
		return nil, err
	}
	var all Recording
	if err := gob.NewDecoder(z).Decode(&all); err != nil {
		return nil, err
	}
	var out bytes.Buffer
	out.WriteString("sequence,scenario,t")
	for _, c := range all.Channels {
		out.WriteString("," + c.Name)
	}
	out.WriteByte('\n')
	var line []byte
	for _, s := range all.Sequences {
		if len(s.Higher) != len(all.Channels) || len(s.Lower) != len(all.Channels) {
			return nil, fmt.Errorf("sequence %s lacks a channel", s.Name)
		}
		codes := make([]uint16, len(all.Channels))
		start := s.Name + "," + s.Scenario + ","
		for i := range s.Lower[0] {
			t := float64(float64(i/all.Window)*all.Period) + float64(i%all.Window)/all.Rate
			line = strconv.AppendFloat(append(line[:0], start...), t, 'f', 5, 64)
			for c, channel := range all.Channels {
				codes[c] += uint16(s.Higher[c][i])<<8 | uint16(s.Lower[c][i])
				line = strconv.AppendFloat(append(line, ','), channel.Value(codes[c]), 'f',
					channel.Decimals, 64)
			}
			out.Write(append(line, '\n'))
		}
	}
	return slices.Clip(out.Bytes()), nil
}
