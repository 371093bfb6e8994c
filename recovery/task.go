package recovery

import (
	"math"

	"kerf/dataset"
	"kerf/model"
	"kerf/portable"
	"kerf/quant"
)

// Task says what is trained, on what, towards what.
type Task struct {
	Name string // in a checkpoint, which may keep several trainings

	// Start is the network to begin with; its features are standardised, see [quant.Standardise].
	Start   *dataset.Float
	Teacher *dataset.Float // the network as given
	Answers *Answers       // of the teacher, where several trainings share them; else nil
	Formats *quant.Formats // the words it will run in; nil trains the float network as such

	Training *dataset.Recordings // sequences without Y are learned from the teacher alone
	HeldBack *dataset.Recordings // judges epochs and is not trained on; with Y
}

// frame returns the network in training: the start, with raw outputs scaled so that the reference
// has standard deviation 1, since one rate serves the weights of all outputs. Outputs behind an
// activation and the scores of classes stay as they are.
func (t *Task) frame() *dataset.Float {
	p := *t.Start
	p.Net = p.Net.Clone()
	if p.Classes || t.lastActivation() != model.Identity {
		return &p
	}
	p.Outputs = append([]dataset.Output(nil), p.Outputs...)
	labelled := t.labelled()
	for o := range p.Outputs {
		out := &p.Outputs[o]
		out.Mean, out.Std = spread(labelled, o, out.Std)
	}
	rescaleOutputs(p.Net, t.Start.Outputs, p.Outputs)
	return &p
}

// lastActivation returns the activation of the last dense layer.
func (t *Task) lastActivation() model.Activation {
	dense := t.Start.Net.Dense
	return dense[len(dense)-1].Activation
}

// labelled returns all sequences with reference values.
func (t *Task) labelled() *dataset.Recordings {
	return withReference(dataset.Join(t.Training, t.HeldBack))
}

// withReference returns the sequences of recordings that have reference values.
func withReference(rec *dataset.Recordings) *dataset.Recordings {
	all := *rec
	all.Sequences = nil
	for _, s := range rec.Sequences {
		if len(s.Y) > 0 {
			all.Sequences = append(all.Sequences, s)
		}
	}
	return &all
}

// spread returns mean and standard deviation of an output over recordings; for a constant output,
// scale in the place of the latter.
func spread(rec *dataset.Recordings, output int, scale float64) (mean, std float64) {
	var values []float64
	for _, s := range rec.Sequences {
		for step := range s.Steps {
			values = append(values, s.Y[step*rec.Outputs+output])
		}
	}
	mean, std = portable.MeanStd(values)
	if std == 0 {
		std = scale
	}
	return mean, std
}

// rescaleOutputs changes the last layer from the normalisation of one list of outputs to that of
// another, so that the physical outputs stay.
func rescaleOutputs(net *model.Network, from, to []dataset.Output) {
	last := net.Dense[len(net.Dense)-1]
	for o := range to {
		ratio := from[o].Std / to[o].Std
		for i := range last.Inputs {
			last.W[o*last.Inputs+i] *= ratio
		}
		last.B[o] = float64(last.B[o]*ratio) + (from[o].Mean-to[o].Mean)/to[o].Std
	}
}

// Renormalise returns a predictor of the same function whose network takes the features as the
// given features normalise them.
func Renormalise(p *dataset.Float, features []dataset.Feature) *dataset.Float {
	q := *p
	q.Net, q.Features = p.Net.Clone(), features
	first := q.Net.Recurrent[0]
	for r := range first.B {
		row := first.W[r*first.Inputs : (r+1)*first.Inputs]
		for i, k := range p.Kept {
			now, then := features[k], p.Features[k]
			first.B[r] += float64(row[i] * (now.Mean - then.Mean) / then.Std)
			row[i] *= now.Std / then.Std
		}
	}
	return &q
}

// byShares reports whether the loss is the cross-entropy. Scores that have been through an
// activation are no logarithms of shares: for these the loss is the squared error against 1 for the
// class of the step and 0 for the others.
func (t *Task) byShares() bool {
	return t.Start.Classes && t.lastActivation() == model.Identity
}

// weights returns the weight of every output in the loss. It makes the outputs count alike: the
// squared error of each is measured in squared errors of the teacher against the reference, which
// tolerances are relative to.
func (t *Task) weights(p *dataset.Float) []float64 {
	outputs, labelled := len(p.Outputs), t.labelled()
	w := make([]float64, outputs)
	if t.Start.Classes {
		for o := range w {
			w[o] = 1
		}
		return w
	}
	answers := t.Answers.of(t.Teacher, labelled.Sequences)
	given := make([]float64, outputs)
	for i, s := range labelled.Sequences {
		for step := range s.Steps {
			for o := range given {
				given[o] = float64(answers[i][step*outputs+o])
			}
			t.Teacher.Physical(given)
			for o, v := range given {
				e := (v - s.Y[step*outputs+o]) / p.Outputs[o].Std
				w[o] += float64(e * e)
			}
		}
	}
	for o := range w {
		w[o] = 1 / math.Max(w[o]/float64(labelled.Steps()), leastError)
	}
	return w
}

// leastError keeps an output that the teacher knows exactly from taking all of the loss. It is in
// variances of the output, so it is the error at an R² of 0.9999 (our choice).
const leastError = 1e-4
