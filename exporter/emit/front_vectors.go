package emit

import (
	"fmt"
	"slices"
	"strings"

	"kerf/dataset"
	"kerf/frontend"
	"kerf/quant"
)

// FrontWindow is one window of the self-test of the front end: converter codes in, outputs of the
// network out.
type FrontWindow struct {
	Reset bool // front end and network are reset before this window
	Wave  Wave
	Codes [][]uint16 // per channel; of every wave but Recorded they follow from it
	X     []int32    // features as the network takes them, the computed ones included
	Y     []int32
}

// Wave says where the codes of a window come from.
type Wave string

// The waves of windows. Square saturates features, Still is below every floor.
const (
	Recorded Wave = "recorded"
	Square   Wave = "square" // the largest codes, and the smallest from the middle of the window on
	Still    Wave = "still"  // the middle codes
)

// codesOf returns the codes of a window that is not recorded.
func (w Wave) codesOf(n *frontend.Integer) [][]uint16 {
	codes := make([][]uint16, len(n.Channels))
	samples := n.Front.Sampling.Samples
	for c := range codes {
		middle := n.Channels[c].Middle
		codes[c] = slices.Repeat([]uint16{uint16(middle)}, samples)
		for i := range codes[c] {
			switch {
			case w == Square && i < samples/2:
				codes[c][i] = uint16(2*middle - 1)
			case w == Square:
				codes[c][i] = 0
			}
		}
	}
	return codes
}

const (
	// windowBytes bounds the codes of the self-test, which lie in flash while it runs: 4 KiB.
	windowBytes = 4096
	// mostWindows is how many recorded windows there are at most, of two sequences. Our choice:
	// enough for a baseline to change and for differences of windows.
	mostWindows = 8
)

// FrontWindows returns the windows of the self-test of a front end: the first windows of the first
// two sequences that have samples, as many as fit 4 KiB, then one of codes at both ends and one
// below every floor. channels are the names of the columns of samples.
func FrontWindows(f *FrontEnd, net *quant.Network, sequences []*dataset.Sequence,
	samples []*dataset.Samples, channels []string) []FrontWindow {
	front := f.Integer.Front
	each := mostWindows / 2
	if bytes := 2 * len(front.Channels) * front.Sampling.Samples; bytes > 0 {
		each = min(each, windowBytes/bytes/2)
	}
	var windows []FrontWindow
	taken := 0
	for i, s := range samples {
		if s == nil || taken == 2 {
			continue
		}
		taken++
		x := make([]int32, len(net.Features))
		for step := range min(each, sequences[i].Steps) {
			w := FrontWindow{Reset: step == 0, Wave: Recorded}
			at := step * front.Sampling.Samples
			for c := range front.Channels {
				converter := front.Channels[c].Converter
				column := s.X[slices.Index(channels, front.Channels[c].Name)]
				codes := make([]uint16, front.Sampling.Samples)
				for n := range codes {
					codes[n] = converter.Code(column[at+n])
				}
				w.Codes = append(w.Codes, codes)
			}
			net.EncodeStep(sequences[i], step, x)
			w.X = slices.Clone(x)
			windows = append(windows, w)
		}
	}
	for _, wave := range []Wave{Square, Still} {
		w := FrontWindow{Reset: len(windows) == 0, Wave: wave, Codes: wave.codesOf(f.Integer),
			X: make([]int32, len(net.Features))}
		if len(windows) > 0 {
			copy(w.X, windows[len(windows)-1].X) // the given features go on
		}
		windows = append(windows, w)
	}
	runWindows(f, net, windows)
	return windows
}

// runWindows sets the computed features and the outputs of windows.
func runWindows(f *FrontEnd, net *quant.Network, windows []FrontWindow) {
	state := net.NewState()
	for first := 0; first < len(windows); {
		last := first + 1
		for last < len(windows) && !windows[last].Reset {
			last++
		}
		codes := make([][]uint16, len(f.Integer.Front.Channels))
		for _, w := range windows[first:last] {
			for c := range codes {
				codes[c] = append(codes[c], w.Codes[c]...)
			}
		}
		state.Reset()
		for step, x := range f.Integer.Encode(codes, last-first) {
			w := &windows[first+step]
			for i, at := range f.Index {
				w.X[at] = int32(x[i])
			}
			w.Y = make([]int32, len(net.Outputs))
			net.Step(state, w.X, w.Y)
		}
		first = last
	}
}

// replayWindows runs the windows of the self-test through front end and network.
func (p *Program) replayWindows() error {
	again := make([]FrontWindow, len(p.Windows))
	for i, w := range p.Windows {
		again[i] = w
		again[i].X = slices.Clone(w.X)
	}
	if len(again) > 0 {
		runWindows(p.Front, p.Net, again)
	}
	for i, w := range p.Windows {
		if !slices.Equal(again[i].X, w.X) || !slices.Equal(again[i].Y, w.Y) {
			return fmt.Errorf("window %d gives %v and %v, the self-test expects %v and %v", i,
				again[i].X, again[i].Y, w.X, w.Y)
		}
	}
	return nil
}

// windowVectors writes the windows of NAME_vectors.h.
func (p *Program) windowVectors(b *strings.Builder) {
	if p.Front == nil {
		return
	}
	var recorded []FrontWindow
	fmt.Fprintf(b,
		"#define NET_VECTOR_WINDOWS %dU\n\n/* 1: front end and network are reset before "+
			"this window. */\nstatic const uint8_t net_window_reset[NET_VECTOR_WINDOWS] "+
			"NET_ROM = {\n",
		len(p.Windows))
	list(b, len(p.Windows), 24, func(i int) string { return fmt.Sprint(flag(p.Windows[i].Reset)) })
	b.WriteString("};\n\n/* Where its codes are in net_window_codes; 254: the largest codes, and " +
		"the smallest from the\n * middle on; 255: the middle codes. */\nstatic const uint8_t " +
		"net_window_at[NET_VECTOR_WINDOWS] NET_ROM = {\n")
	list(b, len(p.Windows), 24, func(i int) string {
		switch p.Windows[i].Wave {
		case Square:
			return "254"
		case Still:
			return "255"
		}
		recorded = append(recorded, p.Windows[i])
		return fmt.Sprint(len(recorded) - 1)
	})
	b.WriteString("};\n\n")
	if len(recorded) == 0 {
		b.WriteString("static const uint16_t net_window_codes[1][1][NET_N_CHANNELS] NET_ROM = " +
			"{ { { 0 } } }; /* none */\n\n")
	} else {
		fmt.Fprintf(b, "static const uint16_t net_window_codes[%d][NET_WINDOW][NET_N_CHANNELS] "+
			"NET_ROM = {\n", len(recorded))
		for _, w := range recorded {
			b.WriteString("  {\n")
			list(b, len(w.Codes[0]), 8, func(n int) string {
				codes := make([]int32, len(w.Codes))
				for c := range codes {
					codes[c] = int32(w.Codes[c][n])
				}
				return "{ " + join(codes) + " }"
			})
			b.WriteString("  },\n")
		}
		b.WriteString("};\n\n")
	}
	b.WriteString("/* Features: the given ones go in, the computed ones come out. */\n")
	rowsOf(b, "int16_t net_window_x[NET_VECTOR_WINDOWS][NET_N_FEATURES]", p.Windows,
		func(w FrontWindow) []int32 { return w.X })
	rowsOf(b, "int32_t net_window_y[NET_VECTOR_WINDOWS][NET_N_OUTPUTS]", p.Windows,
		func(w FrontWindow) []int32 { return w.Y })
}
