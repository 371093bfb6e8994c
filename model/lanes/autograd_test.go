package lanes

import (
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"kerf/model"
)

// TestGradientsAgreeWithAutograd compares with derivatives that torch's autograd computed in
// float64; see testdata/vectors/README.md. A sequence of the vectors has a lane; the other lanes
// stay empty.
func TestGradientsAgreeWithAutograd(t *testing.T) {
	for _, name := range []string{"gru_grad", "lstm_grad", "gru_2layer_grad", "rnn_tanh_grad"} {
		t.Run(name, func(t *testing.T) {
			tensors, n := autogradVectors(t, name)
			input, target := tensors["input"], tensors["target"]
			sequences, steps := input.Shape[0], input.Shape[1]
			tape, gradient := NewTape(n, steps), n.Clone()
			worst := 0.0
			near := func(what string, got float32, of *model.Tensor, at int) {
				t.Helper()
				// The difference is relative to the root mean square of the whole array, because
				// single entries may cancel to almost nothing; 1e-5 as in
				// TestGradientAgainstDifferences.
				difference := math.Abs(float64(got)-of.Data[at]) / rootMeanSquare(of.Data)
				worst = math.Max(worst, difference)
				if !(difference <= 1e-5) {
					t.Fatalf("%s[%d] is %v, autograd gives %v", what, at, got, of.Data[at])
				}
			}
			// state calls visit for every state of every sequence, with its place in the vectors.
			state := func(visit func(layer, unit, lane, at int)) {
				for l, layer := range n.Recurrent {
					for s := range sequences {
						for u := range layer.Units {
							visit(l, u, s, (l*sequences+s)*layer.Units+u)
						}
					}
				}
			}
			state(func(layer, unit, lane, at int) {
				first := &tape.layers[layer].states[0]
				first.state[unit*Width+lane] = float32(tensors["h0"].Data[at])
				if first.cell != nil {
					first.cell[unit*Width+lane] = float32(tensors["c0"].Data[at])
				}
			})
			each := func(width int, visit func(lane, step, i, at int)) {
				for s := range sequences {
					for step := range steps {
						for i := range width {
							visit(s, step, i, (s*steps+step)*width+i)
						}
					}
				}
			}
			each(n.Inputs(), func(lane, step, i, at int) {
				tape.Input(step)[i*Width+lane] = float32(input.Data[at])
			})
			tape.Forward(steps)
			each(n.Outputs(), func(lane, step, o, at int) {
				y := tape.Output(step)[o*Width+lane]
				near("output_seq", y, tensors["output_seq"], at)
				// The loss is the mean square over all elements.
				tape.Change(step)[o*Width+lane] = float32(2 * (float64(y) - target.Data[at]) /
					float64(len(target.Data)))
			})
			tape.Backward(gradient, true)
			each(n.Inputs(), func(lane, step, i, at int) {
				near("grad.input", tape.InputChange(step)[i*Width+lane], tensors["grad.input"], at)
			})
			state(func(layer, unit, lane, at int) {
				l := &tape.layers[layer]
				near("grad.h0", l.after[unit*Width+lane], tensors["grad.h0"], at)
				if n.Recurrent[layer].Kind.HasCell() {
					near("grad.c0", l.cells[unit*Width+lane], tensors["grad.c0"], at)
				}
			})
			compared := 0
			for weight, got := range model.ToTorch(gradient) {
				want := tensors["grad."+torchName(weight)]
				if want == nil {
					t.Fatalf("no derivative by %s among the vectors", torchName(weight))
				}
				for at, v := range got.Data {
					near("grad."+weight, float32(v), want, at)
				}
				compared++
			}
			if want := 4*len(n.Recurrent) + 2*len(n.Dense); compared != want {
				t.Errorf("%d tensors compared, want %d", compared, want)
			}
			t.Logf("worst difference %.1e", worst)
		})
	}
}

// autogradVectors reads the vectors of a name and the network among them.
func autogradVectors(t *testing.T, name string) (map[string]*model.Tensor, *model.Network) {
	t.Helper()
	file, err := os.Open(filepath.Join("..", "..", "testdata", "vectors", name+".npz"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	info, err := file.Stat()
	if err != nil {
		t.Fatal(err)
	}
	tensors, err := model.ReadNPZ(file, info.Size(), name)
	if err != nil {
		t.Fatal(err)
	}
	weights := map[string]*model.Tensor{}
	for key, tensor := range tensors {
		if strings.Contains(key, "weight") || strings.Contains(key, "bias") {
			if !strings.HasPrefix(key, "grad.") {
				weights[key] = tensor
			}
		}
	}
	rnn, dense, head := model.LayerSpec{Name: "rnn"}, model.LayerSpec{Name: "dense",
		Activation: "relu"}, model.LayerSpec{Name: "head"}
	layers := []model.LayerSpec{rnn, head}
	switch name {
	case "gru_2layer_grad":
		layers = slices.Insert(layers, 1, dense)
	case "rnn_tanh_grad":
		layers[0].Cell = "elman-tanh"
	}
	n, err := model.FromTorch(name, weights, model.Spec{Layers: layers})
	if err != nil {
		t.Fatal(err)
	}
	return tensors, n
}

// torchName returns the name of a tensor in the vectors, whose modules are called "rnn", "dense"
// and "head" for every kind.
func torchName(name string) string {
	module, rest, _ := strings.Cut(name, ".")
	switch module {
	case "dense0":
		module = "dense"
	case "head":
	default:
		module = "rnn"
	}
	return module + "." + rest
}

func rootMeanSquare(values []float64) float64 {
	sum := 0.0
	for _, v := range values {
		sum += v * v
	}
	return math.Sqrt(sum / float64(len(values)))
}
