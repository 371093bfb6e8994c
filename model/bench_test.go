package model

import (
	"math/rand/v2"
	"testing"
)

func BenchmarkStep(b *testing.B) {
	// The size of the demo network: 19 features, 24 units, 2 outputs.
	const inputs, units, outputs, steps = 19, 24, 2, 64
	for _, kind := range everyKind {
		b.Run(kind.String(), func(b *testing.B) {
			n := randomNetwork(1, inputs, []layerSize{{kind, units}},
				[]denseSize{{Identity, outputs}})
			run, y := n.NewRun(), make([]float64, outputs)
			x := normal(rand.New(rand.NewPCG(1, 2)), steps*inputs)
			k := 0
			for b.Loop() {
				run.Step(x[k*inputs:][:inputs], y)
				k = (k + 1) % steps
			}
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "steps/s")
		})
	}
}
