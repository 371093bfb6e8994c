package recovery

import (
	"sync"

	"kerf/dataset"
	"kerf/model"
	"kerf/model/lanes"
)

// Answers keeps what one teacher answers to recorded sequences, so that several trainings ask it
// only once. Several goroutines may share it; the zero value is ready to use.
type Answers struct {
	mutex sync.Mutex
	// raw outputs of the teacher [steps × outputs] in float32
	raw map[*dataset.Sequence][]float32
}

// of returns the answers to sequences. Those that are new are asked for now.
func (a *Answers) of(teacher *dataset.Float, sequences []*dataset.Sequence) [][]float32 {
	if a == nil {
		a = &Answers{}
	}
	a.mutex.Lock()
	defer a.mutex.Unlock()
	if a.raw == nil {
		a.raw = map[*dataset.Sequence][]float32{}
	}
	var unknown []example
	for _, s := range sequences {
		if _, known := a.raw[s]; !known {
			a.raw[s] = make([]float32, s.Steps*len(teacher.Outputs))
			unknown = append(unknown, example{recorded: s, steps: s.Steps, target: a.raw[s]})
		}
	}
	answer(teacher, unknown)
	all := make([][]float32, len(sequences))
	for i, s := range sequences {
		all[i] = a.raw[s]
	}
	return all
}

// answer sets the targets of examples to the raw outputs of a network.
func answer(p *dataset.Float, examples []example) {
	state, outputs := lanes.Compile(p.Net).NewState(), len(p.Outputs)
	eachStep(state, newReader(p), examples, func(lane, number, step int) {
		to, y := examples[number].target[step*outputs:(step+1)*outputs], state.Output()
		for o := range to {
			to[o] = y[o*lanes.Width+lane]
		}
	})
}

// teach brings targets that hold the raw answers of the teacher into the frame of training, the
// network p: (1-share)·reference + share·teacher, and the teacher alone without a reference. Where
// squared errors or the cross-entropy are minimised, mixing the targets has the same derivatives as
// mixing two losses.
func (t *Task) teach(p *dataset.Float, examples []example, share float64) {
	outputs := len(p.Outputs)
	taught := make([]float64, outputs)
	for i := range examples {
		e := &examples[i]
		for step := range e.steps {
			target := e.target[step*outputs : (step+1)*outputs]
			for o, v := range target {
				taught[o] = float64(v)
			}
			t.Teacher.Physical(taught)
			if t.byShares() {
				model.Shares(taught, taught)
			}
			for o, v := range taught {
				if e.other == nil && len(e.recorded.Y) > 0 {
					v = float64((1-share)*e.recorded.Y[step*outputs+o]) + float64(share*v)
				}
				target[o] = float32((v - p.Outputs[o].Mean) / p.Outputs[o].Std)
			}
		}
	}
}

// recorded returns the recorded sequences with their targets.
func (t *Task) recorded(p *dataset.Float, rec *dataset.Recordings, share float64) []example {
	all := make([]example, len(rec.Sequences))
	for i, raw := range t.Answers.of(t.Teacher, rec.Sequences) {
		s := rec.Sequences[i]
		all[i] = example{recorded: s, steps: s.Steps, target: append([]float32(nil), raw...)}
	}
	t.teach(p, all, share)
	return all
}
