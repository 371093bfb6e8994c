package dataset

import (
	"fmt"
	"reflect"
	"strings"
	"testing"
)

// Two sequences of two windows of three samples, 10 ms apart, a window every 0.1 s.
func samplesText(change func(lines []string) []string) string {
	lines := []string{"scenario,t,b,sequence,a"}
	for s := range 2 {
		for i := range 6 {
			t := float64(i/3)*0.1 + float64(i%3)*0.01
			lines = append(lines, fmt.Sprintf("calm,%.3f,%d,%d,%d", t, 100*s+i, s, -i))
		}
	}
	return strings.Join(change(lines), "\n") + "\n"
}

func TestSamplesAreDealtToSteps(t *testing.T) {
	text := samplesText(func(lines []string) []string { return lines })
	all, err := ReadSamples(strings.NewReader(text), int64(len(text)), "raw.csv",
		[]string{"a", "b"}, Sampling{Samples: 3, Rate: 100, Period: 0.1})
	if err != nil {
		t.Fatal(err)
	}
	second := all[1]
	if len(all) != 2 || second.Sequence != "1" || second.Scenario != "calm" || second.Line != 8 ||
		fmt.Sprint(second.T, second.X) !=
			"[0 0.1] [[0 -1 -2 -3 -4 -5] [100 101 102 103 104 105]]" {
		t.Errorf("%+v", second)
	}
}

func TestWrongSamplesAreRefused(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(lines []string) []string
		says   string
	}{
		{"a missing sample", func(l []string) []string { return append(l[:2:2], l[3:]...) },
			"raw.csv:3: column t: a sample is taken 0.02 s after the one before, and the rate of the " +
				"job is 0.01 s"},
		{"a window too early", func(l []string) []string {
			l[4] = strings.Replace(l[4], "0.100", "0.050", 1)
			return l
		}, "raw.csv:5: column t: a window begins 0.05 s after the one before, and the period of the job " +
			"is 0.1 s"},
		{"half a window", func(l []string) []string { return l[:6] },
			"the last window of sequence 0 lacks 1 of 3 samples"},
		{"no sample", func(l []string) []string { return l[:1] }, "holds no sample"},
		{"a gap in a channel", func(l []string) []string {
			l[2] = strings.Replace(l[2], ",1,0", ",,0", 1)
			return l
		}, "raw.csv:3: column b"},
		{"a channel that is not there", func(l []string) []string {
			l[0] = strings.Replace(l[0], ",a", ",x", 1)
			return l
		}, "a"},
		{"another scenario", func(l []string) []string {
			l[3] = strings.Replace(l[3], "calm", "rough", 1)
			return l
		}, "the scenario changes from calm to rough inside sequence 0"},
	} {
		text := samplesText(c.change)
		_, err := ReadSamples(strings.NewReader(text), int64(len(text)), "raw.csv",
			[]string{"a", "b"}, Sampling{Samples: 3, Rate: 100, Period: 0.1})
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, want %q", c.name, err, c.says)
		}
	}
}

// A part of a sequence has that part of everything a step has, and as sampled the features that a
// device computes take the place of those that were recorded.
func TestPartsOfSampledSequences(t *testing.T) {
	given := &Sequence{Name: "given", Steps: 1, X: []float64{1, 2}, Y: []float64{3}}
	s := &Sequence{Name: "sampled", Steps: 4, Settle: 1, X: []float64{0, 1, 10, 11, 20, 21, 30, 31},
		Y: []float64{0, 1, 2, 3}, Sampled: &Sampled{Numbers: []int32{5, 6, 7, 8},
			X: []float64{0, .5, 10, 10.5, 20, 20.5, 30, 30.5}}}
	rec := &Recordings{Features: 2, Outputs: 1, Sequences: []*Sequence{given, s}}
	sampled := rec.AsSampled()
	if sampled.Sequences[0] != given || rec.Sequences[1] != s || s.X[1] != 1 {
		t.Error("a sequence without samples is another one, or the recordings have changed")
	}
	part := sampled.Sequences[1].Part(1, 3)
	want := &Sequence{Name: "sampled", Steps: 2, X: []float64{10, 10.5, 20, 20.5},
		Y: []float64{1, 2}, Sampled: &Sampled{Numbers: []int32{6, 7},
			X: []float64{10, 10.5, 20, 20.5}}}
	if !reflect.DeepEqual(part, want) {
		t.Errorf("%+v, want %+v", part, want)
	}
	rec.Sequences = rec.Sequences[:1]
	if rec.AsSampled() != rec {
		t.Error("recordings without samples are other ones as sampled")
	}
	if none := (&Sequence{Steps: 2, X: []float64{1, 2}}).Part(1, 2); len(none.Y) != 0 {
		t.Errorf("%v", none.Y)
	}
}
