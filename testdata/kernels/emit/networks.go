package main

import (
	"fmt"

	"kerf/model"
)

// sample is one network to measure.
type sample struct {
	Name     string  `json:"name"`
	Held     bool    `json:"held"` // judges the fit and has no part in it
	Features int     `json:"features"`
	Layers   []layer `json:"layers"`
	Dense    []dense `json:"dense"`
}

type layer struct {
	Kind          string `json:"kind"`
	Units         int    `json:"units"`
	InputBits     int    `json:"input_bits"`
	RecurrentBits int    `json:"recurrent_bits"`
	StateBits     int    `json:"state_bits"`
}

type dense struct {
	Outputs    int    `json:"outputs"`
	Activation string `json:"activation"`
	Bits       int    `json:"bits"`
}

// kinds and activations by their names in the index.
var (
	kinds = map[string]model.Kind{
		"gru_after": model.GRUResetAfter, "gru_before": model.GRUResetBefore, "lstm": model.LSTM,
		"elman_tanh": model.ElmanTanh, "elman_relu": model.ElmanReLU,
	}
	kindOrder   = []string{"gru_after", "gru_before", "lstm", "elman_tanh", "elman_relu"}
	activations = map[string]model.Activation{
		"identity": model.Identity, "relu": model.ReLU, "tanh": model.Tanh, "logistic": model.Logistic,
	}
	activationOrder = []string{"identity", "relu", "tanh", "logistic"}
)

// one is a network of one recurrent layer and an identity head.
func one(kind string, features, units, outputs, inputBits, recurrentBits, headBits, stateBits int) sample {
	return sample{
		Features: features,
		Layers:   []layer{{kind, units, inputBits, recurrentBits, stateBits}},
		Dense:    []dense{{outputs, "identity", headBits}},
	}
}

func hasWideState(kind string) bool { return kind != "elman_tanh" && kind != "elman_relu" }

// samples are the networks to fit, then those held out.
func samples() []sample {
	var all []sample
	add := func(held bool, s sample) {
		s.Held = held
		s.Name = fmt.Sprintf("n%03d", len(all))
		all = append(all, s)
	}
	for _, kind := range kindOrder {
		for _, size := range []struct{ features, units, outputs, input, recurrent, head, state int }{
			{4, 5, 1, 8, 8, 16, 16}, {20, 16, 2, 8, 8, 16, 16}, {34, 30, 3, 8, 8, 8, 16},
			{6, 12, 2, 16, 16, 16, 16}, {18, 9, 4, 16, 16, 8, 16},
			{9, 10, 2, 4, 4, 8, 16}, {16, 14, 1, 4, 4, 4, 16}, {12, 8, 3, 4, 8, 16, 16}, {11, 15, 2, 8, 16, 16, 16},
			{5, 7, 2, 8, 8, 16, 32}, {24, 18, 2, 8, 8, 16, 32}, {14, 20, 1, 16, 16, 16, 32},
		} {
			if size.state == 32 && !hasWideState(kind) {
				continue
			}
			add(false, one(kind, size.features, size.units, size.outputs, size.input, size.recurrent, size.head, size.state))
		}
	}
	for i, first := range kindOrder {
		second := kindOrder[(i+1)%len(kindOrder)]
		add(false, sample{Features: 10 + i, Layers: []layer{{first, 8 + i, 8, 8, 16}, {second, 6 + 2*i, 8, 8, 16}}, Dense: []dense{{2, "identity", 16}}})
		add(false, sample{Features: 8, Layers: []layer{{first, 6, 8, 8, 16}}, Dense: []dense{{8, activationOrder[i%4], 8}, {2, "identity", 16}}})
		add(false, sample{Features: 8, Layers: []layer{{first, 12, 8, 8, 16}}, Dense: []dense{{3, activationOrder[(i+1)%4], 8}}})
	}
	for _, kind := range kindOrder {
		for _, size := range []struct{ features, units, outputs, input, recurrent, head, state int }{
			{4, 4, 1, 8, 8, 16, 16}, {40, 12, 2, 8, 8, 16, 16}, {13, 40, 2, 8, 8, 8, 16}, {22, 17, 3, 16, 16, 16, 16}, {10, 11, 2, 4, 4, 16, 16}, {17, 13, 2, 8, 8, 16, 32},
		} {
			if size.state == 32 && !hasWideState(kind) {
				continue
			}
			add(true, one(kind, size.features, size.units, size.outputs, size.input, size.recurrent, size.head, size.state))
		}
	}
	add(true, sample{Features: 19, Layers: []layer{{"gru_after", 14, 8, 8, 16}, {"gru_after", 9, 8, 8, 16}}, Dense: []dense{{2, "identity", 16}}})
	add(true, sample{Features: 12, Layers: []layer{{"lstm", 10, 8, 8, 16}, {"gru_before", 7, 8, 8, 32}}, Dense: []dense{{6, "relu", 8}, {2, "identity", 16}}})
	add(true, sample{Features: 9, Layers: []layer{{"elman_tanh", 12, 16, 16, 16}, {"elman_relu", 8, 16, 16, 16}, {"lstm", 6, 8, 8, 16}}, Dense: []dense{{3, "identity", 16}}})
	add(true, sample{Features: 16, Layers: []layer{{"gru_before", 12, 8, 8, 16}}, Dense: []dense{{10, "tanh", 8}, {3, "logistic", 8}}})
	add(true, sample{Features: 16, Layers: []layer{{"elman_tanh", 24, 8, 8, 16}}, Dense: []dense{{12, "relu", 8}, {4, "identity", 8}}})
	return all
}
