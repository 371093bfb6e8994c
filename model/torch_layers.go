package model

import (
	"fmt"
	"slices"
)

// build reads the layers of a chain, where each layer takes the results of the one before it.
func (d *stateDict) build(chain []chained) (*Network, error) {
	n := &Network{}
	width := anySize
	for _, c := range chain {
		if c.layers == 0 {
			l, err := d.linear(c, width)
			if err != nil {
				return nil, err
			}
			n.Dense = append(n.Dense, l)
			width = l.Outputs
			continue
		}
		kind, err := d.kind(c)
		if err != nil {
			return nil, err
		}
		for number := range c.layers {
			l, err := d.layer(c.prefix, number, kind, width)
			if err != nil {
				return nil, err
			}
			n.Recurrent = append(n.Recurrent, l)
			width = l.Units
		}
	}
	return n, nil
}

// kind returns the kind of a recurrent module, inferred from the number of its gate blocks if the
// spec leaves it open.
func (d *stateDict) kind(c chained) (Kind, error) {
	if c.kind != 0 {
		return c.kind, nil
	}
	hidden := c.prefix + "weight_hh_l0"
	blocks, err := d.blocks(hidden)
	if err != nil {
		return 0, err
	}
	at := d.file.tensor(hidden)
	switch blocks {
	case GRUResetAfter.Gates():
		return GRUResetAfter, nil
	case LSTM.Gates():
		return LSTM, nil
	case ElmanTanh.Gates():
		return 0, at.unsaid(d.layersHint(), "the file does not say whether the Elman layer "+
			"uses tanh or ReLU")
	}
	return 0, at.broken(shapeHint, "has shape %s, expected [3*units × units] or [4*units × units]",
		formatShape(d.tensors[hidden].Shape))
}

// layer reads one recurrent layer of a module.
func (d *stateDict) layer(prefix string, number int, kind Kind, width int) (*Recurrent, error) {
	name := func(leaf string) string { return fmt.Sprintf("%s%s_l%d", prefix, leaf, number) }
	input, hidden := name("weight_ih"), name("weight_hh")
	blocks, err := d.blocks(hidden)
	if err != nil {
		return nil, err
	}
	shape, gates := d.tensors[hidden].Shape, kind.Gates()
	if blocks != gates {
		return nil, d.file.tensor(hidden).broken(shapeHint, "has shape %s, but %q has [%d*units "+
			"× units]", formatShape(shape), cellNames[kind], gates)
	}
	rows, units := shape[0], shape[1]
	l := &Recurrent{Kind: kind, Units: units}
	if l.W, err = d.values(input, rows, width); err != nil {
		return nil, err
	}
	l.Inputs = d.tensors[input].Shape[1]
	if l.U, err = d.values(hidden, rows, units); err != nil {
		return nil, err
	}
	if d.rank(name("bias_ih")) < 0 && d.rank(name("bias_hh")) < 0 {
		l.B, l.D = make([]float64, rows), make([]float64, rows)
		return l, nil
	}
	if l.B, err = d.values(name("bias_ih"), rows); err != nil {
		return nil, err
	}
	l.D, err = d.values(name("bias_hh"), rows)
	return l, err
}

// blocks returns the number of gate blocks in a layer's recurrent weights, or 0 if their shape fits
// no number.
func (d *stateDict) blocks(hidden string) (int, error) {
	t := d.tensors[hidden]
	if t == nil {
		return 0, d.file.broken("", "lacks tensor %q", hidden)
	}
	if len(t.Shape) != 2 || t.Shape[1] < 1 || t.Shape[0]%t.Shape[1] != 0 {
		return 0, nil
	}
	return t.Shape[0] / t.Shape[1], nil
}

// linear reads a dense layer; a left-out bias is zero.
func (d *stateDict) linear(c chained, width int) (*Dense, error) {
	weight, bias := c.prefix+"weight", c.prefix+"bias"
	l := &Dense{Inputs: width, Activation: c.activation}
	var err error
	if l.W, err = d.values(weight, anySize, width); err != nil {
		return nil, err
	}
	l.Outputs = d.tensors[weight].Shape[0]
	if d.rank(bias) < 0 {
		l.B = make([]float64, l.Outputs)
		return l, nil
	}
	l.B, err = d.values(bias, l.Outputs)
	return l, err
}

// anySize stands for a dimension that is free; it must be at least 1.
const anySize = -1

// values returns a copy of a tensor's data, or an error if the tensor is missing or
// [Tensor.checked] refuses it.
func (d *stateDict) values(name string, shape ...int) ([]float64, error) {
	t := d.tensors[name]
	if t == nil {
		return nil, d.file.broken("", "lacks tensor %q", name)
	}
	return t.checked(d.file.tensor(name), shapeHint, shape)
}

// checked returns a copy of a tensor's data, or an error if it has another shape or a value that is
// not finite or too large; hint is for a wrong shape.
func (t *Tensor) checked(at place, hint string, shape []int) ([]float64, error) {
	fits := slices.EqualFunc(t.Shape, shape, func(got, want int) bool {
		return got == want || want == anySize && got >= 1
	})
	if !fits {
		return nil, at.broken(hint, "has shape %s, expected %s", formatShape(t.Shape),
			formatShape(shape))
	}
	if count, ok := elements(t.Shape); !ok || count != len(t.Data) {
		return nil, at.broken("", "has shape %s, but %d values", formatShape(t.Shape), len(t.Data))
	}
	if i := firstUnusable(t.Data); i >= 0 {
		return nil, at.broken(weightHint,
			"value at %s is %v", formatIndex(i, t.Shape), t.Data[i])
	}
	return slices.Clone(t.Data), nil
}

// shapeHint says which shapes the tensors of layers have.
const shapeHint = "a recurrent layer has weight_ih [gates*units × inputs] and weight_hh " +
	"[gates*units × units], a linear layer weight [outputs × inputs]; " +
	"gates is 3 for a GRU, 4 for an LSTM, 1 for an Elman layer; the inputs of a layer are the " +
	"results of the one before it"
