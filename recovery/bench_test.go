package recovery

import (
	"context"
	"fmt"
	"math/rand/v2"
	"testing"

	"kerf/dataset"
	"kerf/model"
	"kerf/quant"
)

// BenchmarkTraining is 20 epochs over 50,000 recorded steps of a GRU 20→12→2, the size that
// docs/recovery.md states the time of: as a float network and in int8, without and with the
// invented sequences.
func BenchmarkTraining(b *testing.B) {
	const features, units, sequences, steps = 20, 12, 100, 500
	random := rand.New(rand.NewPCG(1, 1))
	values := func(n int) []float64 {
		v := make([]float64, n)
		for i := range v {
			v[i] = random.NormFloat64() / 3
		}
		return v
	}
	net := &model.Network{
		Recurrent: []*model.Recurrent{{Kind: model.GRUResetAfter, Inputs: features, Units: units,
			W: values(3 * units * features), U: values(3 * units * units), B: values(3 * units),
			D: values(3 * units)}},
		Dense: []*model.Dense{{Inputs: units, Outputs: 2, W: values(2 * units), B: values(2)}},
	}
	inputs := make([]dataset.Feature, features)
	for i := range inputs {
		inputs[i] = dataset.Feature{Std: 1}
	}
	teacher := dataset.NewFloat(net, inputs, []dataset.Output{{Std: 1}, {Std: 1}})
	rec := &dataset.Recordings{Features: features, Outputs: 2}
	for range sequences {
		rec.Sequences = append(rec.Sequences,
			&dataset.Sequence{Steps: steps, X: values(steps * features), Y: values(steps * 2)})
	}
	formats := quant.Uniform(net, 8, 16, 16)
	heldBack := &dataset.Recordings{Features: features, Outputs: 2, Sequences: rec.Sequences[:1]}
	for _, f := range []*quant.Formats{nil, &formats} {
		for _, invented := range []int{0, 3} {
			b.Run(fmt.Sprintf("int8=%v/invented=%d", f != nil, invented), func(b *testing.B) {
				for b.Loop() {
					s := Defaults()
					s.Blends = invented
					epochs := 0
					for epochs < 20 { // the network has nothing to gain, so a training ends early
						r, err := Train(context.Background(),
							&Task{Start: disturbed(teacher, 0.1), Teacher: teacher, Formats: f,
								Training: rec, HeldBack: heldBack}, s, nil, func(*Result) {})
						if err != nil {
							b.Fatal(err)
						}
						epochs += len(r.Epochs)
					}
				}
			})
		}
	}
}
