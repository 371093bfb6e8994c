package lanes

import (
	"encoding/binary"
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"testing"

	"kerf/model"
)

// stacks are networks of every kind, alone and together.
func stacks() [][]model.Kind {
	all := [][]model.Kind{{model.GRUResetAfter, model.LSTM},
		{model.GRUResetBefore, model.GRUResetAfter, model.ElmanTanh}}
	for _, kind := range everyKind {
		all = append(all, []model.Kind{kind})
	}
	return all
}

// segments is a batch of eight sequences: per lane its inputs and the derivatives of a loss by the
// outputs, [steps × Inputs] and [steps × Outputs]. Lanes are of unlike length.
type segments struct {
	steps     int
	x, change [Width][]float64
}

func randomSegments(seed uint64, n *model.Network, steps int) *segments {
	random := rand.New(rand.NewPCG(seed, 7))
	s := &segments{steps: steps}
	for lane := range Width {
		length := steps - 3*lane
		for range length * n.Inputs() {
			s.x[lane] = append(s.x[lane], float64(float32(random.NormFloat64())))
		}
		for range length * n.Outputs() {
			s.change[lane] = append(s.change[lane], float64(float32(random.NormFloat64())))
		}
	}
	return s
}

// run runs the segments through a tape, forward and back.
func (s *segments) run(t *Tape, gradient *model.Network) {
	s.put(s.x, t.Input)
	t.Forward(s.steps)
	s.put(s.change, t.Change)
	t.Backward(gradient, true)
}

// put writes the values of all lanes to the vectors of every step, and 0 behind the end of a lane.
func (s *segments) put(values [Width][]float64, to func(step int) []float32) {
	for step := range s.steps {
		v := to(step)
		width := len(v) / Width
		for lane := range Width {
			for i := range width {
				v[i*Width+lane] = 0
				if at := step*width + i; at < len(values[lane]) {
					v[i*Width+lane] = float32(values[lane][at])
				}
			}
		}
	}
}

// TestForwardIsThatOfAState compares a tape with a [State] bit for bit, over two segments, with a
// sequence that begins anew between them.
func TestForwardIsThatOfAState(t *testing.T) {
	for _, kinds := range stacks() {
		net := randomNetwork(1, 5, 7, 2, kinds...)
		tape, state := NewTape(net, 9), Compile(net).NewState()
		random := rand.New(rand.NewPCG(3, 4))
		for _, steps := range []int{9, 6} {
			var x [][]float32
			for step := range steps {
				x = append(x, make([]float32, len(state.Input())))
				for i := range x[step] {
					x[step][i] = float32(random.NormFloat64())
				}
				copy(tape.Input(step), x[step])
			}
			tape.Forward(steps)
			for step := range steps {
				copy(state.Input(), x[step])
				state.Step()
				for i, want := range state.Output() {
					if got := tape.Output(step)[i]; got != want {
						t.Fatalf("%v: step %d, value %d is %g, want %g", kinds, step, i, got, want)
					}
				}
			}
			tape.Begin(3)
			for l := range kinds {
				for u := range 7 {
					state.Hidden(l)[u*Width+3] = 0
					if cell := state.layers[l].cell; cell != nil {
						cell[u*Width+3] = 0
					}
				}
			}
		}
	}
}

// TestGradientAgainstDifferences compares all derivatives with (L(v+e) - L(v-e))/2e in double
// precision. float32 has 24 bits; the networks do not amplify errors, so derivatives, sums of some
// hundred products, stay within 1e-5 of their root mean square.
func TestGradientAgainstDifferences(t *testing.T) {
	const inputs, outputs, steps, e, bound = 3, 2, 25, 1e-5, 1e-5
	heads := [][2]model.Activation{{model.Tanh, model.Identity}, {model.Logistic, model.Tanh},
		{model.Identity, model.Logistic}, {model.ReLU, model.Identity}}
	for i, kinds := range stacks() {
		for j, units := range []int{1, 2, 4, 6} {
			t.Run(fmt.Sprint(kinds, units), func(t *testing.T) {
				net := randomNetwork(uint64(20+units), inputs, units, outputs, kinds...)
				for l, a := range heads[(i+j)%len(heads)] {
					net.Dense[l].Activation = a
				}
				for _, values := range net.Values() { // as both see them
					for i, v := range values {
						values[i] = float64(float32(v))
					}
				}
				s := randomSegments(5, net, steps)
				tape, gradient := NewTape(net, steps), net.Clone()
				s.run(tape, gradient)
				slope := func(v *float64, lanes ...int) float64 {
					given := *v
					*v = given + e
					above := s.loss(net, lanes)
					*v = given - e
					below := s.loss(net, lanes)
					*v = given
					return (above - below) / (2 * e)
				}
				var all []int
				for lane := range Width {
					all = append(all, lane)
				}
				var got, want []float64
				for i, values := range net.Values() {
					for k := range values {
						got, want = append(got, gradient.Values()[i][k]),
							append(want, slope(&values[k], all...))
					}
				}
				worst := apartBy(got, want)
				got, want = nil, nil
				for lane := range Width {
					for at := range s.x[lane] {
						got = append(got, float64(
							tape.InputChange(at / inputs)[at%inputs*Width+lane]))
						want = append(want, slope(&s.x[lane][at], lane))
					}
					for step := len(s.x[lane]) / inputs; step < steps; step++ {
						for i := range inputs {
							if v := tape.InputChange(step)[i*Width+lane]; v != 0 {
								t.Fatalf("lane %d: %g flows back from step %d, behind the end",
									lane, v, step)
							}
						}
					}
				}
				if worst = max(worst, apartBy(got, want)); !(worst <= bound) {
					t.Errorf("a derivative is off by %.3g", worst)
				}
			})
		}
	}
}

// loss returns, in double precision, the loss whose derivatives by the outputs of some lanes are
// those of s: it is linear in the outputs.
func (s *segments) loss(n *model.Network, lanes []int) float64 {
	sum, y := 0.0, make([]float64, n.Outputs())
	for _, lane := range lanes {
		run := n.NewRun()
		for step := range len(s.x[lane]) / n.Inputs() {
			run.Step(s.x[lane][step*n.Inputs():(step+1)*n.Inputs()], y)
			for o, v := range y {
				sum += v * s.change[lane][step*n.Outputs()+o]
			}
		}
	}
	return sum
}

// apartBy returns the largest difference of two lists in shares of the root mean square.
func apartBy(got, want []float64) float64 {
	sum, worst := 0.0, 0.0
	for i, v := range want {
		sum += v * v
		worst = math.Max(worst, math.Abs(got[i]-v))
	}
	return worst / math.Sqrt(sum/float64(len(want)))
}

// TestHiddenChangeAgainstDifferences moves the state of a unit after one step, and compares the
// loss in double precision with the derivative. The loss is linear in the outputs.
func TestHiddenChangeAgainstDifferences(t *testing.T) {
	const steps, at, small = 12, 4, 1e-5
	for _, kinds := range stacks() {
		net := randomNetwork(2, 5, 4, 2, kinds...)
		net.Dense[0].Activation = model.Tanh // ReLU has no derivative at its corner
		s := randomSegments(6, net, steps)
		tape := NewTape(net, steps)
		s.run(tape, nil)
		for layer, kind := range kinds {
			for unit := range 4 {
				loss := func(by float64) float64 {
					run, sum, y := net.NewRun(), 0.0, make([]float64, 2)
					for step := range steps {
						run.StepWith(s.x[0][step*5:(step+1)*5], y, func(l int, state []float64) {
							if l == layer && step == at {
								state[unit] += by
							}
						})
						for o, v := range y {
							sum += v * s.change[0][step*2+o]
						}
					}
					return sum
				}
				want := (loss(small) - loss(-small)) / (2 * small)
				got := float64(tape.HiddenChange(layer, at)[unit*Width])
				if math.Abs(got-want) > 1e-4*(1+math.Abs(want)) {
					t.Errorf("%v: layer %d (%v), unit %d: %g, want %g", kinds, layer, kind, unit,
						got, want)
				}
			}
		}
	}
}

// TestRoundedTape: states, cells, inputs and results lie on their grids, within their ends, and
// follow from the rounded ones.
func TestRoundedTape(t *testing.T) {
	const inputs, steps = 3, 20
	for _, kind := range everyKind {
		net := randomNetwork(4, inputs, 5, 2, kind)
		tape := NewTape(net, steps)
		tape.RoundInputs(Int16(6))
		tape.RoundState(0, Int16(7), Int16(5))
		tape.RoundDense(0, Int16(4))
		s := randomSegments(8, net, steps)
		s.run(tape, nil)
		on := func(what string, v []float32, fraction int) {
			for _, x := range v {
				if q := math.Ldexp(float64(x), fraction); q != math.Round(q) {
					t.Errorf("%v: %s %g is no multiple of 2^-%d", kind, what, x, fraction)
				}
			}
		}
		for step := range steps {
			on("input", tape.Input(step), 6)
			on("state", tape.Hidden(0, step), 7)
			on("cell", tape.layers[0].states[step].cell, 5)
			on("result", tape.dense[0].y[step*tape.dense[0].distance:][:5*Width], 4)
		}
		again := Compile(net).NewState()
		copy(again.Input(), tape.Input(7))
		copy(again.Hidden(0), tape.Hidden(0, 6))
		copy(again.layers[0].cell, tape.layers[0].states[7].cell)
		again.Step()
		for i, v := range again.Hidden(0) {
			if got := tape.Hidden(0, 7)[i]; math.Abs(float64(got-v)) > 1.0/128/2+1.0/32/2 {
				t.Errorf("%v: state %g is no rounding of %g", kind, got, v)
			}
		}
	}
}

func TestGridHasItsEnds(t *testing.T) {
	nan := float32(math.NaN())
	for _, c := range []struct {
		fraction int
		x, want  float32
	}{{15, 1, 32767.0 / 32768}, {15, -1, -1}, {15, -2, -1}, {12, 100, 32767.0 / 4096},
		{0, 1e6, 32767}, {-3, 11, 8}, {-3, 21, 24}, {4, 0.04, 1.0 / 16}, {4, 0.02, 0},
		{4, 1.0 / 32, 0}, {4, 3.0 / 32, 2.0 / 16}, {15, float32(math.Inf(1)), 32767.0 / 32768}} {
		v := make([]float32, Width)
		v[2] = c.x
		Int16(c.fraction).round(v)
		if v[2] != c.want || v[1] != 0 {
			t.Errorf("%g with %d fraction bits is %g, want %g", c.x, c.fraction, v[2], c.want)
		}
	}
	v := []float32{nan, nan, nan, nan, nan, nan, nan, nan}
	Int16(15).round(v)
	if v[0] == v[0] {
		t.Error("NaN is lost")
	}
}

// TestSameGradientOnEveryMachine is [TestSameBitsOnEveryMachine] for the way back.
func TestSameGradientOnEveryMachine(t *testing.T) {
	random := rand.New(rand.NewPCG(9, 10))
	thousandths := thousandthsFrom(random)
	sum := fnv.New64a()
	for _, kind := range everyKind {
		net := networkOf(thousandths, kind)
		tape := NewTape(net, 20)
		tape.RoundState(0, Int16(15), Int16(12))
		s := &segments{steps: 20}
		for lane := range Width {
			for range 20 * 5 {
				s.x[lane] = append(s.x[lane], thousandths())
			}
			for range 20 * 2 {
				s.change[lane] = append(s.change[lane], thousandths())
			}
		}
		gradient := net.Clone()
		for range 3 {
			s.run(tape, gradient)
			for _, values := range gradient.Values() {
				for _, v := range values {
					sum.Write(binary.LittleEndian.AppendUint32(nil,
						math.Float32bits(float32(v))))
				}
			}
		}
	}
	const want = 0xd68595252de8d7ab
	if got := sum.Sum64(); got != want {
		t.Errorf("checksum %#x, want %#x", got, uint64(want))
	}
}
