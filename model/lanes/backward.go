package lanes

import "kerf/model"

// Backward carries the derivatives that [Tape.Change] holds back through the last segment. It sets
// the weights and biases of gradient, a network of the same shape, to the derivatives by these,
// added up over steps and lanes; gradient may be nil. With inputs it also sets those by the inputs.
func (t *Tape) Backward(gradient *model.Network, inputs bool) {
	t.backDense()
	for i := len(t.layers) - 1; i >= 0; i-- {
		l, shape := &t.layers[i], &t.program.layers[i]
		if shape.units == 0 {
			continue
		}
		l.backward(shape, t.steps)
		if i > 0 || inputs {
			for step := range t.steps {
				c := &l.changes[step]
				below := c.input
				if i > 0 {
					below = t.layers[i-1].changes[step].hidden
				}
				l.below.apply(below, c.sums)
			}
		}
		if gradient != nil {
			t.layerGradient(shape, l, gradient.Recurrent[i])
		}
	}
	if gradient != nil {
		for i, d := range gradient.Dense {
			t.denseGradient(i, d)
		}
	}
}

// backDense carries the derivatives through the dense layers, to the states of the last recurrent
// layer.
func (t *Tape) backDense() {
	last := &t.layers[len(t.layers)-1]
	for step := range t.steps {
		for i := len(t.dense) - 1; i >= 0; i-- {
			d := &t.dense[i]
			size := t.program.dense[i].rows * Width
			change, y := d.change[step*d.distance:][:size], d.y[step*d.distance:][:size]
			switch t.program.dense[i].activation {
			case model.ReLU:
				reluSlope(change, y)
			case model.Tanh:
				tanhSlope(change, y)
			case model.Logistic:
				logisticSlope(change, y)
			}
			below := last.changes[step].hidden
			if i > 0 {
				b := &t.dense[i-1]
				below = b.change[step*b.distance:][:b.distance]
			}
			d.below.apply(below, change)
		}
	}
}

// backward goes from the last step of the segment to the first. It finds the derivatives by the
// states from the layer above in changes, and adds those from later steps.
func (t *layerTape) backward(l *layer, steps int) {
	h := l.units * Width
	after, cells := t.after[:h], t.cells[:h]
	clear(after)
	clear(cells)
	for step := steps - 1; step >= 0; step-- {
		c, before, s := &t.changes[step], &t.states[step], &t.states[step+1]
		hidden := c.hidden[:h]
		add(hidden, after)
		copy(after, hidden)
		part := func(gate int) []float32 { return c.sums[gate*h : (gate+1)*h] }
		switch l.kind {
		case model.GRUResetAfter:
			candidate, reset, update, recurrent := part(0), part(1), part(2), part(3)
			r, z := s.gates[:h], s.gates[h:2*h]
			blendSlope(candidate, update, after, before.state, z, s.candidate[:h])
			product(reset, candidate, s.recurrent[:h])
			logisticSlope(reset, r)
			product(recurrent, candidate, r)
			t.back.apply(t.product, c.sums[h:])
		case model.GRUResetBefore:
			candidate, reset, update := part(0), part(1), part(2)
			r, z := s.gates[:h], s.gates[h:2*h]
			blendSlope(candidate, update, after, before.state, z, s.candidate[:h])
			t.kept.apply(t.product, candidate)
			kept := t.product[:h]
			addProduct(after, kept, r)
			product(reset, kept, before.state)
			logisticSlope(reset, r)
			t.back.apply(t.product, c.sums[h:])
		case model.LSTM:
			t.backLSTM(c, before, s, part)
			t.back.apply(t.product, c.sums)
		case model.ElmanTanh:
			copy(c.sums, after)
			tanhSlope(c.sums, s.state)
			clear(after)
			t.back.apply(t.product, c.sums)
		case model.ElmanReLU:
			copy(c.sums, after)
			reluSlope(c.sums, s.state)
			clear(after)
			t.back.apply(t.product, c.sums)
		}
		add(after, t.product[:h])
	}
}

// backLSTM goes back through the gates and the cell of one step.
func (t *layerTape) backLSTM(c *layerChange, before, s *layerState, part func(int) []float32) {
	h := len(s.state)
	after, cells := t.after[:h], t.cells[:h]
	gate := func(g int) []float32 { return s.gates[g*h : (g+1)*h] }
	input, forget, candidate, output := part(0), part(1), part(2), part(3)
	product(output, after, s.seen)
	logisticSlope(output, gate(3))
	product(after, after, gate(3))
	tanhSlope(after, s.seen)
	add(cells, after)
	product(input, cells, gate(2))
	logisticSlope(input, gate(0))
	product(forget, cells, before.cell)
	logisticSlope(forget, gate(1))
	product(candidate, cells, gate(0))
	tanhSlope(candidate, gate(2))
	product(cells, cells, gate(1))
	clear(after)
}

// vectors are vectors of every step of a segment: the first step's, and the distance to the next
// step's.
type vectors struct {
	first    []float32 // with capacity to the last step's
	distance int
}

// from returns the vectors from the nth on.
func (v vectors) from(n int) vectors { return vectors{v.first[n*Width:], v.distance} }

// layerGradient sets the derivatives by the weights and biases of a recurrent layer.
func (t *Tape) layerGradient(l *layer, from *layerTape, to *model.Recurrent) {
	h := l.units
	sums := vectors{from.changes[0].sums, from.changeDistance}
	input := vectors{from.states[1].input, from.distance}
	state := vectors{from.states[0].state, from.distance}
	ones := vectors{t.ones, 0}
	if l.kind != model.GRUResetAfter && l.kind != model.GRUResetBefore {
		rows := l.kind.Gates() * h
		t.outer(to.W, sums, input, rows, l.inputs)
		t.outer(to.U, sums, state, rows, h)
		t.outer(to.B, sums, ones, rows, 1)
		copy(to.D, to.B)
		return
	}
	for _, m := range []struct {
		to      []float64
		x       vectors
		columns int
	}{{to.W, input, l.inputs}, {to.B, ones, 1}} {
		t.outer(m.to[2*h*m.columns:], sums, m.x, h, m.columns)
		t.outer(m.to[:2*h*m.columns], sums.from(h), m.x, 2*h, m.columns)
	}
	if l.kind == model.GRUResetAfter {
		t.outer(to.U, sums.from(h), state, 3*h, h)
		t.outer(to.D, sums.from(h), ones, 3*h, 1)
		return
	}
	t.outer(to.U[:2*h*h], sums.from(h), state, 2*h, h)
	t.outer(to.U[2*h*h:], sums, vectors{from.states[1].kept, from.distance}, h, h)
	copy(to.D, to.B)
}

// denseGradient is the same of a dense layer.
func (t *Tape) denseGradient(layer int, to *model.Dense) {
	d := &t.dense[layer]
	top := &t.layers[len(t.layers)-1]
	x := vectors{top.states[1].state, top.distance}
	if layer > 0 {
		x = vectors{t.dense[layer-1].y, t.dense[layer-1].distance}
	}
	t.outer(to.W, vectors{d.change, d.distance}, x, to.Outputs, to.Inputs)
	t.outer(to.B, vectors{d.change, d.distance}, vectors{t.ones, 0}, to.Outputs, 1)
}

// outer sets to [rows × columns] to the products of rows of changes with columns of x, added up
// over the steps of the segment and then over the lanes.
func (t *Tape) outer(to []float64, changes, x vectors, rows, columns int) {
	if rows == 0 || columns == 0 {
		return
	}
	sums := t.sums[:rows*columns]
	outer(sums, changes, x, rows, columns, t.steps)
	for i, v := range sums {
		to[i] = float64(v)
	}
}
