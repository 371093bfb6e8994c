package lanes

import (
	"math/rand/v2"
	"testing"
)

func BenchmarkStep(b *testing.B) {
	const inputs, units, outputs, steps = 20, 16, 2, 64
	for _, kind := range everyKind {
		b.Run(kind.String(), func(b *testing.B) {
			state := Compile(randomNetwork(1, inputs, units, outputs, kind)).NewState()
			random := rand.New(rand.NewPCG(1, 2))
			x := make([]float32, steps*inputs*Width)
			for i := range x {
				x[i] = float32(random.NormFloat64())
			}
			k := 0
			for b.Loop() {
				copy(state.Input(), x[k*inputs*Width:])
				state.Step()
				k = (k + 1) % steps
			}
			b.ReportMetric(Width*float64(b.N)/b.Elapsed().Seconds(), "steps/s")
		})
	}
}

// BenchmarkTape is a segment of 30 steps, forward and back.
func BenchmarkTape(b *testing.B) {
	const inputs, units, outputs, steps = 20, 16, 2, 30
	for _, kind := range everyKind {
		b.Run(kind.String(), func(b *testing.B) {
			net := randomNetwork(1, inputs, units, outputs, kind)
			tape, gradient := NewTape(net, steps), net.Clone()
			s := randomSegments(1, net, steps)
			s.put(s.x, tape.Input)
			for b.Loop() {
				tape.Forward(steps)
				for step := range steps {
					copy(tape.Change(step), tape.Output(step))
				}
				tape.Backward(gradient, false)
			}
			b.ReportMetric(Width*steps*float64(b.N)/b.Elapsed().Seconds(), "steps/s")
		})
	}
}
