package cost

import (
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"testing"

	"kerf/model"
	"kerf/quant"
	"kerf/targets"
)

// anyShape draws a network of any size, words and shifts that the emitted C can have.
func anyShape(random *rand.Rand) quant.Shape {
	between := func(low, high int) int { return low + random.IntN(high-low+1) }
	word := func() int { return []int{4, 8, 16}[random.IntN(3)] }
	widest := 70
	if random.IntN(5) == 0 {
		widest = 700 // columns that are read in loops, or row by row
	}
	s := quant.Shape{Features: between(1, widest)}
	for range between(1, 3) {
		kind := model.Kind(int(model.GRUResetAfter) +
			random.IntN(int(model.ElmanReLU-model.GRUResetAfter)+1))
		state := 16
		if kind != model.ElmanTanh && kind != model.ElmanReLU && random.IntN(2) == 0 {
			state = 32
		}
		s.Layers = append(s.Layers, quant.LayerShape{Kind: kind, Units: between(1, widest)})
		s.Formats.Layers = append(s.Formats.Layers,
			quant.LayerFormats{InputBits: word(), RecurrentBits: word(), StateBits: state})
		shifts := quant.LayerShifts{Input: 7 * random.Float64(), Recurrent: 7 * random.Float64()}
		if kind != model.ElmanReLU {
			shifts.Table = uint8(between(1, 7))
		}
		if kind.HasCell() {
			shifts.Cell, shifts.CellTable = uint8(between(1, 16)), uint8(between(1, 7))
		}
		s.Shifts.Layers = append(s.Shifts.Layers, shifts)
	}
	for range between(1, 3) {
		activation := model.Activation(int(model.Identity) +
			random.IntN(int(model.Logistic-model.Identity)+1))
		s.Dense = append(s.Dense, quant.DenseShape{Outputs: between(1, 12), Activation: activation})
		s.Formats.Dense = append(s.Formats.Dense, word())
		s.Shifts.Dense = append(s.Shifts.Dense,
			quant.DenseShifts{Table: uint8(between(1, 7)), Rows: 7 * random.Float64()})
	}
	if random.IntN(4) == 0 {
		s.Shifts = quant.Shifts{}
	}
	return s
}

// Whatever a network looks like, every profile has figures for it, and they make sense: a step
// takes at least a third of a cycle per multiply-accumulate (two products in an instruction, two
// instructions in a cycle, fewer weights than words), and has code and a stack.
func TestAnyNetworkHasAnEstimate(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 1))
	for range 150 {
		s := anyShape(random)
		for _, name := range targets.Names() {
			e := Of(s, core(t, name), targets.FlashWait{}, false, Fast)
			if e.Total() < float64(s.MultiplyAccumulates())/3 || e.Code < 100 || e.Stack < 16 {
				t.Errorf("%s, %s: %g cycles, %d bytes of code, %d of stack", name, ShapeText(s),
					e.Total(), e.Code, e.Stack)
			}
		}
	}
}

// Whatever class a profile may leave out, the estimate does without it, on every instruction set.
func TestEstimateWithoutOptionalClasses(t *testing.T) {
	optional := 0
	for _, name := range targets.Names() {
		text, err := os.ReadFile(filepath.Join("..", "..", "targets", "profiles", name+".toml"))
		if err != nil {
			t.Fatal(err)
		}
		for class := range core(t, name).Costs {
			less := regexp.MustCompile(`(?m)^`+class+` = .*\n`).ReplaceAll(text, nil)
			p, err := targets.Parse(less, "less.toml")
			if err != nil {
				continue
			}
			optional++
			random := rand.New(rand.NewPCG(5, 1))
			for range 10 {
				s := anyShape(random)
				if cycles := stepCycles(s, p, Fast); !(cycles > 0) {
					t.Errorf("%s without %s, %s: %g cycles", name, class, ShapeText(s), cycles)
				}
			}
		}
	}
	if optional < 20 {
		t.Errorf("%d classes could be left out: the case shows nothing", optional)
	}
}

// However small a layer and however unlike the known cores a core is, no part of the cycles is
// below 0.
func TestNoPartOfTheCyclesIsBelowZero(t *testing.T) {
	random := rand.New(rand.NewPCG(6, 1))
	for _, name := range targets.Names() {
		for class := range core(t, name).Costs {
			p := core(t, name)
			p.Costs[class] = targets.Cost{Cycles: targets.MostClassCycles}
			for range 5 {
				s := anyShape(random)
				for _, part := range Of(s, p, targets.FlashWait{Jump: 3}, false, Fast).Cycles {
					if !(part.Cycles >= 0) {
						t.Errorf("%s with %s of %d cycles, %s: %s takes %g cycles", name, class,
							targets.MostClassCycles, ShapeText(s), part.Name, part.Cycles)
					}
				}
			}
		}
	}
}
