package smallest

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"

	"kerf/dataset"
	"kerf/model"
	"kerf/portable"
)

// Speed is a job of any size with a random network, to measure how long a search takes. The network
// has learned nothing: the recorded outputs are its own, plus noise.
type Speed struct {
	Features, Units int
	Steps           int // of the selection recordings, and of the sign-off recordings
}

// The sizes that are measured.
var (
	SpeedSmall = Speed{Features: 32, Units: 32, Steps: 48_000}
	SpeedLarge = Speed{Features: 48, Units: 64, Steps: 180_000}
)

// Seeds of the speed jobs.
const (
	speedNetworkSeed   = 46_001
	speedSelectionSeed = 46_002
	speedSignoffSeed   = 46_003
)

// speedLength is the length of a sequence, in steps.
const speedLength = 400

// speedOutputs are the outputs. Their noise is about 20 % of their standard deviation.
var speedOutputs = []quantity{{"leakage", "L/min", 0.2}, {"air", "%", 0.2}}

// speedNeeded is the share of the features, and of the units, that carry nearly all of the outputs:
// the other features repeat one of them with an error of speedRepeat standard deviations, and the
// other units reach the head and each other with ever smaller weights.
const (
	speedNeeded = 0.4
	speedRepeat = 0.1
)

// Name returns the name of the folder of the job, such as 32x32.
func (s Speed) Name() string { return fmt.Sprintf("%dx%d", s.Features, s.Units) }

// Write writes the files of the job into the folder dir, which is made if it is missing. No scores
// are among them.
func (s Speed) Write(dir string) error {
	p := s.network()
	files := filesOf(p)
	files["job.toml"] = fmt.Appendf(nil, speedJob, s.Features, s.Units)
	files["selection.csv"] = s.recordings(p, "sel", s.Steps/speedLength, speedSelectionSeed)
	files["signoff.csv"] = s.recordings(p, "off", s.Steps/speedLength, speedSignoffSeed)
	return write(dir, files)
}

// speedJob is the job file, up to the numbers of features and units.
const speedJob = `# Invented and synthetic: see README.md of testdata/smallest.
name = "speed%dx%d"

[model]
file = "model.safetensors"
convention = "torch"

[recordings]
selection = "selection.csv"
signoff = "signoff.csv"

[features]
file = "features.csv"

[outputs]
file = "outputs.csv"

[tolerance]
leakage = { rmse_rise = "5 %%" }
air = { rmse_rise = "5 %%" }

[[target]]
profile = "cortex-m4f"
clock = "64 MHz"
flash = "64 KiB"
ram = "4 KiB"
step_time = "5 ms"
period = "100 ms"

[[target]]
profile = "cortex-m0plus"
clock = "32 MHz"
flash = "64 KiB"
ram = "4 KiB"
step_time = "20 ms"
period = "100 ms"
`

// needed returns how many of a number of features or units carry the outputs.
func (s Speed) needed(all int) int { return int(speedNeeded * float64(all)) }

// network returns a random GRU whose units forget over 2 to 100 steps.
func (s Speed) network() *dataset.Float {
	random := rand.New(rand.NewPCG(speedNetworkSeed, 0))
	normal := func(count int, deviation float64) []float64 {
		v := make([]float64, count)
		for i := range v {
			v[i] = deviation * portable.Normal(random)
		}
		return v
	}
	width := 1 / math.Sqrt(float64(s.Features))
	l := &model.Recurrent{Kind: model.GRUResetAfter, Inputs: s.Features, Units: s.Units,
		W: normal(3*s.Units*s.Features, 1.5*width), B: normal(3*s.Units, 0.2),
		U: normal(3*s.Units*s.Units, 0.5/math.Sqrt(float64(s.Units))), D: normal(3*s.Units, 0.2)}
	for unit := range s.Units {
		l.B[s.Units+unit] = portable.Log(span{1, 99}.draw(random))
	}
	head := &model.Dense{Inputs: s.Units, Outputs: len(speedOutputs),
		W: normal(len(speedOutputs)*s.Units, 0.7), B: make([]float64, len(speedOutputs))}
	needed := s.needed(s.Units)
	for _, w := range [][]float64{l.U, head.W} {
		for i := range w {
			if unit := i % s.Units; unit >= needed {
				w[i] *= 0.3 / float64(1+unit-needed)
			}
		}
	}
	var features []dataset.Feature
	for i := range s.Features {
		features = append(features, dataset.Feature{Name: fmt.Sprintf("reading_%02d", i+1),
			Channel: fmt.Sprintf("gauge_%02d", i%s.needed(s.Features)+1), Kind: "level",
			Unit: "bar", Mean: 100, Std: 25})
	}
	var outputs []dataset.Output
	for _, q := range speedOutputs {
		outputs = append(outputs, dataset.Output{Name: q.name, Unit: q.unit, Mean: 5, Std: 1})
	}
	return dataset.NewFloat(&model.Network{Recurrent: []*model.Recurrent{l},
		Dense: []*model.Dense{head}}, features, outputs)
}

// recordings returns sequences as CSV: pressures that wander over 5 to 40 steps, and gauges that
// repeat them.
func (s Speed) recordings(p *dataset.Float, prefix string, sequences int, seed uint64) []byte {
	var out bytes.Buffer
	out.WriteString("sequence,scenario,t")
	for _, name := range append(dataset.FeatureNames(p.Features),
		dataset.OutputNames(p.Outputs)...) {
		out.WriteString("," + name)
	}
	out.WriteByte('\n')
	needed := s.needed(s.Features)
	x, raw := make([]float64, s.Features), make([]float64, len(p.Outputs))
	for i := range sequences {
		random := rand.New(rand.NewPCG(seed, uint64(i)))
		d := duties[i%len(duties)]
		run, at := p.Net.NewRun(), make([]float64, needed)
		for step := range speedLength {
			for k := range at {
				keep := 1 - 1/(paces[d.name]*(5+float64(35*float64(k)/float64(needed))))
				at[k] = float64(keep*at[k]) +
					float64(math.Sqrt(1-float64(keep*keep))*portable.Normal(random))
			}
			for k := range x {
				x[k] = at[k%needed]
				if k >= needed {
					x[k] += float64(speedRepeat * portable.Normal(random))
				}
			}
			run.Step(x, raw)
			line := fmt.Appendf(out.AvailableBuffer(), "%s-%s-%03d,%s,%d", prefix, d.name,
				i/len(duties)+1, d.name, step)
			for k, f := range p.Features {
				line = strconv.AppendFloat(append(line, ','), f.Mean+float64(f.Std*x[k]), 'g', 4,
					64)
			}
			for o, f := range p.Outputs {
				v := f.Mean + float64(f.Std*raw[o]) +
					float64(speedOutputs[o].noise*portable.Normal(random))
				line = strconv.AppendFloat(append(line, ','), v, 'g', 4, 64)
			}
			out.Write(append(line, '\n'))
		}
	}
	return out.Bytes()
}
