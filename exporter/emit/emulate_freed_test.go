//go:build emulate

package emit

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"kerf/budget/cost"
	"kerf/dataset"
	"kerf/fault"
	"kerf/frontend"
	"kerf/quant"
	"kerf/targets"
	"kerf/targets/measure"
	"kerf/testdata/randomnet"
)

// sampledTwice is a front end of two channels with features of every kind; level, slope, ripple and
// amplitude of one share its sums.
func sampledTwice(t *testing.T) *frontend.FrontEnd {
	t.Helper()
	f := &frontend.FrontEnd{Sampling: dataset.Sampling{Samples: 64, Rate: 6400, Period: 0.1}}
	for _, name := range []string{"supply", "drain"} {
		f.Channels = append(f.Channels, frontend.Channel{Name: name, Cycles: 4, Floor: 0.06,
			Converter: frontend.Converter{Low: 0, High: 250, Bits: 12},
			Baseline:  frontend.Baseline{Seconds: 2}})
	}
	for i, texts := range [][]string{{"level", "relative", "slope", "trend", "rms", "ripple",
		"amplitude(1)", "amplitude(5)", "phase(1)", "distortion(4)"},
		{"minimum", "maximum", "swing", "phase(1, supply)"}} {
		for _, text := range texts {
			d, err := frontend.ParseDefinition(text)
			if err != nil {
				t.Fatal(err)
			}
			f.Features = append(f.Features, frontend.Feature{Name: fmt.Sprintf("f%d",
				len(f.Features)), Definition: d, Channel: i, Other: 0, Scale: 1})
		}
	}
	return f
}

// takenOnACore is what a front end takes, by measuring its C.
type takenOnACore struct {
	flash, ram, sampling, features float64
}

// window is the cycles of a window.
func (t *takenOnACore) window() float64 { return t.sampling + t.features }

// measuredFront compiles and runs the C of a front end with a network of as many features.
func measuredFront(t *testing.T, core *targets.Profile, f *frontend.FrontEnd) takenOnACore {
	t.Helper()
	float := randomnet.Network(rand.New(rand.NewPCG(1, 1)), len(f.Features), randomnet.OneGRU, 1)
	rec := randomnet.Recordings(rand.New(rand.NewPCG(1, 2)), float)
	net, err := quant.Quantize(float, quant.Calibrate(float, rec),
		quant.Uniform(float.Net, 8, 16, 16), quant.Nearest)
	if err != nil {
		t.Fatal(err)
	}
	p := &Program{Name: "net", Version: "test", JobHash: fmt.Sprintf("%064x", 0),
		VerdictLine: "test", Description: float.Net.String(), Net: net, Vectors: Vectors(net, rec),
		KeptUnits: [][]int{firstOf(net.Layers[0].Units, net.Layers[0].Units)},
		Front:     &FrontEnd{Integer: frontend.NewInteger(f, unitEncodings(f))}}
	for i := range f.Features {
		net.Features[i].Name = f.Features[i].Name
		p.Front.Index = append(p.Front.Index, i)
	}
	dir := t.TempDir()
	files, err := p.CFiles()
	if err != nil {
		t.Fatal(err)
	}
	for name, text := range files {
		if err := os.WriteFile(filepath.Join(dir, name), text, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	front := &measure.Front{Samples: f.Sampling.Samples}
	for _, c := range f.Channels {
		front.Bits = append(front.Bits, c.Converter.Bits)
	}
	r, err := measure.FrontEnd(t.Context(), core, dir, p.Name,
		measure.Options{Front: front})
	if err != nil {
		t.Fatalf("%v; %s", err, fault.Hint(err))
	}
	return takenOnACore{float64(r.Front.Flash), float64(r.Front.RAM), r.Front.Sampling.Cycles,
		r.Front.Features.Cycles}
}

func unitEncodings(f *frontend.FrontEnd) []frontend.Encoding {
	all := make([]frontend.Encoding, len(f.Features))
	for i := range all {
		all[i] = frontend.Encoding{Mean: 1, Std: 3, FractionBits: 11}
	}
	return all
}

// What the search counts as freed is what compiling both front ends shows: each kind of feature
// alone, two that share sums, the last harmonics, all of a channel. RAM is exact (linkers fill up);
// cycles are within 5 % of a window of the whole front end, as estimates are, and flash within 8 %
// of it or a quarter of what goes: compilers put a function into its last caller.
func TestEmulatedFrontEndsFreeWhatIsCounted(t *testing.T) {
	whole := sampledTwice(t)
	var drops [][]int
	for i := range whole.Features {
		drops = append(drops, []int{i})
	}
	drops = append(drops, []int{0, 6}, []int{6, 7, 8, 9, 13}, []int{10, 11, 12, 13},
		[]int{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 13})
	for _, name := range []string{"cortex-m0plus", "avr8"} {
		core, err := targets.Load(name)
		if err != nil {
			t.Fatal(err)
		}
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			estimate := func(f *frontend.FrontEnd) takenOnACore {
				n := frontend.NewInteger(f, unitEncodings(f))
				e := cost.OfFrontEnd(n, 0, core, targets.FlashWait{}, false)
				return takenOnACore{float64(e.Code + n.TableBytes(0)), float64(n.StateBytes()),
					float64(f.Sampling.Samples) * e.Sample.Cycles, e.Features.Cycles}
			}
			before, counted := measuredFront(t, core, whole), estimate(whole)
			for _, drop := range drops {
				var kept []int
				names := ""
				for i := range whole.Features {
					if !slices.Contains(drop, i) {
						kept = append(kept, i)
					} else {
						names += " " + whole.Features[i].Definition.String()
					}
				}
				less := whole.Only(kept)
				after, then := measuredFront(t, core, less), estimate(less)
				check := func(what string, freed, says, least, part float64) {
					t.Helper()
					if math.Abs(freed-says) > max(least, part*math.Abs(freed)) {
						t.Errorf("without%s: frees %.0f %s, counted %.0f", names, freed, what, says)
					} else {
						t.Logf("without%s: frees %.0f %s, counted %.0f", names, freed, what, says)
					}
				}
				check("B of RAM", before.ram-after.ram, counted.ram-then.ram, 2, 0)
				check("B of flash", before.flash-after.flash, counted.flash-then.flash,
					0.08*before.flash, 0.25)
				check("cycles of features", before.features-after.features,
					counted.features-then.features, 0.05*before.features, 0)
				check("cycles of a window", before.window()-after.window(),
					counted.window()-then.window(), 0.05*before.window(), 0)
			}
		})
	}
}
