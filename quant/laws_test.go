package quant_test

import (
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"kerf/dataset"
	"kerf/model"
	"kerf/prune"
	"kerf/quant"
)

// lawSteps is the number of integer steps over which a law is checked.
const lawSteps = 60

// lawSizes are features, units and outputs of the networks.
const lawFeatures, lawUnits, lawOutputs = 7, 9, 2

// eachLaw runs a law for every combination of word widths, on a network of its own.
func eachLaw(t *testing.T, law func(t *testing.T, seed uint64, p *dataset.Float,
	c quant.Calibration, formats quant.Formats)) {
	for i, formats := range quant.AllFormats() {
		seed := uint64(100 + i)
		t.Run(fmt.Sprintf("seed %d, %s", seed, formats), func(t *testing.T) {
			p := quant.RandomFloat(seed, lawFeatures, lawUnits, lawOutputs)
			law(t, seed, p, quant.Calibrate(p, quant.RandomRecordings(seed, p, 2, 50)), formats)
		})
	}
}

func quantize(t *testing.T, p *dataset.Float, c quant.Calibration,
	formats quant.Formats) *quant.Network {
	t.Helper()
	net, err := quant.Quantize(p, c, formats, quant.Nearest)
	if err != nil {
		t.Fatal(err)
	}
	return net
}

// outputsAndStates runs a network over the integers of a seed.
func outputsAndStates(net *quant.Network, seed uint64) (outputs, states [][]int32) {
	state := net.NewState()
	for _, x := range quant.RandomIntegers(seed, lawSteps, len(net.Features)) {
		y := make([]int32, len(net.Outputs))
		net.Step(state, x, y)
		outputs = append(outputs, y)
		states = append(states, slices.Clone(state.Hidden(0)))
	}
	return outputs, states
}

// permuteUnits renames hidden unit from[j] to j: rows of every gate block,
// columns of the recurrent matrix and columns of the head move together.
func permuteUnits(p *dataset.Float, from []int) *dataset.Float {
	net := p.Net.Clone()
	old, layer := p.Net.Recurrent[0], net.Recurrent[0]
	units, inputs := layer.Units, layer.Inputs
	for gate := range layer.Kind.Gates() {
		for j, k := range from {
			to, source := gate*units+j, gate*units+k
			copy(layer.W[to*inputs:(to+1)*inputs], old.W[source*inputs:(source+1)*inputs])
			layer.B[to], layer.D[to] = old.B[source], old.D[source]
			for column, oldColumn := range from {
				layer.U[to*units+column] = old.U[source*units+oldColumn]
			}
		}
	}
	for o := range net.Dense[0].Outputs {
		for j, k := range from {
			net.Dense[0].W[o*units+j] = p.Net.Dense[0].W[o*units+k]
		}
	}
	return dataset.NewFloat(net, p.Features, p.Outputs)
}

func TestPermutingUnitsPermutesTheStateAndKeepsEveryOutput(t *testing.T) {
	eachLaw(t, func(t *testing.T, seed uint64, p *dataset.Float, c quant.Calibration,
		formats quant.Formats) {
		from := rand.New(rand.NewPCG(seed, 9)).Perm(lawUnits)
		wantOutputs, wantStates := outputsAndStates(quantize(t, p, c, formats), seed)
		gotOutputs, gotStates := outputsAndStates(quantize(t, permuteUnits(p, from), c, formats),
			seed)
		for step := range wantOutputs {
			if !slices.Equal(gotOutputs[step], wantOutputs[step]) {
				t.Fatalf("step %d, units %v: outputs %v, want %v", step, from, gotOutputs[step],
					wantOutputs[step])
			}
			for j, k := range from {
				if gotStates[step][j] != wantStates[step][k] {
					t.Fatalf("step %d: state of unit %d is %d, of the same unit before %d", step, j,
						gotStates[step][j], wantStates[step][k])
				}
			}
		}
	})
}

func TestCuttingNothingGivesTheSameIntegers(t *testing.T) {
	eachLaw(t, func(t *testing.T, seed uint64, p *dataset.Float, c quant.Calibration,
		formats quant.Formats) {
		means := prune.MeasureMeans(p, quant.RandomRecordings(seed, p, 2, 50))
		whole := prune.CutPredictor(p, prune.Without(lawFeatures), prune.AllUnits(p.Net), means)
		got, want := quantize(t, whole, c, formats), quantize(t, p, c, formats)
		if !reflect.DeepEqual(got, want) {
			t.Errorf("the integer network changes: %+v, want %+v", got, want)
		}
	})
}

// A unit that nothing reads may go: formats belong to rows, so the rows that
// stay keep theirs, and every integer of the others stays as it was.
func TestCuttingAnUnreadUnitChangesNoInteger(t *testing.T) {
	eachLaw(t, func(t *testing.T, seed uint64, p *dataset.Float, c quant.Calibration,
		formats quant.Formats) {
		gone := int(seed) % lawUnits
		silence(p.Net, gone)
		means := prune.MeasureMeans(p, quant.RandomRecordings(seed, p, 2, 50))
		kept := prune.Without(lawUnits, gone)
		whole := quantize(t, p, c, formats)
		small := quantize(t,
			prune.CutPredictor(p, prune.Without(lawFeatures), [][]int{kept}, means), c, formats)
		if small.Layers[0].Units != lawUnits-1 || small.Layers[0].GateFraction !=
			whole.Layers[0].GateFraction {
			t.Fatalf("%d units with %d gate fraction bits, want %d with %d", small.Layers[0].Units,
				small.Layers[0].GateFraction, lawUnits-1, whole.Layers[0].GateFraction)
		}
		wantOutputs, wantStates := outputsAndStates(whole, seed)
		gotOutputs, gotStates := outputsAndStates(small, seed)
		for step := range wantOutputs {
			if !slices.Equal(gotOutputs[step], wantOutputs[step]) {
				t.Fatalf("step %d without unit %d: outputs %v, want %v", step, gone,
					gotOutputs[step], wantOutputs[step])
			}
			for j, k := range kept {
				if gotStates[step][j] != wantStates[step][k] {
					t.Fatalf("step %d without unit %d: state of unit %d is %d, want %d", step, gone,
						k, gotStates[step][j], wantStates[step][k])
				}
			}
		}
	})
}

// silence zeroes every weight that reads the state of a unit.
func silence(net *model.Network, unit int) {
	layer, head := net.Recurrent[0], net.Dense[0]
	for r := range layer.D {
		layer.U[r*layer.Units+unit] = 0
	}
	for o := range head.Outputs {
		head.W[o*head.Inputs+unit] = 0
	}
}
