package quant

import (
	"archive/zip"
	"bytes"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"kerf/dataset"
	"kerf/model"
)

// The peer is dynamic int8 quantization by torch 1.13 (torch.quantization.quantize_dynamic,
// qint8) of the network of gru_1layer; see testdata/vectors/README.md. It keeps
// the state in float and chooses a scale for the activations anew in every step,
// neither of which a microcontroller without a float unit can. Variants are two
// engines, with and without the last layer, all sequences at once or each alone.
const (
	peerVariants  = 8
	peerSequences = 3
	peerSteps     = 40
	peerInputs    = 5
	peerUnits     = 7
	peerOutputs   = 2
)

// readVectors reads a vector file without its int8 arrays, the weights that the
// peer chose, which kerf's reader has no use for.
func readVectors(t *testing.T, name string) map[string]*model.Tensor {
	t.Helper()
	whole, err := zip.OpenReader(filepath.Join("..", "testdata", "vectors", name))
	if err != nil {
		t.Fatal(err)
	}
	defer whole.Close()
	var packed bytes.Buffer
	floats := zip.NewWriter(&packed)
	for _, file := range whole.File {
		if strings.HasPrefix(file.Name, "q.") {
			continue
		}
		if err := floats.Copy(file); err != nil {
			t.Fatal(err)
		}
	}
	if err := floats.Close(); err != nil {
		t.Fatal(err)
	}
	tensors, err := model.ReadNPZ(bytes.NewReader(packed.Bytes()), int64(packed.Len()), name)
	if err != nil {
		t.Fatal(err)
	}
	return tensors
}

// TestInt8IsAsGoodAsTheOutsidePeer compares root mean square errors against the
// float outputs of torch. Sequence 2 is the only one whose start state the
// equations of a GRU can reach, |h| < 1; the other two start at 1.139 and 1.125,
// which an int16 state with 15 fraction bits does not hold. So sequence 2 runs
// from its start state against the same sequence of the peer, and all three run
// from zero against torch's float outputs from zero and the peer's figure over
// all three.
func TestInt8IsAsGoodAsTheOutsidePeer(t *testing.T) {
	vectors, peer := readVectors(t, "gru_1layer.npz"), readVectors(t, "gru_1layer_int8dyn.npz")
	weights := map[string]*model.Tensor{}
	for name, tensor := range vectors {
		if strings.HasPrefix(name, "rnn.") || strings.HasPrefix(name, "head.") {
			weights[name] = tensor
		}
	}
	float, err := model.FromTorch("gru_1layer.npz", weights, model.Spec{})
	if err != nil {
		t.Fatal(err)
	}
	input := vectors["input"].Data
	p := dataset.NewFloat(float, unscaledFeatures(peerInputs), unscaledOutputs(peerOutputs))
	rec := &dataset.Recordings{Features: peerInputs, Outputs: peerOutputs}
	for i := range peerSequences {
		x := input[i*peerSteps*peerInputs : (i+1)*peerSteps*peerInputs]
		rec.Sequences = append(rec.Sequences,
			&dataset.Sequence{Steps: peerSteps, X: x, Y: make([]float64, peerSteps*peerOutputs)})
	}
	fixed, err := Quantize(p, Calibrate(p, rec), Widths(8, 8, 8, 16), Compensated)
	if err != nil {
		t.Fatal(err)
	}

	const started = 2
	zero := make([]float64, peerUnits)
	var fromZero []float64
	for _, s := range rec.Sequences {
		fromZero = append(fromZero, predictFrom(fixed, s, zero)...)
	}
	fromStart := predictFrom(fixed, rec.Sequences[started], vectors["h0"].Data[started*peerUnits:])

	length := peerSteps * peerOutputs
	want := peer["output_seq_float"].Data
	least, leastStarted, found := math.Inf(1), math.Inf(1), 0
	for name, tensor := range peer {
		if strings.HasPrefix(name, "output_seq_") && name != "output_seq_float" {
			found++
			least = math.Min(least, rms(tensor.Data, want))
			leastStarted = math.Min(leastStarted,
				rms(tensor.Data[started*length:], want[started*length:]))
		}
	}
	if found != peerVariants {
		t.Fatalf("%d variants of the peer, want %d", found, peerVariants)
	}
	ours, oursStarted := rms(fromZero, vectors["output_seq_zero_state"].Data),
		rms(fromStart, want[started*length:])
	t.Logf("rms error, kerf int8 with int16 state against the best of %d variants of the peer: "+
		"sequence %d %.3g against %.3g, all sequences %.3g (from zero) against %.3g", found,
		started, oursStarted, leastStarted, ours, least)
	if oursStarted > leastStarted {
		t.Errorf("sequence %d: rms error %.3g, the best peer has %.3g", started, oursStarted,
			leastStarted)
	}
	if ours > least {
		t.Errorf("all sequences: rms error %.3g, the best peer has %.3g", ours, least)
	}
}

func unscaledFeatures(n int) []dataset.Feature {
	all := make([]dataset.Feature, n)
	for i := range all {
		all[i].Std = 1
	}
	return all
}

func unscaledOutputs(n int) []dataset.Output {
	all := make([]dataset.Output, n)
	for i := range all {
		all[i].Std = 1
	}
	return all
}

// predictFrom runs a sequence from a start state h [units] of the only layer.
func predictFrom(n *Network, s *dataset.Sequence, h []float64) []float64 {
	state := n.NewState()
	for j := range state.layers[0].h {
		v := int32(math.Round(h[j] * scale(stateFraction)))
		state.layers[0].h[j], state.layers[0].view[j] = v, v
	}
	dst := make([]float64, s.Steps*len(n.Outputs))
	n.run(s, state, dst)
	return dst
}

func rms(a, b []float64) float64 {
	sum := 0.0
	for i, v := range a {
		sum += (v - b[i]) * (v - b[i])
	}
	return math.Sqrt(sum / float64(len(a)))
}
