package cost

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"kerf/model"
	"kerf/quant"
)

// shapeKinds and shapeActivations are the words of a shape text.
var (
	shapeKinds = map[string]model.Kind{
		"gru_after": model.GRUResetAfter, "gru_before": model.GRUResetBefore, "lstm": model.LSTM,
		"elman_tanh": model.ElmanTanh, "elman_relu": model.ElmanReLU,
	}
	shapeActivations = map[string]model.Activation{
		"identity": model.Identity, "relu": model.ReLU, "tanh": model.Tanh,
		"logistic": model.Logistic,
	}
)

// mostInShape bounds every number of a shape text. Our choice: no device runs more in a step.
const mostInShape = 4096

// ShapeText returns a shape without its shifts as one word without commas: features; then for each
// recurrent layer kind:units:input bits:recurrent bits:state bits; then for each dense layer
// dense:outputs:bits:activation. For example 17;gru_after:13:8:8:16;dense:2:16:identity.
func ShapeText(s quant.Shape) string {
	parts := []string{strconv.Itoa(s.Features)}
	for i, l := range s.Layers {
		f := s.Formats.Layers[i]
		parts = append(parts, fmt.Sprintf("%s:%d:%d:%d:%d", nameOf(shapeKinds, l.Kind), l.Units,
			f.InputBits, f.RecurrentBits, f.StateBits))
	}
	for i, d := range s.Dense {
		parts = append(parts, fmt.Sprintf("dense:%d:%d:%s", d.Outputs, s.Formats.Dense[i],
			nameOf(shapeActivations, d.Activation)))
	}
	return strings.Join(parts, ";")
}

// nameOf returns the name of a value. It panics on a value without one.
func nameOf[V comparable](names map[string]V, value V) string {
	for name, v := range names {
		if v == value {
			return name
		}
	}
	panic(fmt.Sprintf("cost: no word for %v", value))
}

// ParseShape reads the text of [ShapeText]. The error names the part that is wrong, without file
// or line.
func ParseShape(text string) (quant.Shape, error) {
	bad := func(part string) (quant.Shape, error) {
		return quant.Shape{}, fmt.Errorf("%q is no part of a network", part)
	}
	parts := strings.Split(text, ";")
	first, ok := numbers(parts[:1], 1)
	if !ok {
		return bad(parts[0])
	}
	s := quant.Shape{Features: first[0]}
	for _, part := range parts[1:] {
		fields := strings.Split(part, ":")
		if fields[0] == "dense" && len(fields) == 4 {
			n, ok := numbers(fields[1:3], 2)
			activation, known := shapeActivations[fields[3]]
			if !ok || !known || !slices.Contains([]int{4, 8, 16}, n[1]) {
				return bad(part)
			}
			s.Dense = append(s.Dense, quant.DenseShape{Outputs: n[0], Activation: activation})
			s.Formats.Dense = append(s.Formats.Dense, n[1])
			continue
		}
		kind, known := shapeKinds[fields[0]]
		n, ok := numbers(fields[1:], 4)
		if !known || !ok || len(s.Dense) > 0 || !slices.Contains([]int{4, 8, 16}, n[1]) ||
			!slices.Contains([]int{4, 8, 16}, n[2]) || !slices.Contains([]int{16, 32}, n[3]) {
			return bad(part)
		}
		if isElman := kind == model.ElmanTanh || kind == model.ElmanReLU; isElman && n[3] != 16 {
			return bad(part)
		}
		s.Layers = append(s.Layers, quant.LayerShape{Kind: kind, Units: n[0]})
		s.Formats.Layers = append(s.Formats.Layers,
			quant.LayerFormats{InputBits: n[1], RecurrentBits: n[2], StateBits: n[3]})
	}
	if len(s.Layers) == 0 || len(s.Dense) == 0 {
		return quant.Shape{}, fmt.Errorf("%q names no recurrent or no dense layer", text)
	}
	return s, nil
}

// numbers reads exactly n numbers from 1 to mostInShape and reports whether that is what the fields
// hold.
func numbers(fields []string, n int) ([]int, bool) {
	if len(fields) != n {
		return nil, false
	}
	values := make([]int, n)
	for i, f := range fields {
		v, err := strconv.Atoi(f)
		if err != nil || v < 1 || v > mostInShape {
			return nil, false
		}
		values[i] = v
	}
	return values, true
}
