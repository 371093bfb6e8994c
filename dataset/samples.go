package dataset

import (
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"kerf/fault"
)

// Samples are the raw samples of a sequence: of every channel, as many for each step as a window
// has.
type Samples struct {
	Sequence string // the name that the recordings have for it
	Scenario string
	File     string
	Line     int         // of its first sample in the file
	T        []float64   // s, per step: of the first sample of its window
	X        [][]float64 // [channels][steps × samples], in physical units
}

// Sampling is how samples follow each other.
type Sampling struct {
	Samples int     // of a channel in a window, one window a step
	Rate    float64 // samples per second within a window
	Period  float64 // s between the first samples of two windows
}

// ReadSamples reads one recording of raw samples in any format that [ReadRecording] reads: the
// columns sequence, scenario, t in seconds, and one per channel. A window is so many rows, 1/rate
// apart, and the next one begins a period after its first sample. Other content gives an error
// of kind [ErrInput].
func ReadSamples(r io.ReaderAt, size int64, file string, columns []string,
	sampling Sampling) ([]*Samples, error) {
	t, err := openRows(r, size, file)
	if err != nil {
		return nil, err
	}
	s := &sampleReader{rows: t, file: file, sampling: sampling, seen: map[string]int{}}
	if s.keys, err = t.NeedAll("a recording of samples has the columns sequence, scenario and t, "+
		"then one per channel", "sequence", "scenario", "t"); err != nil {
		return nil, err
	}
	if s.channels, err = t.NeedAll("the job names it as a channel; the recording of samples must "+
		"carry it under the same name", columns...); err != nil {
		return nil, err
	}
	for {
		ok, err := t.Next()
		if err != nil {
			return nil, err
		}
		if !ok {
			break
		}
		if err := s.sample(); err != nil {
			return nil, err
		}
	}
	if err := s.end(); err != nil {
		return nil, err
	}
	if len(s.all) == 0 {
		return nil, &fault.Error{Kind: ErrInput, File: file, Msg: "the recording holds no sample",
			Hint: "it needs at least one window of samples"}
	}
	return s.all, nil
}

// sampleReader collects the samples of one recording.
type sampleReader struct {
	rows
	file     string
	sampling Sampling
	keys     []int // columns sequence, scenario, t
	channels []int
	seen     map[string]int // first row of every sequence, by name
	all      []*Samples
	current  *Samples
	rest     int     // samples that the present window still lacks
	last     float64 // t of the last sample
	buffer   []float64
}

// sample adds the present row to the current sequence, or begins a new one.
func (s *sampleReader) sample() error {
	name, scenario := s.Text(s.keys[0]), s.Text(s.keys[1])
	now, err := s.Number(s.keys[2])
	if err != nil {
		return err
	}
	switch {
	case s.current == nil || name != s.current.Sequence:
		if err := s.begin(name, scenario); err != nil {
			return err
		}
		s.window(now)
	case scenario != s.current.Scenario:
		return s.Fail(s.keys[1], "the scenario changes from "+s.current.Scenario+" to "+scenario+
			" inside sequence "+name, "samples have the sequences and scenarios of the recordings")
	case s.rest == 0:
		first := s.current.T[len(s.current.T)-1]
		if err := s.apart(now, first, s.sampling.Period, "a window begins", "the one before",
			"the period of the job"); err != nil {
			return err
		}
		s.window(now)
	default:
		if err := s.apart(now, s.last, 1/s.sampling.Rate, "a sample is taken", "the one before",
			"the rate of the job"); err != nil {
			return err
		}
	}
	if s.rest--; s.rest == 0 {
		first := s.current.T[len(s.current.T)-1]
		if err := s.apart(now, first, float64(s.sampling.Samples-1)/s.sampling.Rate,
			"a window ends", "its first sample", "by the rate of the job that"); err != nil {
			return err
		}
	}
	s.last = now
	s.buffer, err = numbers(s, s.buffer, s.channels)
	return err
}

// apart returns an error unless two times are as far apart as they should be, within half a sample:
// times may be rounded, and none is missing then.
func (s *sampleReader) apart(now, before, should float64, what, than, because string) error {
	if math.Abs(now-before-should) <= 0.5/s.sampling.Rate {
		return nil
	}
	seconds := func(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) + " s" }
	return s.Fail(s.keys[2], fmt.Sprintf("%s %s after %s, and %s is %s", what,
		seconds(now-before), than, because, seconds(should)), fmt.Sprintf("t is in seconds, a "+
		"window has %d samples; begin a new sequence where samples are missing",
		s.sampling.Samples))
}

// window begins a window.
func (s *sampleReader) window(now float64) {
	s.current.T = append(s.current.T, now)
	s.rest = s.sampling.Samples
}

// begin starts the sequence that the present row opens.
func (s *sampleReader) begin(name, scenario string) error {
	if err := s.end(); err != nil {
		return err
	}
	if name == "" {
		return s.Fail(s.keys[0], "the sequence name is empty",
			"samples have the names of the sequences of the recordings")
	}
	name, err := begins(s, s.keys[0], name, s.seen, "samples of a sequence must stand together")
	if err != nil {
		return err
	}
	scenario = strings.Clone(scenario) // the row is not kept in memory
	s.current = &Samples{Sequence: name, Scenario: scenario, File: s.file, Line: s.Row()}
	s.all = append(s.all, s.current)
	return nil
}

// end gives the current sequence, if there is one, its samples, channel by channel.
func (s *sampleReader) end() error {
	if s.current == nil {
		return nil
	}
	if s.rest > 0 {
		return s.Fail(s.keys[0], fmt.Sprintf("the last window of sequence %s lacks %d of %d "+
			"samples", s.current.Sequence, s.rest, s.sampling.Samples),
			"every step has a whole window")
	}
	n := len(s.channels)
	s.current.X = make([][]float64, n)
	for c := range n {
		s.current.X[c] = everyNth(s.buffer, c, n)
	}
	s.buffer = s.buffer[:0]
	return nil
}

// everyNth returns values at, at+n, at+2n and so on.
func everyNth(values []float64, at, n int) []float64 {
	picked := make([]float64, 0, len(values)/n)
	for i := at; i < len(values); i += n {
		picked = append(picked, values[i])
	}
	return picked
}
