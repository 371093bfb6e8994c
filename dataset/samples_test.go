package dataset

import (
	"fmt"
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
