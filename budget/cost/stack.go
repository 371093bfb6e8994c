package cost

import (
	"fmt"
	"strconv"

	"kerf/model"
	"kerf/quant"
)

// stackAlign is the multiple of bytes that every frame is filled up to, by instruction set.
// Sources: Procedure Call Standard for the Arm Architecture, section 6.2.1.2 (8 at interfaces);
// RISC-V calling convention (16); avr-gcc has none.
func stackAlign(isa string) int {
	switch isa {
	case "rv32imc":
		return 16
	case "avr":
		return 1
	}
	return 8
}

// frame names a figure of stack_bytes in kernels.toml. For functions that read rows, and for a
// head, the figure is what the function and all that it calls take; for the others it is their own
// frame without the arrays, whose size depends on the network.
type frame struct {
	of         frameOf
	bits       int              // of weights, or of the state of a recurrent layer
	layer      model.Kind       // of a recurrent layer
	activation model.Activation // of a dense layer
	// Functions that read rows keep more or fewer registers with these.
	isSingle bool // there is no loop over groups of rows
	hasLeft  bool // rows are left that are read alone
	isCaller bool // a routine that reads a row is called
	isLong   bool // of the step: more than two layers
}

// frameOf says which function a frame belongs to.
type frameOf int

const (
	rowsFunction  frameOf = iota // reads the rows of a matrix
	headFunction                 // a last layer whose sums are the outputs
	layerFunction                // a recurrent layer
	denseFunction                // a dense layer in front of the last one
	lastFunction                 // a last layer with a table
	stepFunction
)

// isChain reports whether the figure holds all that the function calls.
func (f frame) isChain() bool { return f.of == rowsFunction || f.of == headFunction }

// name returns the name of the figure in kernels.toml.
func (f frame) name() string {
	switch f.of {
	case rowsFunction:
		name := "rows" + strconv.Itoa(f.bits)
		for _, form := range []struct {
			is   bool
			word string
		}{{f.isSingle, "_single"}, {f.hasLeft, "_left"}, {f.isCaller, "_called"}} {
			if form.is {
				name += form.word
			}
		}
		return name
	case headFunction:
		return "head" + strconv.Itoa(f.bits)
	case layerFunction:
		return layerName(f.layer, f.bits)
	case denseFunction:
		return "dense_" + f.activation.String()
	case lastFunction:
		return "last_" + f.activation.String()
	}
	if f.isLong {
		return "step_more"
	}
	return "step"
}

// rowsFrame is the frame of a function that was counted and reads rows of so many bits.
func rowsFrame(bits int, f function) frame {
	of := func(t task) float64 { return f.time[kernel{task: t, bits: bits}] }
	return frame{of: rowsFunction, bits: bits, isSingle: of(groupTurn) == 0,
		hasLeft: of(leftRows) > 0, isCaller: of(row)+of(tailRow) > 0}
}

func layerFrame(s quant.Shape, i int) frame {
	return frame{of: layerFunction, layer: s.Layers[i].Kind, bits: s.Formats.Layers[i].StateBits}
}

func denseFrame(s quant.Shape, i int) frame {
	if isHead(s, i) {
		return frame{of: headFunction, bits: s.Formats.Dense[i]}
	}
	f := frame{of: denseFunction, activation: s.Dense[i].Activation}
	if i == len(s.Dense)-1 {
		f.of = lastFunction
	}
	return f
}

func stepFrame(s quant.Shape) frame {
	return frame{of: stepFunction, isLong: len(s.Layers)+len(s.Dense) > 2}
}

// stackBytes bounds the stack of a step in bytes. The functions stand behind those that they call.
func (k *kernelSet) stackBytes(all []function, isa string) int {
	align := stackAlign(isa)
	deepest := map[string]int{} // of what a function calls, by its name
	for _, f := range all {
		need := 0
		if f.frame.isChain() {
			need = k.chain(f.frame)
		} else {
			need = (f.arrays+figure(k.Stack, f.frame.name())+align-1)/align*align + deepest[f.name]
		}
		deepest[f.caller] = max(deepest[f.caller], need)
	}
	return deepest[""]
}

// chain returns the figure of a frame that holds all that its function calls. Where no network of
// its form was measured, the largest figure of its word width stands in. It panics if there is
// none.
func (k *kernelSet) chain(f frame) int {
	if v, ok := k.Stack[f.name()]; ok {
		return v
	}
	most := 0
	for form := range 1 << 3 {
		other := f
		other.isSingle, other.hasLeft, other.isCaller = form&1 > 0, form&2 > 0, form&4 > 0
		most = max(most, k.Stack[other.name()])
	}
	if most == 0 {
		panic(fmt.Sprintf("cost: kernels.toml has no figure %q", f.name()))
	}
	return most
}

// int16Array is the size of an array of 16-bit values on the stack, in bytes: whole words.
func int16Array(n int) int {
	const wordBytes, int16Bytes = 4, 2
	return (int16Bytes*n + wordBytes - 1) / wordBytes * wordBytes
}

// layerArrays is the size of the arrays of the function of a recurrent layer, in bytes.
func layerArrays(l quant.LayerShape) int {
	rows := int16Array(l.Kind.Gates() * l.Units)
	if l.Kind == model.GRUResetBefore {
		// and the scaled state and a gate
		return rows + int16Array(2*l.Units) + 2*int16Array(l.Units)
	}
	return 2 * rows // results of input rows and of recurrent rows
}

// stepArrays is the size of the arrays of the step, in bytes: 16-bit views of wide states, and
// results between dense layers.
func stepArrays(s quant.Shape) int {
	sum := 0
	for i, l := range s.Layers {
		if hasView(s, i) {
			sum += int16Array(l.Units)
		}
	}
	for _, d := range s.Dense[:len(s.Dense)-1] {
		sum += int16Array(d.Outputs)
	}
	return sum
}
