package main

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"

	"kerf/model"
)

// activations are the activations with their words in a job and in a report.
var activations = []struct{ job, report string }{{"identity", "identity"}, {"relu", "ReLU"},
	{"tanh", "tanh"}, {"logistic", "logistic"}}

// reported returns the word of a report for an activation of a job.
func reported(activation string) string {
	for _, a := range activations {
		if a.job == activation {
			return a.report
		}
	}
	panic("no activation " + activation)
}

// modelFinding returns the finding that the model file is of a variant, and the words of the cause.
func modelFinding(what, how string) []finding {
	return []finding{{what, []string{modelFile}, []string{how}}}
}

// exchangeActivation changes the activation of a dense layer, or the cell of the Elman layer.
func exchangeActivation(d *draft, random *rand.Rand) breakage {
	if d.job == elmanJob && random.IntN(2) == 0 {
		d.layers[0].cell = "elman-relu"
		return breakage{says: "elman-relu in place of elman-tanh",
			right: modelFinding(model.VariantCell, "elman-tanh in place of elman-relu")}
	}
	dense := len(d.layers) - 1
	i := random.IntN(dense)
	l := &d.layers[1+i]
	others := slices.DeleteFunc(slices.Clone(activations),
		func(a struct{ job, report string }) bool {
			return a.job == l.activation
		})
	trained := l.activation
	l.activation = others[random.IntN(len(others))].job
	return breakage{
		says: fmt.Sprintf("%s in place of %s behind dense layer %d of %d", l.activation, trained,
			i+1, dense),
		right: modelFinding(model.VariantActivation, fmt.Sprintf("%s in place of %s behind "+
			"dense layer %d of %d", reported(trained), reported(l.activation), i+1, dense)),
	}
}

// resetBefore has the job say that the reset gate of the GRU acts before the recurrent weights.
func resetBefore(d *draft, _ *rand.Rand) breakage {
	d.layers[0].cell = "gru-reset-before"
	return breakage{says: "gru-reset-before in place of gru",
		right: modelFinding(model.VariantReset, "gru in place of gru-reset-before")}
}

// lettersOf holds the letters of the gate blocks of torch in their order, by job.
var lettersOf = map[string]string{demoJob: "rzn", cityJob: "rzn", lstmJob: "ifgo"}

// reorderGates puts the gate blocks of the model file into another order.
func reorderGates(d *draft, random *rand.Rand) breakage {
	letters := lettersOf[d.job]
	// Place p of the broken file has block order[p] of the unbroken one.
	order := random.Perm(len(letters))
	for slices.IsSorted(order) {
		order = random.Perm(len(letters))
	}
	var file []string
	for _, from := range order {
		file = append(file, letters[from:from+1])
	}
	for _, leaf := range []string{"weight_ih_l0", "weight_hh_l0", "bias_ih_l0", "bias_hh_l0"} {
		t := d.tensors[d.layers[0].name+"."+leaf]
		size := len(t.Data) / len(letters)
		given := slices.Clone(t.Data)
		for place, from := range order {
			copy(t.Data[place*size:(place+1)*size], given[from*size:(from+1)*size])
		}
	}
	text := strings.Join(file, " ")
	return breakage{
		says: "gate blocks of the file in the order " + text,
		right: modelFinding(model.VariantGates, fmt.Sprintf("gates in the order %s, read as %s",
			text, strings.Join(strings.Split(letters, ""), " "))),
	}
}

// turn transposes square blocks that stand one below the other.
func turn(t *model.Tensor) {
	size := t.Shape[1]
	for block := range slices.Chunk(t.Data, size*size) {
		for r := range size {
			for c := range r {
				block[r*size+c], block[c*size+r] = block[c*size+r], block[r*size+c]
			}
		}
	}
}

// transpose transposes one or all of the square matrices.
func transpose(d *draft, random *rand.Rand) breakage {
	recurrent, input := d.tensors[d.layers[0].name+".weight_hh_l0"],
		d.tensors[d.layers[0].name+".weight_ih_l0"]
	type way struct {
		what    string
		tensors []*model.Tensor
	}
	all := []*model.Tensor{recurrent}
	ways := []way{{"recurrent weights transposed", []*model.Tensor{recurrent}}}
	if input.Shape[1] == recurrent.Shape[1] {
		ways = append(ways, way{"square input weights transposed", []*model.Tensor{input}},
			way{"recurrent and square input weights transposed", []*model.Tensor{recurrent, input}})
		all = append(all, input)
	}
	square := false
	for i, l := range d.layers[1:] {
		if w := d.tensors[l.name+".weight"]; w.Shape[0] == w.Shape[1] {
			ways = append(ways,
				way{fmt.Sprintf("weights of dense layer %d transposed", i+1), []*model.Tensor{w}})
			all, square = append(all, w), true
		}
	}
	if square {
		ways = append(ways, way{"every square matrix transposed", all})
	}
	drawn := ways[random.IntN(len(ways))]
	for _, t := range drawn.tensors {
		turn(t)
	}
	return breakage{says: drawn.what, right: modelFinding(model.VariantTransposed, drawn.what)}
}

// exchangeDense exchanges the two dense layers of the same shape.
func exchangeDense(d *draft, random *rand.Rand) breakage {
	first, second := &d.layers[1], &d.layers[2]
	const found = "dense layers 1 and 2 exchanged"
	const stay = found + ", activations left where they are"
	switch random.IntN(3) {
	case 0:
		*first, *second = *second, *first
		return breakage{says: "dense layers exchanged in the job",
			right: []finding{{model.VariantOrder, nil, []string{"with " + found}}}}
	case 1:
		first.name, second.name = second.name, first.name
		return breakage{says: "names of dense layers exchanged in the job",
			right: modelFinding(model.VariantOrder, stay)}
	}
	for _, leaf := range []string{".weight", ".bias"} {
		a, b := d.tensors[first.name+leaf], d.tensors[second.name+leaf]
		a.Data, b.Data = b.Data, a.Data
	}
	return breakage{says: "weights of dense layers exchanged in the file",
		right: modelFinding(model.VariantOrder, stay)}
}
