package notebooks

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
)

// Change is what a notebook did otherwise than features.csv says.
type Change string

// All changes.
const (
	Sign     Change = "sign"     // the value with the other sign
	Degrees  Change = "degrees"  // an angle in degrees
	RMS      Change = "rms"      // an amplitude as root mean square, a √2-th of the peak
	Order    Change = "order"    // a distortion up to another harmonic
	Sine     Change = "sine"     // a phase of the sine, π/2 more than that of the cosine
	Shift    Change = "shift"    // the window begins a sample later
	Baseline Change = "baseline" // compared with the mean level of the whole stretch from its start
	Power    Change = "power"    // the square of an amplitude
	Ratio    Change = "ratio"    // a distortion as a share, not in per cent
)

// kinds of features that the jobs have, and what a notebook may do to them.
var possible = map[string][]Change{
	"slope":         {Sign},
	"relative":      {Sign, Baseline},
	"amplitude(1)":  {RMS, Power, Sign},
	"amplitude(2)":  {RMS, Power, Sign},
	"phase(1)":      {Sign, Degrees, Sine, Shift},
	"phase(2)":      {Sign, Degrees, Sine, Shift},
	"distortion(5)": {Order, Ratio},
}

// Feature is one of a job: how features.csv says that it is computed, and what the notebook did.
type Feature struct {
	Name, Channel, Computed string
	Changes                 []Change // sorted; none: as declared
	K                       int      // of a changed order
	Values                  [][]float64
}

// Job is one of [Jobs].
type Job struct {
	Number   int
	Changed  int // the feature that was changed; -1: none
	Features []Feature
	// per sequence, per channel, per step: the samples of the window
	Windows [][][][]float64
}

// stretch is the time of the baseline in seconds.
const stretch = 1.0

// Jobs makes all jobs: of sixty the first ten are computed as declared, thirty have one change,
// twenty have two changes of one feature.
func Jobs() []*Job {
	var jobs []*Job
	for n := range 60 {
		jobs = append(jobs, newJob(n))
	}
	return jobs
}

func newJob(number int) *Job {
	random := rand.New(rand.NewPCG(60000, uint64(number)))
	job := &Job{Number: number, Changed: -1}
	windows := make([][][][]float64, sequences) // with one more sample than the job has
	for s := range windows {
		windows[s] = [][][]float64{signal(random, 120), signal(random, 8)}
		job.Windows = append(job.Windows, make([][][]float64, len(channelNames)))
		for c := range channelNames {
			for _, w := range windows[s][c] {
				job.Windows[s][c] = append(job.Windows[s][c], w[:Samples])
			}
		}
	}
	for _, channel := range channelNames {
		for _, computed := range []string{"level", "relative", "slope", "ripple", "amplitude(1)",
			"amplitude(2)", "phase(1)", "phase(2)", "distortion(5)"} {
			job.Features = append(job.Features, Feature{Name: fmt.Sprintf("f%d",
				len(job.Features)), Channel: channel, Computed: computed})
		}
	}
	changes := 0
	switch {
	case number >= 40:
		changes = 2
	case number >= 10:
		changes = 1
	}
	if changes > 0 {
		job.change(random, changes)
	}
	for i := range job.Features {
		f := &job.Features[i]
		c := slices.Index(channelNames, f.Channel)
		for s := range windows {
			f.Values = append(f.Values, f.compute(windows[s][c]))
		}
	}
	return job
}

// change draws a feature that as many changes are possible for, and the changes.
func (j *Job) change(random *rand.Rand, changes int) {
	var may []int
	for i, f := range j.Features {
		if len(possible[f.Computed]) >= changes {
			may = append(may, i)
		}
	}
	j.Changed = may[random.IntN(len(may))]
	f := &j.Features[j.Changed]
	all := possible[f.Computed]
	for _, at := range random.Perm(len(all))[:changes] {
		f.Changes = append(f.Changes, all[at])
	}
	if slices.Contains(f.Changes, RMS) && slices.Contains(f.Changes, Power) {
		f.Changes = []Change{Sign, Power} // the power of an RMS is a half of that of the peak
	}
	slices.Sort(f.Changes)
	f.K = []int{2, 3, 4, 6}[random.IntN(4)]
}

func (f *Feature) did(c Change) bool { return slices.Contains(f.Changes, c) }

// compute returns the values of a sequence as the notebook has them.
func (f *Feature) compute(windows [][]float64) []float64 {
	values := make([]float64, len(windows))
	levels := make([]float64, len(windows))
	for step, w := range windows {
		levels[step] = mean(w[:Samples])
	}
	inStretch := int(math.Round(stretch / Period))
	for step, w := range windows {
		x := w[:Samples]
		if f.did(Shift) {
			x = w[1:]
		}
		var v float64
		switch f.Computed {
		case "level":
			v = levels[step]
		case "relative":
			upTo := min(step+1, inStretch)
			if f.did(Baseline) {
				upTo = inStretch
			}
			base := mean(levels[:upTo])
			v = (levels[step] - base) / base
		case "slope":
			if step > 0 {
				v = (levels[step] - levels[step-1]) / Period
			}
		case "ripple":
			v = deviation(x)
		case "amplitude(1)", "amplitude(2)":
			v, _ = line(x, int(f.Computed[len("amplitude(")]-'0'))
			if f.did(RMS) {
				v /= math.Sqrt2
			}
			if f.did(Power) {
				v *= v
			}
		case "phase(1)", "phase(2)":
			_, v = line(x, int(f.Computed[len("phase(")]-'0'))
			if f.did(Sine) {
				v = inPi(v + math.Pi/2)
			}
		case "distortion(5)":
			first, _ := line(x, 1)
			upTo, sum := 5, 0.0
			if f.did(Order) {
				upTo = f.K
			}
			for k := 2; k <= upTo; k++ {
				a, _ := line(x, k)
				sum += a * a
			}
			v = math.Sqrt(sum) / first
			if !f.did(Ratio) {
				v *= 100
			}
		}
		if f.did(Sign) {
			v = -v
		}
		if f.did(Degrees) {
			v *= 180 / math.Pi
		}
		values[step] = fourDigits(v)
	}
	return values
}
