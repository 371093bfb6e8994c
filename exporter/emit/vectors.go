package emit

import (
	"fmt"
	"sort"
	"strings"

	"kerf/dataset"
	"kerf/quant"
)

// VectorStep is one step of the self-test: integers in, integers out.
type VectorStep struct {
	Reset bool // the state is set to zero before this step
	X, Y  []int32
}

const (
	segmentSteps = 24 // steps of one run of vectors
	// recorded windows around the largest input of either sign, and around the largest output
	extremeWindows = 2
)

// Vectors picks recorded steps for the self-test: the start of the first
// sequence of every scenario, windows around the most extreme recorded inputs
// and outputs, then inputs at the ends of the int16 range.
func Vectors(net *quant.Network, rec *dataset.Recordings) []VectorStep {
	var steps []VectorStep
	state := net.NewState()
	run := func(inputs [][]int32) {
		state.Reset()
		for i, x := range inputs {
			y := make([]int32, len(net.Outputs))
			net.Step(state, x, y)
			steps = append(steps, VectorStep{Reset: i == 0, X: x, Y: y})
		}
	}
	seen := map[string]bool{}
	for _, s := range rec.Sequences {
		if !seen[s.Scenario] {
			seen[s.Scenario] = true
			run(encoded(net, s, 0))
		}
	}
	for _, w := range extremes(net, rec) {
		run(encoded(net, w.sequence, w.from))
	}
	run(limits(len(net.Features)))
	return steps
}

// encoded is a run of recorded inputs that begins at step from.
func encoded(net *quant.Network, s *dataset.Sequence, from int) [][]int32 {
	columns := len(s.X) / s.Steps
	var inputs [][]int32
	for step := from; step < min(from+segmentSteps, s.Steps); step++ {
		x := make([]int32, len(net.Features))
		net.Encode(s.X[step*columns:(step+1)*columns], x)
		inputs = append(inputs, x)
	}
	return inputs
}

type window struct {
	sequence *dataset.Sequence
	from     int
	size     float64
}

// extremes finds, over all recordings, the windows whose middle holds the
// largest encoded input and the largest reference output, relative to its mean.
func extremes(net *quant.Network, rec *dataset.Recordings) []window {
	var inputs, outputs []window
	for _, s := range rec.Sequences {
		columns := len(s.X) / s.Steps
		topIn, topOut := window{sequence: s, size: -1}, window{sequence: s, size: -1}
		x := make([]int32, len(net.Features))
		for step := range s.Steps {
			net.Encode(s.X[step*columns:(step+1)*columns], x)
			for _, v := range x {
				topIn = larger(topIn, window{s, step, float64(max(v, -v))})
			}
			for o, out := range net.Outputs {
				deviation := (s.Y[step*len(net.Outputs)+o] - out.Mean) / out.Std
				topOut = larger(topOut, window{s, step, max(deviation, -deviation)})
			}
		}
		inputs, outputs = append(inputs, topIn), append(outputs, topOut)
	}
	var chosen []window
	for _, group := range [][]window{inputs, outputs} {
		sort.SliceStable(group, func(a, b int) bool { return group[a].size > group[b].size })
		for _, w := range group[:min(extremeWindows, len(group))] {
			w.from = max(0, w.from-segmentSteps/2)
			chosen = append(chosen, w)
		}
	}
	return chosen
}

func larger(a, b window) window {
	if b.size > a.size {
		return b
	}
	return a
}

// limits are inputs at the ends of the int16 range, together and alternating.
func limits(features int) [][]int32 {
	var inputs [][]int32
	for step := range segmentSteps {
		x := make([]int32, features)
		for i := range x {
			high := step%2 == 0
			if step >= segmentSteps/2 {
				high = (i+step)%2 == 0
			}
			x[i] = -32768
			if high {
				x[i] = 32767
			}
		}
		inputs = append(inputs, x)
	}
	return inputs
}

// vectorsHeader is NAME_vectors.h.
func (h *Program) vectorsHeader(rom string) string {
	var b strings.Builder
	b.WriteString(h.banner("recorded steps for the self-test; the last ones are inputs at the " +
		"ends of their range"))
	b.WriteString("#ifndef NET_VECTORS_H\n#define NET_VECTORS_H\n\n#include \"net.h\"\n\n" + rom +
		"#define NET_VECTORS_ID 0x@ID@UL\n")
	fmt.Fprintf(&b, "#define NET_VECTOR_STEPS %dU\n\n", len(h.Vectors))
	b.WriteString("/* 1: the state is reset before this step. */\nstatic const uint8_t " +
		"net_vector_reset[NET_VECTOR_STEPS] NET_ROM = {\n")
	list(&b, len(h.Vectors), 24, func(i int) string {
		if h.Vectors[i].Reset {
			return "1"
		}
		return "0"
	})
	b.WriteString("};\n\nstatic const int16_t net_vector_x[NET_VECTOR_STEPS][NET_N_FEATURES] " +
		"NET_ROM = {\n")
	for _, v := range h.Vectors {
		b.WriteString("    { " + join(v.X) + " },\n")
	}
	b.WriteString("};\n\nstatic const int32_t net_vector_y[NET_VECTOR_STEPS][NET_N_OUTPUTS] " +
		"NET_ROM = {\n")
	for _, v := range h.Vectors {
		b.WriteString("    { " + join(v.Y) + " },\n")
	}
	b.WriteString("};\n\n#endif /* NET_VECTORS_H */\n")
	return rename(b.String(), h.Name)
}

func join(values []int32) string {
	parts := make([]string, len(values))
	for i, v := range values {
		parts[i] = fmt.Sprint(v)
	}
	return strings.Join(parts, ", ")
}
