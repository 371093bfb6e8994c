// Package slow is a second test job: a network whose units remember up to a thousand steps, which
// is where fixed point is hardest. A hydraulic power unit of a log splitter wears its oil; the
// network tells how far the oil has oxidised and how much water the oil holds. Machine, recordings
// and network are invented and synthetic: README.md says what stands for what.
//
//	oil.go      the machine and the readings of its sensors
//	network.go  the network: weights by design and by seed, nothing trained
//	slow.go     both together as the files of a job
//
// No file of the job is stored. The same seed gives the same bytes.
package slow

import (
	"bytes"
	_ "embed"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"

	"kerf/model"
)

// Sequences and Steps are the size of either set of recordings: Steps is that of each sequence.
const (
	Sequences = 12
	Steps     = 3000
)

// The seeds of the two sets and of the network.
const (
	selectionSeed = 30_002
	signoffSeed   = 30_003
	networkSeed   = 30_004
)

//go:embed job.toml
var job []byte

// Files returns the files of the job by name, as they belong into one folder:
// job.toml, features.csv, outputs.csv, model.safetensors, selection.csv and
// signoff.csv, the last two about 2.5 MB each. The map is the caller's.
func Files() (map[string][]byte, error) { return Another(0) }

// Another returns the files of another network and other recordings of the same
// machine: all seeds are raised by offset.
func Another(offset uint64) (map[string][]byte, error) {
	net := network(networkSeed + offset)
	var weights, features, outputs bytes.Buffer
	if err := model.WriteSafetensors(&weights, model.ToTorch(net), nil); err != nil {
		return nil, err
	}
	features.WriteString("name,channel,kind,unit,mean,std\n")
	for _, f := range sensors {
		fmt.Fprintf(&features, "%s,%s,%s,%s,%g,%g\n", f.name, f.channel, f.kind, f.unit, f.mean,
			f.std)
	}
	outputs.WriteString("name,unit,mean,std\n")
	for _, q := range quantities {
		fmt.Fprintf(&outputs, "%s,%s,%g,%g\n", q.name, q.unit, q.mean, q.std)
	}
	return map[string][]byte{
		"job.toml": bytes.Clone(job), "features.csv": features.Bytes(),
		"outputs.csv": outputs.Bytes(), "model.safetensors": weights.Bytes(),
		"selection.csv": recordings(net, selectionSeed+offset, "sel"),
		"signoff.csv":   recordings(net, signoffSeed+offset, "off"),
	}, nil
}

// Write writes the files of [Another] into the folder dir, which is made if it is
// missing.
func Write(dir string, offset uint64) error {
	files, err := Another(offset)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	for name, content := range files {
		if err := os.WriteFile(filepath.Join(dir, name), content, 0o644); err != nil {
			return err
		}
	}
	return nil
}

// recordings returns one set as CSV. The reference outputs are those of the float network for the
// printed features, plus the error of the laboratory's readings.
func recordings(net *model.Network, seed uint64, prefix string) []byte {
	var out bytes.Buffer
	out.WriteString("sequence,scenario,t")
	for _, f := range sensors {
		out.WriteString("," + f.name)
	}
	for _, q := range quantities {
		out.WriteString("," + q.name)
	}
	out.WriteByte('\n')
	for i := range Sequences {
		duty := duties[i%len(duties)]
		sequence(&out, net, fmt.Sprintf("%s-%s-%02d", prefix, duty.name, i/len(duties)+1), duty,
			rand.New(rand.NewPCG(seed, uint64(i))))
	}
	return out.Bytes()
}

// sequence writes the steps of one sequence; one step is one second.
func sequence(out *bytes.Buffer, net *model.Network, name string, duty duty, random *rand.Rand) {
	machine := newMachine(duty, random)
	run := net.NewRun()
	x, raw := make([]float64, len(sensors)), make([]float64, len(quantities))
	for step := range Steps {
		line := out.AvailableBuffer()
		line = fmt.Appendf(line, "%s,%s,%d", name, duty.name, step)
		for i, shown := range machine.step() {
			text := strconv.FormatFloat(shown, 'g', 4, 64)
			line = append(line, ","+text...)
			printed, _ := strconv.ParseFloat(text, 64) // FormatFloat's own text
			x[i] = (printed - sensors[i].mean) / sensors[i].std
		}
		run.Step(x, raw)
		for o, q := range quantities {
			value := float64(raw[o]*q.std) + q.mean + float64(q.noise*random.NormFloat64())
			line = strconv.AppendFloat(append(line, ','), value, 'g', 5, 64)
		}
		out.Write(append(line, '\n'))
	}
}
