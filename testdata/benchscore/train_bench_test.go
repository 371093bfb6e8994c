//go:build unix

package benchscore

import (
	"context"
	"testing"

	"kerf/quant"
	"kerf/recovery"
)

// BenchmarkTrain trains a GRU of 20 features and 16 units on one core, in segments of 30 steps of
// eight sequences: over four epochs of 64 sequences of 480 steps, with all that a training does
// beside its updates.
func BenchmarkTrain(b *testing.B) {
	const sequences, steps, epochs = 64, 480, 4
	rec := recordings(20, sequences, steps)
	net := network(20, 20, 16)
	heldBack := *rec
	heldBack.Sequences = rec.Sequences[:1]
	formats := quant.Uniform(net.Net, 8, 16, 16)
	for _, way := range []struct {
		name    string
		formats *quant.Formats
		blends  int // invented sequences for each recorded one
	}{
		{"float", nil, 0}, {"int8", &formats, 0},
		{"float, with invented sequences", nil, 3}, {"int8, with invented sequences", &formats, 3},
	} {
		b.Run(way.name, func(b *testing.B) {
			s := recovery.Defaults()
			s.Epochs, s.Blends = epochs, way.blends
			perSecond(b, epochs*sequences*steps*float64(1+way.blends), "steps/s", func() {
				task := &recovery.Task{Start: net, Teacher: network(20, 20, 16),
					Formats: way.formats, Training: rec, HeldBack: &heldBack}
				r, err := recovery.Train(context.Background(), task, s, nil,
					func(*recovery.Result) {})
				if err != nil || len(r.Epochs) != epochs {
					b.Fatalf("%d epochs, %v", len(r.Epochs), err)
				}
			})
		})
	}
	for _, batch := range []string{"8", "64"} {
		b.Run("torch, "+batch+" sequences per update", func(b *testing.B) {
			torch(b, "torch_train.py", batch)
		})
	}
}
