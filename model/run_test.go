package model

import (
	"math"
	"testing"
)

func TestDenseChain(t *testing.T) {
	// Two linear layers give the same as one layer with their product, computed by hand.
	n := fromTorch(t, readSafetensors(t, "gru_1layer"), Spec{})
	chain := n.Clone()
	chain.Dense = append(chain.Dense,
		&Dense{Inputs: 2, Outputs: 1, W: []float64{2, -1}, B: []float64{0.5}})
	if err := chain.Validate(); err != nil {
		t.Fatal(err)
	}
	x, y2, y1 := []float64{1, -1, 0.5, 2, 0}, make([]float64, 2), make([]float64, 1)
	n.NewRun().Step(x, y2)
	chain.NewRun().Step(x, y1)
	if want := 2*y2[0] - y2[1] + 0.5; math.Abs(y1[0]-want) > 1e-15 {
		t.Errorf("got %v, want %v", y1[0], want)
	}
}

func TestStepPanicsOnWrongLength(t *testing.T) {
	run := fromTorch(t, readSafetensors(t, "gru_1layer"), Spec{}).NewRun()
	for _, size := range [][2]int{{4, 2}, {6, 2}, {5, 1}, {5, 3}} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("no panic for %d features and %d outputs", size[0], size[1])
				}
			}()
			run.Step(make([]float64, size[0]), make([]float64, size[1]))
		}()
	}
}

// The next layer, the head and the next step read the state that hold wrote.
func TestStepWithHoldsAState(t *testing.T) {
	n := fromTorch(t, readSafetensors(t, "gru_2layer"), Spec{})
	x, want, got := []float64{1, -1, 0.5, 2, 0}[:n.Inputs()], make([]float64, n.Outputs()),
		make([]float64, n.Outputs())
	free, held := n.NewRun(), n.NewRun()
	for range 3 {
		free.Step(x, want)
		held.StepWith(x, got, func(layer int, state []float64) { copy(state, free.State(layer)) })
		for i := range want {
			if got[i] != want[i] {
				t.Fatalf("writing the same state gives %v, want %v", got, want)
			}
		}
		x[0]++
	}
	held.StepWith(x, got, func(_ int, state []float64) { clear(state) })
	for o, b := range n.Dense[0].B {
		if got[o] != b {
			t.Errorf("output %d of a state of zeros is %v, want the bias %v", o, got[o], b)
		}
	}
	for layer := range n.Recurrent {
		for _, h := range held.State(layer) {
			if h != 0 {
				t.Errorf("layer %d keeps %v", layer, h)
			}
		}
	}
}
