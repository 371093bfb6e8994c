package smallest

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"

	"kerf/dataset"
	"kerf/model"
	"kerf/portable"
	"kerf/recovery"
)

// settings returns those of all trainings: back-propagation through whole sequences towards the
// recorded outputs alone. They were fixed before any network was trained.
func settings(seed uint64) recovery.Settings {
	return recovery.Settings{Epochs: 150, Length: int(length.high), Batch: 8, Rate: 0.01, Clip: 1,
		Seed: seed}
}

// Train makes the network of the job as given and returns the files that hold it:
// model.safetensors, features.csv and, unless the job is a classifier, outputs.csv. after is called
// after every epoch of the training; a network that is drawn needs none.
func (j *Job) Train(ctx context.Context, after func(r *recovery.Result)) (map[string][]byte,
	error) {
	start, rec, err := j.untrained()
	if err != nil || j.drawn != nil {
		return filesOf(start), err
	}
	training, heldBack := recovery.Split(rec)
	task := &recovery.Task{Start: start, Teacher: start, Training: training, HeldBack: heldBack}
	result, err := recovery.Train(ctx, task, settings(j.seed+networkSeed), nil, after)
	if err != nil {
		return nil, err
	}
	return filesOf(result.Net), nil
}

// untrained returns the network at the start of its training, or the one that is drawn, and the
// training recordings. The features are normalised as they are in these.
func (j *Job) untrained() (*dataset.Float, *dataset.Recordings, error) {
	names := make([]string, len(j.sensors))
	for i, s := range j.sensors {
		names[i] = s.name
	}
	rec, err := dataset.ReadCSV(bytes.NewReader(j.recordings(trainingSet)), "training.csv", names,
		j.reference())
	if err != nil {
		return nil, nil, err
	}
	features := make([]dataset.Feature, len(j.sensors))
	for i, s := range j.sensors {
		mean, std := moments(dataset.Column(rec.Features, i, rec,
			func(s *dataset.Sequence) []float64 { return s.X }))
		features[i] = dataset.Feature{Name: s.name, Channel: s.channel, Kind: s.kind, Unit: s.unit,
			Mean: mean, Std: std}
	}
	var outputs []dataset.Output
	for _, class := range j.classes {
		outputs = append(outputs, dataset.Output{Name: class, Std: 1})
	}
	for o, q := range j.quantities {
		mean, std := moments(dataset.Column(rec.Outputs, o, rec,
			func(s *dataset.Sequence) []float64 { return s.Y }))
		outputs = append(outputs, dataset.Output{Name: q.name, Unit: q.unit, Mean: mean, Std: std})
	}
	var net *model.Network
	if j.drawn != nil {
		net = j.drawn(j.seed + networkSeed)
		for i, w := range wanderings {
			features[i].Mean, features[i].Std = w.mean, w.std
		}
		for o, r := range readings {
			outputs[o].Mean, outputs[o].Std = r.mean, r.std
		}
	} else {
		net = scratch(len(features), j.layers, len(outputs), j.seed+networkSeed)
	}
	p := dataset.NewFloat(net, features, outputs)
	p.Classes = rec.Classes
	return p, rec, nil
}

// moments returns mean and standard deviation of values with six significant digits, as
// features.csv and outputs.csv have them.
func moments(values []float64) (mean, std float64) {
	mean, std = portable.MeanStd(values)
	return rounded(mean), rounded(std)
}

// rounded returns a value with six significant digits.
func rounded(v float64) float64 {
	v, _ = strconv.ParseFloat(strconv.FormatFloat(v, 'g', 6, 64), 64) // FormatFloat's own text
	return v
}

// scratch returns a network to begin a training with: weights and biases evenly within
// ±1/sqrt(units of the layer), but the gates that keep a state remember over 1 to 100 steps (Tallec
// and Ollivier 2018, arXiv:1804.11188).
func scratch(inputs int, layers []layer, outputs int, seed uint64) *model.Network {
	random := rand.New(rand.NewPCG(seed, 0))
	even := func(count, units int) []float64 {
		v, bound := make([]float64, count), 1/math.Sqrt(float64(units))
		for i := range v {
			v[i] = span{-bound, bound}.draw(random)
		}
		return v
	}
	net := &model.Network{}
	for _, l := range layers {
		rows := l.kind.Gates() * l.units
		r := &model.Recurrent{Kind: l.kind, Inputs: inputs, Units: l.units,
			W: even(rows*inputs, l.units), U: even(rows*l.units, l.units), B: even(rows, l.units),
			D: make([]float64, rows)}
		if l.kind != model.ElmanTanh {
			for unit := range l.units { // the second gate is the update or the forget gate
				r.B[l.units+unit] = portable.Log(span{1, 100}.draw(random))
			}
		}
		net.Recurrent = append(net.Recurrent, r)
		inputs = l.units
	}
	net.Dense = []*model.Dense{{Inputs: inputs, Outputs: outputs, W: even(outputs*inputs, inputs),
		B: make([]float64, outputs)}}
	return net
}

// filesOf returns the files that hold a network, with weights in float32.
func filesOf(p *dataset.Float) map[string][]byte {
	net := p.Net.Clone()
	for _, values := range net.Values() {
		for i, v := range values {
			values[i] = single(v)
		}
	}
	var weights, features, outputs bytes.Buffer
	if err := model.WriteSafetensors(&weights, model.ToTorch(net), nil); err != nil {
		panic(err) // a buffer takes everything, and names and shapes are ours
	}
	features.WriteString("name,channel,kind,unit,mean,std\n")
	for _, f := range p.Features {
		fmt.Fprintf(&features, "%s,%s,%s,%s,%g,%g\n", f.Name, f.Channel, f.Kind, f.Unit, f.Mean,
			f.Std)
	}
	files := map[string][]byte{"model.safetensors": weights.Bytes(),
		"features.csv": features.Bytes()}
	if !p.Classes {
		outputs.WriteString("name,unit,mean,std\n")
		for _, q := range p.Outputs {
			fmt.Fprintf(&outputs, "%s,%s,%g,%g\n", q.Name, q.Unit, q.Mean, q.Std)
		}
		files["outputs.csv"] = outputs.Bytes()
	}
	return files
}
