package benchscore

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"

	"kerf/model"
)

// planJob writes a job with random weights and recordings into a folder: a GRU (reset-after) with
// two outputs, whose features are independent noise, or follow eight common signals and matter
// unlike (shared). The sign-off recordings have a quarter of the steps. Same seed, same files.
func planJob(folder string, features, units, steps int, shared bool, seed uint64) error {
	random := rand.New(rand.NewPCG(seed, 1))
	values := func(n int, size float64) []float64 {
		v := make([]float64, n)
		for i := range v {
			v[i] = size * random.NormFloat64()
		}
		return v
	}
	ofInputs, ofUnits := 1/math.Sqrt(float64(features)), 1/math.Sqrt(float64(units))
	layer := &model.Recurrent{Kind: model.GRUResetAfter, Inputs: features, Units: units,
		W: values(3*units*features, ofInputs), U: values(3*units*units, ofUnits),
		B: values(3*units, 0.3), D: values(3*units, 0.3)}
	head := &model.Dense{Inputs: units, Outputs: 2, W: values(2*units, ofUnits),
		B: values(2, 0.1)}
	if shared { // sizes fall by a factor of 100 over the units and 50 over the features
		for i := range layer.U {
			layer.U[i] *= 1.5 * math.Pow(0.01, float64(i%units)/float64(units))
		}
		for i := range head.W {
			head.W[i] *= 2 * math.Pow(0.01, float64(i%units)/float64(units))
		}
		for i := range layer.W {
			layer.W[i] *= 2 * math.Pow(0.02, float64(i%features)/float64(features))
		}
	}
	net := &model.Network{Recurrent: []*model.Recurrent{layer}, Dense: []*model.Dense{head}}
	var weights, declared bytes.Buffer
	if err := model.WriteSafetensors(&weights, model.ToTorch(net), nil); err != nil {
		return err
	}
	declared.WriteString("name,channel,kind,unit,mean,std\n")
	for i := range features {
		fmt.Fprintf(&declared, "f%d,c%d,k%d,bar,0,1\n", i, i/4, i%4)
	}
	n := &noise{random: random, net: net, shared: shared}
	if shared {
		n.mix = values(features*signals, 1/math.Sqrt(signals))
	}
	for name, content := range map[string][]byte{
		"job.toml": []byte(planJobFile), "model.safetensors": weights.Bytes(),
		"features.csv": declared.Bytes(),
		"outputs.csv":  []byte("name,unit,mean,std\na,bar,0,1\nb,bar,0,1\n"),
	} {
		if err := os.WriteFile(filepath.Join(folder, name), content, 0o644); err != nil {
			return err
		}
	}
	for _, r := range []struct {
		name  string
		steps int
	}{{"selection", steps}, {"signoff", steps / 4}} {
		if err := os.WriteFile(filepath.Join(folder, r.name+".csv"), n.recording(r.name, r.steps),
			0o644); err != nil {
			return err
		}
	}
	return nil
}

const planJobFile = `name = "randomjob"
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

const (
	signals       = 8    // that shared features follow
	sequenceSteps = 1500 // of every sequence
)

// noise draws recordings.
type noise struct {
	random *rand.Rand
	net    *model.Network
	shared bool
	mix    []float64 // of the signals [features × signals]
}

// recording returns a recording as CSV: sequences of four scenarios, whose reference is the output
// of the network with noise of a standard deviation of 0.3.
func (n *noise) recording(name string, steps int) []byte {
	var b bytes.Buffer
	b.WriteString("sequence,scenario,t")
	x, y, z := make([]float64, n.net.Inputs()), make([]float64, 2), make([]float64, signals)
	for i := range x {
		fmt.Fprintf(&b, ",f%d", i)
	}
	b.WriteString(",a,b\n")
	for s := range steps / sequenceSteps {
		run := n.net.NewRun()
		for t := range sequenceSteps {
			for i := range z { // noise with a memory of ten steps and a variance of 1
				z[i] = 0.9*z[i] + math.Sqrt(1-0.9*0.9)*n.random.NormFloat64()
			}
			for i := range x {
				x[i] = n.random.NormFloat64()
				if n.shared {
					x[i] *= 0.5
					for k := range z {
						x[i] += 0.87 * n.mix[i*signals+k] * z[k]
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
				b.Write(strconv.AppendFloat(nil, v+0.3*n.random.NormFloat64(), 'g', 7, 64))
			}
			b.WriteByte('\n')
		}
	}
	return b.Bytes()
}
