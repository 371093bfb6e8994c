package smallest

import (
	"context"
	"os"
	"path/filepath"

	"kerf/budget"
	"kerf/dataset"
	"kerf/recovery"
)

// Row has the loss of networks in one output, on recordings that nothing else uses: RMSE in the
// unit of the output, or of a classifier the share of steps at which it is right.
type Row struct {
	Output, Unit string
	Std          float64 // of the recorded values; of a classifier 0
	Noise        float64 // loss of the true values, which nothing can beat
	Given        float64 // of the network as given
	Longer       float64 // of a network trained twice as long
	Third        float64 // of a network with a third of the units, trained four times as long
}

// Compare returns a row for every output of the job. A network that is drawn is compared with
// itself and with a network of one unit less.
func (j *Job) Compare(ctx context.Context) ([]Row, error) {
	given, err := j.given()
	if err != nil {
		return nil, err
	}
	training, err := j.read(trainingSet)
	if err != nil {
		return nil, err
	}
	rec, err := j.read(comparisonSet)
	if err != nil {
		return nil, err
	}
	nobody := func(*recovery.Result) {}
	longer, smaller := given, make([]layer, len(j.layers))
	if j.drawn == nil {
		if longer, err = j.train(ctx, training, j.layers, 2*j.epochs, nobody); err != nil {
			return nil, err
		}
	}
	for i, l := range j.layers {
		smaller[i] = layer{l.kind, l.units / 3}
		if j.drawn != nil {
			smaller[i].units = l.units - 1
		}
	}
	third, err := j.train(ctx, training, smaller, 4*j.epochs, nobody)
	if err != nil {
		return nil, err
	}
	return j.rows(rec, given, longer, third), nil
}

// rows measures three networks.
func (j *Job) rows(rec *dataset.Recordings, given, longer, third *dataset.Float) []Row {
	a, b, c := dataset.Measure(given, rec, nil), dataset.Measure(longer, rec, nil),
		dataset.Measure(third, rec, nil)
	if j.column != "" {
		slice := dataset.Slice{Region: -1}
		return []Row{{Output: j.column, Noise: 1 - j.wrong,
			Given:  a.Value(a, slice, dataset.Accuracy),
			Longer: b.Value(a, slice, dataset.Accuracy),
			Third:  c.Value(a, slice, dataset.Accuracy)}}
	}
	var rows []Row
	for o, q := range j.quantities {
		slice := dataset.Slice{Output: o, Region: -1}
		_, std := dataset.MeanStd(dataset.Column(rec.Outputs, o, rec,
			func(s *dataset.Sequence) []float64 { return s.Y }))
		rows = append(rows, Row{Output: q.name, Unit: q.unit, Std: std, Noise: q.noise,
			Given:  a.Value(a, slice, dataset.RMSE),
			Longer: b.Value(a, slice, dataset.RMSE),
			Third:  c.Value(a, slice, dataset.RMSE)})
	}
	return rows
}

// given returns the network of the job as kerf reads it.
func (j *Job) given() (*dataset.Float, error) {
	dir, err := os.MkdirTemp("", "smallest-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	if err := j.Write(dir); err != nil {
		return nil, err
	}
	in, err := budget.Load(filepath.Join(dir, "job.toml"))
	if err != nil {
		return nil, err
	}
	return in.Float, nil
}
