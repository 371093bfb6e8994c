package smallest

import (
	"bytes"
	"context"
	"fmt"
	"strconv"

	"kerf/dataset"
	"kerf/model"
	"kerf/portable"
	"kerf/recovery"
)

// Train makes the network of the job as given and returns the files that hold it:
// model.safetensors, features.csv and, unless the job is a classifier, outputs.csv. after is called
// after every epoch of the training; a network that is drawn needs none.
func (j *Job) Train(ctx context.Context, after func(r *recovery.Result)) (map[string][]byte,
	error) {
	if j.drawn != nil {
		return filesOf(j.drawn(j)), nil
	}
	rec, err := j.read(trainingSet)
	if err != nil {
		return nil, err
	}
	p, err := j.train(ctx, rec, j.layers, j.epochs, after)
	if err != nil {
		return nil, err
	}
	return filesOf(p), nil
}

// train trains a network of the given layers from scratch towards the recorded outputs alone, by
// back-propagation through whole sequences. The settings were chosen by the training
// recordings and comparisonSet.
func (j *Job) train(ctx context.Context, rec *dataset.Recordings, layers []layer, epochs int,
	after func(r *recovery.Result)) (*dataset.Float, error) {
	start, seed := j.untrained(rec, layers), j.seed+networkSeed
	training, heldBack := recovery.Split(rec)
	result, err := recovery.Train(ctx,
		&recovery.Task{Start: start, Teacher: start, Training: training, HeldBack: heldBack},
		recovery.Settings{Epochs: epochs, Length: int(length.high), Rate: 0.01, Clip: 1,
			Seed: seed}, nil, after)
	if err != nil {
		return nil, err
	}
	return result.Net, nil
}

// untrained returns the network that a training begins with.
func (j *Job) untrained(rec *dataset.Recordings, layers []layer) *dataset.Float {
	shape := &model.Network{Dense: []*model.Dense{{Outputs: rec.Outputs}}}
	var units, features []int
	for _, l := range layers {
		shape.Recurrent = append(shape.Recurrent, &model.Recurrent{Kind: l.kind})
		units = append(units, l.units)
	}
	for i := range j.sensors {
		features = append(features, i)
	}
	like := &dataset.Float{Net: shape, Features: j.features(rec), Kept: features,
		Outputs: j.outputs(rec), Classes: rec.Classes}
	return recovery.Scratch(like, rec, features, units, j.seed+networkSeed)
}

// read returns a set of recordings as kerf reads it.
func (j *Job) read(s set) (*dataset.Recordings, error) {
	names := make([]string, len(j.sensors))
	for i, f := range j.sensors {
		names[i] = f.name
	}
	return dataset.ReadCSV(bytes.NewReader(j.recordings(s)), s.prefix+".csv", names, j.reference())
}

// features returns the features, normalised as they are in the training recordings.
func (j *Job) features(rec *dataset.Recordings) []dataset.Feature {
	features := make([]dataset.Feature, len(j.sensors))
	for i, s := range j.sensors {
		mean, std := moments(dataset.Column(rec.Features, i, rec,
			func(s *dataset.Sequence) []float64 { return s.X }))
		features[i] = dataset.Feature{Name: s.name, Channel: s.channel, Kind: s.kind, Unit: s.unit,
			Mean: mean, Std: std}
	}
	return features
}

// outputs returns the outputs, normalised as they are in the training recordings; scores of classes
// are not normalised.
func (j *Job) outputs(rec *dataset.Recordings) []dataset.Output {
	var outputs []dataset.Output
	for _, class := range j.classes {
		outputs = append(outputs, dataset.Output{Name: class, Std: 1})
	}
	for o, q := range j.quantities {
		mean, std := moments(dataset.Column(rec.Outputs, o, rec,
			func(s *dataset.Sequence) []float64 { return s.Y }))
		outputs = append(outputs, dataset.Output{Name: q.name, Unit: q.unit, Mean: mean, Std: std})
	}
	return outputs
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
