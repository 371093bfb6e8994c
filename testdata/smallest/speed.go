package smallest

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"

	"kerf/dataset"
	"kerf/model"
)

// Speed is a job of any size with random weights, to measure how long a search takes: a GRU
// (reset-after) with two outputs. The network has learned nothing: the recorded outputs are its
// own, plus noise of a standard deviation of 0.3.
type Speed struct {
	Features, Units int
	Steps           int  // of the selection recordings; the sign-off recordings have a quarter
	Shared          bool // features follow eight signals and matter unlike; else they are noise
}

// Speeds are the jobs that are measured.
var Speeds = []Speed{
	{32, 32, 48_000, false}, {32, 32, 48_000, true},
	{48, 64, 180_000, false}, {48, 64, 180_000, true},
}

const (
	speedSeed   = 1
	speedSteps  = 1500 // of every sequence
	speedSpread = 0.3  // of the noise of the outputs
	signals     = 8    // that shared features follow
)

// Name returns the name of the folder of the job, such as 32x32-noise.
func (s Speed) Name() string {
	return fmt.Sprintf("%dx%d-%s", s.Features, s.Units,
		map[bool]string{false: "noise", true: "shared"}[s.Shared])
}

// Write writes the files of the job into the folder dir, which is made if it is missing. No scores
// are among them.
func (s Speed) Write(dir string) error {
	made := s.maker()
	files := filesOf(made.given)
	files["job.toml"] = []byte(speedJob)
	files["selection.csv"] = made.recording("selection", s.Steps)
	files["signoff.csv"] = made.recording("signoff", s.Steps/4)
	return write(dir, files)
}

// maker draws the network; the recordings follow from the same stream of random numbers.
func (s Speed) maker() *speedMaker {
	random := rand.New(rand.NewPCG(speedSeed, 1))
	values := func(n int, size float64) []float64 {
		v := make([]float64, n)
		for i := range v {
			v[i] = size * random.NormFloat64()
		}
		return v
	}
	ofInputs, ofUnits := 1/math.Sqrt(float64(s.Features)), 1/math.Sqrt(float64(s.Units))
	layer := &model.Recurrent{Kind: model.GRUResetAfter, Inputs: s.Features, Units: s.Units,
		W: values(3*s.Units*s.Features, ofInputs), U: values(3*s.Units*s.Units, ofUnits),
		B: values(3*s.Units, 0.3), D: values(3*s.Units, 0.3)}
	head := &model.Dense{Inputs: s.Units, Outputs: 2, W: values(2*s.Units, ofUnits),
		B: values(2, 0.1)}
	made := &speedMaker{random: random, shared: s.Shared}
	if s.Shared { // sizes fall by a factor of 100 over the units and 50 over the features
		for i := range layer.U {
			layer.U[i] *= 1.5 * math.Pow(0.01, float64(i%s.Units)/float64(s.Units))
		}
		for i := range head.W {
			head.W[i] *= 2 * math.Pow(0.01, float64(i%s.Units)/float64(s.Units))
		}
		for i := range layer.W {
			layer.W[i] *= 2 * math.Pow(0.02, float64(i%s.Features)/float64(s.Features))
		}
		made.mix = values(s.Features*signals, 1/math.Sqrt(signals))
	}
	var features []dataset.Feature
	for i := range s.Features {
		features = append(features, dataset.Feature{Name: fmt.Sprintf("f%d", i),
			Channel: fmt.Sprintf("c%d", i/4), Kind: fmt.Sprintf("k%d", i%4), Unit: "bar", Std: 1})
	}
	made.given = dataset.NewFloat(&model.Network{Recurrent: []*model.Recurrent{layer},
		Dense: []*model.Dense{head}}, features, []dataset.Output{
		{Name: "a", Unit: "bar", Std: 1}, {Name: "b", Unit: "bar", Std: 1}})
	return made
}

// speedJob is the job file.
const speedJob = `# Invented and synthetic: see README.md of testdata/smallest.
name = "randomjob"
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
a = { rmse_rise = "5 %" }
b = { rmse_rise = "5 %" }
[[target]]
profile = "cortex-m4f"
clock = "64 MHz"
flash = "128 KiB"
ram = "16 KiB"
step_time = "10 ms"
period = "100 ms"
`

// speedMaker draws recordings.
type speedMaker struct {
	random *rand.Rand
	given  *dataset.Float
	shared bool
	mix    []float64 // of the signals [features × signals]
}

// recording returns a recording as CSV: sequences of four scenarios, whose reference is the output
// of the network with noise.
func (n *speedMaker) recording(name string, steps int) []byte {
	var b bytes.Buffer
	b.WriteString("sequence,scenario,t")
	x, y, z := make([]float64, len(n.given.Features)), make([]float64, 2), make([]float64, signals)
	for i := range x {
		fmt.Fprintf(&b, ",f%d", i)
	}
	b.WriteString(",a,b\n")
	for s := range steps / speedSteps {
		run := n.given.Net.NewRun()
		for t := range speedSteps {
			for i := range z { // noise with a memory of ten steps and a variance of 1
				z[i] = float64(0.9*z[i]) + float64(math.Sqrt(1-0.9*0.9)*n.random.NormFloat64())
			}
			for i := range x {
				x[i] = n.random.NormFloat64()
				if n.shared {
					x[i] *= 0.5
					for k := range z {
						x[i] += float64(0.87 * n.mix[i*signals+k] * z[k])
					}
				}
				x[i] = math.Round(x[i]*1e4) / 1e4
			}
			run.Step(x, y)
			fmt.Fprintf(&b, "%s%d,s%d,%d", name, s, s%4, t)
			for _, v := range x {
				b.WriteByte(',')
				b.Write(strconv.AppendFloat(nil, v, 'g', -1, 64))
			}
			for _, v := range y {
				b.WriteByte(',')
				read := v + float64(speedSpread*n.random.NormFloat64())
				b.Write(strconv.AppendFloat(nil, read, 'g', 7, 64))
			}
			b.WriteByte('\n')
		}
	}
	return b.Bytes()
}
