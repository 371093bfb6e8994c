package cost

import (
	"strconv"

	"kerf/model"
	"kerf/quant"
	"kerf/quant/rows"
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

// frame names a figure of stack_bytes in kernels.toml. For functions that read rows the figure is
// what the function and the kernel that it calls take; for the others it is their own frame without
// the arrays, whose size depends on the network.
type frame struct {
	of         frameOf
	bits       int              // of weights, or of the state of a recurrent layer
	layer      model.Kind       // of a recurrent layer
	activation model.Activation // of a dense layer
	isHead     bool             // of rows: their sums are the outputs
	isLong     bool             // of the step: more than two layers
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

// name returns the name of the figure in kernels.toml.
func (f frame) name() string {
	switch f.of {
	case rowsFunction:
		if f.isHead {
			return "sums" + strconv.Itoa(f.bits)
		}
		return "rows" + strconv.Itoa(f.bits)
	case headFunction:
		return "head"
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

// rowsFrame is the frame of the function that reads the rows of a matrix.
func rowsFrame(m matrix) frame {
	return frame{of: rowsFunction, bits: m.bits, isHead: m.isHead}
}

func layerFrame(s quant.Shape, i int) frame {
	return frame{of: layerFunction, layer: s.Layers[i].Kind, bits: s.Formats.Layers[i].StateBits}
}

func denseFrame(s quant.Shape, i int) frame {
	if isHead(s, i) {
		return frame{of: headFunction}
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
		need := figure(k.Stack, f.frame.name())
		if f.frame.of != rowsFunction {
			need = (f.arrays+need+align-1)/align*align + deepest[f.name]
		}
		deepest[f.caller] = max(deepest[f.caller], need)
	}
	return deepest[""]
}

// int32Bytes are the bytes of an int32.
const int32Bytes = 4

// int16Array is the size of an array of 16-bit values on the stack, in bytes: whole words.
func int16Array(n int) int {
	const int16Bytes = 2
	return (int16Bytes*n + int32Bytes - 1) / int32Bytes * int32Bytes
}

// layerArrays is the size of the arrays of the function of a recurrent layer, in bytes.
func layerArrays(l quant.LayerShape) int {
	results := int16Array(rows.Filled(l.Kind.Gates() * l.Units))
	if l.Kind == model.GRUResetBefore {
		// and the scaled state and a gate
		return results + int16Array(rows.Filled(2*l.Units)) + 2*int16Array(l.Units)
	}
	return 2 * results // results of input rows and of recurrent rows
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
		sum += int16Array(rows.Filled(d.Outputs))
	}
	return sum
}
