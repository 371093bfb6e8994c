package quant

import (
	"testing"
)

// BenchmarkStep reports steps per second on one core for 20 features, 16 units
// and 2 outputs, the size that the speed goal names.
func BenchmarkStep(b *testing.B) {
	for _, formats := range []Formats{Widths(8, 8, 16, 16), Widths(16, 16, 16, 16),
		Widths(8, 8, 16, 32)} {
		b.Run(formats.String(), func(b *testing.B) {
			net := randomNetwork(b, 1, 20, 16, 2, formats)
			state := net.NewState()
			x, y := make([]int32, 20), make([]int32, 2)
			for i := range x {
				x[i] = int32(i*3001%65536) - 32768
			}
			for b.Loop() {
				net.Step(state, x, y)
			}
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "steps/s")
		})
	}
}
