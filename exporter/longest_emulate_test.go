//go:build emulate

package exporter

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"kerf/model"
	"kerf/targets"
	"kerf/targets/measure"
)

// A run of attackSteps inputs from a zero state; all attacks of a generation run in one program.
const (
	longestSteps       = 9 // the last one pays for the reset and does not count
	longestAttacks     = 24
	longestGenerations = 8
)

// longestOver is how much longer than the longest of [measure.DefaultSteps] drawn steps, as a share, a step
// may get by the worst inputs that a search finds: 2 %, the reserve that a measured step time needs.
const longestOver = 0.02

// What a step executes depends on the data only where values saturate or leave the table. A search for the
// inputs that take the most cycles shows how much that is: it climbs from random inputs, the cycles of
// every step counted in the emulator.
func TestEmulatedLongestStep(t *testing.T) {
	for _, kind := range []model.Kind{model.GRUResetAfter, model.LSTM} {
		h := randomHandoff(t, seeded(11), []model.Kind{kind}, identity)
		for _, core := range []string{"cortex-m0plus", "cortex-m4f", "rv32imc"} {
			t.Run(fmt.Sprint(kind, " ", core), func(t *testing.T) {
				profile, err := targets.Load(core)
				if err != nil {
					t.Fatal(err)
				}
				dir := t.TempDir()
				writeC(t, h, dir)
				drawn, err := measure.Network(context.Background(), profile, dir, h.Name, measure.Options{})
				if err != nil {
					t.Fatal(err)
				}
				random := rand.New(rand.NewPCG(12, 0))
				var first, most float64
				var best [][]int16
				for generation := range longestGenerations {
					attacks := make([][][]int16, longestAttacks)
					for i := range attacks {
						attacks[i] = attackOn(random, best, len(h.Net.Features))
					}
					cycles := cyclesOf(t, profile, dir, attacks)
					for i := range attacks {
						for _, c := range cycles[i*longestSteps : (i+1)*longestSteps-1] {
							if c > most {
								most, best = c, attacks[i]
							}
						}
					}
					if generation == 0 {
						first = most
					}
				}
				// The table of inputs costs some cycles of its own: a step without a network in it is not known, so the
				// least of all steps stands for the least of the drawn ones.
				over := (most - first) / drawn.MaxCycles()
				t.Logf("drawn steps %.0f to %.0f cycles; search: longest %.0f at random, %.0f in the end, %.2f %% of a step more", drawn.MinCycles(), drawn.MaxCycles(), first, most, 100*over)
				if over > longestOver {
					t.Errorf("the search makes a step %.2f %% longer than random inputs do", 100*over)
				}
			})
		}
	}
}

// attackOn changes some inputs of an attack, or makes one at random.
func attackOn(random *rand.Rand, from [][]int16, features int) [][]int16 {
	draw := func() int16 {
		if random.IntN(2) == 0 {
			return []int16{-32768, 32767}[random.IntN(2)]
		}
		return int16(random.IntN(1<<16) - 1<<15)
	}
	all := make([][]int16, longestSteps)
	for step := range all {
		all[step] = make([]int16, features)
		for k := range all[step] {
			if from == nil || random.IntN(4*features) == 0 {
				all[step][k] = draw()
			} else {
				all[step][k] = from[step][k]
			}
		}
	}
	return all
}

// cyclesOf measures a network around the emitted one that takes its inputs from a table.
func cyclesOf(t *testing.T, profile *targets.Profile, dir string, attacks [][][]int16) []float64 {
	t.Helper()
	var table strings.Builder
	for _, attack := range attacks {
		for _, x := range attack {
			table.WriteString("    {")
			for _, v := range x {
				fmt.Fprintf(&table, "%d, ", v)
			}
			table.WriteString("},\n")
		}
	}
	header := `#include "leakair.h"
#define LONGEST_N_FEATURES LEAKAIR_N_FEATURES
#define LONGEST_N_OUTPUTS LEAKAIR_N_OUTPUTS
typedef leakair_state longest_state;
void longest_reset(longest_state *s);
void longest_step(longest_state *s, const int16_t x[LONGEST_N_FEATURES], int32_t y[LONGEST_N_OUTPUTS]);
`
	source := fmt.Sprintf(`#include "longest.h"
#include "leakair.c"
static const int16_t inputs[][LONGEST_N_FEATURES] = {
%s};
static uint16_t at;
void longest_reset(longest_state *s) { leakair_reset(s); at = 0; }
void longest_step(longest_state *s, const int16_t x[LONGEST_N_FEATURES], int32_t y[LONGEST_N_OUTPUTS])
{
    (void)x;
    leakair_step(s, inputs[at], y);
    at++;
    if (at %% %dU == 0U) {
        leakair_reset(s);
    }
}
`, table.String(), longestSteps)
	for name, text := range map[string]string{"longest.h": header, "longest.c": source} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	r, err := measure.Network(context.Background(), profile, dir, "longest", measure.Options{Steps: longestSteps * len(attacks)})
	if err != nil {
		t.Fatal(err)
	}
	return r.Cycles
}
