package cost

import (
	"kerf/quant"
	"kerf/quant/rows"
)

// counter counts the kernels of the emitted C of a network on an instruction set.
type counter struct {
	shape quant.Shape
	isa   string // named as in targets.Profile.ISA
	form  Form
	way   rows.Kernel
}

func newCounter(s quant.Shape, isa string, form Form) *counter {
	c := &counter{shape: s, isa: isa, form: form, way: rows.Of(isa)}
	if form == Small {
		c.way = rows.Plain
	}
	return c
}

// isAVR reports whether the core shifts bit by bit and reads constants from program memory.
func (c *counter) isAVR() bool { return c.isa == "avr" }

// runs holds how often each kernel runs in a step, or how often its code stands in a function.
type runs map[kernel]float64

func (r runs) add(k kernel, n int) {
	if n != 0 {
		r[k] += float64(n)
	}
}

// function is a function of the emitted C that is kept out of its callers, with the routines that
// stand in it.
type function struct {
	name   string // in the emitted C, behind the name of the job: l0_x_rows
	caller string // name of the function that calls it; none for the step
	part   string // of the cycles of a step, see [Part]
	time   runs   // in a step
	code   runs
	// constants that a step reads in the function: biases, shifts, weights, nodes of the table.
	// Executed loads through a register do not tell flash from RAM, so what they wait for flash
	// is added by this number.
	flashReads int
	frame      frame // the figure of its stack
	arrays     int   // bytes of its arrays on the stack
}

func newFunction() function { return function{time: runs{}, code: runs{}} }

// add counts a kernel that stands n times in the code and runs so many times in a step.
func (f function) add(k kernel, times, n int) {
	f.time.add(k, times)
	f.code.add(k, n)
}

// functions counts the functions of the emitted C, each behind those that it calls.
func (c *counter) functions() []function {
	readers := map[string][]function{} // functions that read rows, by the prefix of their layer
	eachMatrix(c.shape, func(m matrix) {
		f := c.readRows(m)
		layer := layerPrefix(m.layer)
		switch {
		case m.isDense:
			layer = m.name
			f.part = layer
		case m.isState:
			f.part = layer + "_recurrent_products"
		default:
			f.part = layer + "_input_products"
		}
		f.name, f.caller, f.frame = m.name+"_rows", layer+"_step", rowsFrame(m)
		readers[layer] = append(readers[layer], f)
	})
	var all []function
	for i := range c.shape.Layers {
		layer := layerPrefix(i)
		f := c.gates(i)
		f.name, f.caller, f.part = layer+"_step", "step", layer+"_gates"
		f.frame = layerFrame(c.shape, i)
		all = append(append(all, readers[layer]...), f)
	}
	for i := range c.shape.Dense {
		layer := densePrefix(c.shape, i)
		f := c.dense(i)
		f.name, f.caller, f.part = layer+"_step", "step", layer
		f.frame = denseFrame(c.shape, i)
		all = append(append(all, readers[layer]...), f)
	}
	f := c.step()
	f.name, f.part, f.frame = "step", "call", stepFrame(c.shape)
	return append(all, f)
}

// shared counts the code outside of the functions: kernels in assembler, and routines of the
// emitted C and of the compiler's library that functions call.
func (c *counter) shared() runs {
	code := runs{}
	code.add(kernel{task: otherShared}, 1)
	code.add(kernel{task: resetLayer}, len(c.shape.Layers))
	for i, l := range c.shape.Layers {
		if c.isAVR() { // routines that multiply, of the compiler's library
			code[kernel{task: layerShared, layer: l.Kind,
				bits: c.shape.Formats.Layers[i].StateBits}] = 1
		}
		if l.Units >= longState {
			code[kernel{task: resetCall}] = 1
		}
		if l.Kind.HasCell() {
			code.add(kernel{task: resetCell}, 1)
		}
	}
	c.kernelCode(code)
	eachMatrix(c.shape, func(m matrix) {
		if c.way.IsRaised(m.bits) {
			code[kernel{task: sumColumn}] = 1
		}
	})
	for i, d := range c.shape.Dense {
		if isHead(c.shape, i) && copiesHead(d) {
			code[kernel{task: headCopy}] = 1
		}
		if usesTable(d.Activation) && i == len(c.shape.Dense)-1 {
			code[kernel{task: scaleShared}] = 1
		} else if usesTable(d.Activation) {
			code[kernel{task: tableShared}] = 1
		}
	}
	return code
}

// longState is the fewest units of which GCC sets the state to 0 at -Os with a call of memset,
// whatever the width; fewer it sets in place. Read in objects for 2 to 32 units; AVR does not.
const longState = 8

// Function is a function of the emitted C as [Of] counts it.
type Function struct {
	Name string // in the emitted C, behind the name of the job
	Part string // the [Part] of the cycles of a step to which it belongs
	// Kernels is how often each kernel of kernels.toml runs in a step, Code how often its code
	// stands in the function.
	Kernels, Code map[string]float64
	// StackKey names the figure of kernels.toml for its stack, see StackFigure.
	StackKey string

	counted function
	isa     string
}

// Functions returns the functions of the emitted C of a network on an instruction set, and the code
// that they share. The command that fits kernels.toml (testdata/kernels) reads them.
func Functions(s quant.Shape, isa string, form Form) (own []Function,
	shared map[string]float64) {
	c := newCounter(s, isa, form)
	for _, f := range c.functions() {
		own = append(own, Function{Name: f.name, Part: f.part, Kernels: f.time.named(),
			Code: f.code.named(), StackKey: f.frame.name(), counted: f, isa: isa})
	}
	return own, c.shared().named()
}

// named returns the runs by the names of kernels.toml.
func (r runs) named() map[string]float64 {
	all := make(map[string]float64, len(r))
	for k, n := range r {
		all[k.name()] = n
	}
	return all
}

// StackFigure returns the least figure of kernels.toml, in bytes, with which [Of] bounds the stack
// of the function, from its frame and the deepest chain of calls from it as measured.
func (f Function) StackFigure(frame, chain int) int {
	if f.counted.frame.of == rowsFunction {
		return chain
	}
	// A frame is filled up to whole multiples: the least figure that gives this frame.
	return frame - f.counted.arrays - (stackAlign(f.isa) - 1)
}
