package benchscore

import (
	"testing"

	"golang.org/x/sys/cpu"
)

// BenchmarkPeak measures the most arithmetic that one core can do: loops in registers.
func BenchmarkPeak(b *testing.B) {
	if !cpu.X86.HasAVX2 || !cpu.X86.HasFMA {
		b.Skip("not measured: this processor has no AVX2 and FMA")
	}
	const rounds = 100_000
	for _, loop := range []struct {
		name   string
		run    func(n int)
		amount float64 // multiply-accumulates per round
	}{
		{"float32, fused", fused, 96},
		{"float32, apart", apart, 96},
		{"int16 pairs", pairs, 192},
	} {
		b.Run(loop.name, func(b *testing.B) {
			perSecond(b, rounds*loop.amount, "MAC/s", func() { loop.run(rounds) })
		})
	}
}
