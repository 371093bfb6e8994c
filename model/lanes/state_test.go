package lanes

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"kerf/model"
)

// TestStepAgainstModel runs eight sequences side by side and one by one in double precision.
// float32 has 24 bits; the networks do not amplify errors, so over 200 steps the outputs, of size 1
// to 10, stay within 1e-5.
func TestStepAgainstModel(t *testing.T) {
	const inputs, outputs, steps, bound = 5, 3, 200, 1e-5
	stacks := [][]model.Kind{{model.GRUResetAfter, model.LSTM},
		{model.GRUResetBefore, model.GRUResetAfter, model.ElmanTanh}}
	for _, kind := range everyKind {
		stacks = append(stacks, []model.Kind{kind})
	}
	for _, kinds := range stacks {
		for _, units := range []int{1, 4, 7, 13} {
			t.Run(fmt.Sprint(kinds, units), func(t *testing.T) {
				net := randomNetwork(uint64(units), inputs, units, outputs, kinds...)
				state := Compile(net).NewState()
				var runs [Width]*model.Run
				for lane := range runs {
					runs[lane] = net.NewRun()
				}
				random := rand.New(rand.NewPCG(3, 4))
				x, y := make([]float64, inputs), make([]float64, outputs)
				var expected [Width][outputs]float64
				worst := 0.0
				for step := range steps {
					if step == steps/2 {
						state.Reset()
					}
					for lane, run := range runs {
						if step == steps/2 {
							run.Reset()
						}
						for i := range x {
							v := float32(random.NormFloat64())
							x[i], state.Input()[i*Width+lane] = float64(v), v
						}
						run.Step(x, y)
						copy(expected[lane][:], y)
					}
					state.Step()
					for lane := range runs {
						for o := range outputs {
							worst = math.Max(worst,
								math.Abs(expected[lane][o]-float64(state.Output()[o*Width+lane])))
						}
					}
				}
				if !(worst <= bound) {
					t.Errorf("an output is off by %.3g", worst)
				}
			})
		}
	}
}
