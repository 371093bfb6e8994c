package cost

import (
	"fmt"
	"strconv"
	"strings"

	"kerf/model"
	"kerf/quant"
)

// StackAlign is the multiple that every frame is filled up to, by instruction set. Sources:
// Procedure Call Standard for the Arm Architecture, section 6.2.1.2 (8 at interfaces); RISC-V
// calling convention (16); avr-gcc has none.
func StackAlign(isa string) int {
	switch isa {
	case "rv32imc":
		return 16
	case "avr":
		return 1
	}
	return 8
}

// stackBytes bounds the stack of a step in bytes: the frame of the step and the deepest of the
// functions that it calls. A frame holds arrays, whose size is known, and registers and
// temporaries, of which kernels.toml has the most that was seen.
func StackBytes(s quant.Shape, isa string) int {
	k := kernelsFor(isa)
	align := StackAlign(isa)
	frame := func(arrays int, name string) int {
		return (arrays + figure(k.Stack, name) + align - 1) / align * align
	}
	deepest := 0
	eachMatrix(s, func(m matrix) {
		if m.isHead {
			deepest = max(deepest, k.chain(s, isa, m.name+"_step"))
			return
		}
		caller := m.name + "_step"
		if !m.isDense {
			caller = fmt.Sprintf("l%d_step", m.layer)
		}
		deepest = max(deepest, k.chain(s, isa, m.name+"_rows")+frame(FrameArrays(s, caller),
			StackKey(s, isa, caller)))
	})
	return frame(FrameArrays(s, "step"), StackKey(s, isa, "step")) + deepest
}

// chain bounds what a function takes with all that it calls. Where no network of its form was
// measured, the largest of its word width stands in.
func (k *kernelSet) chain(s quant.Shape, isa, function string) int {
	key := StackKey(s, isa, function)
	if v, ok := k.Stack[key]; ok {
		return v
	}
	width, _, _ := strings.Cut(key, "_")
	most := 0
	for name, v := range k.Stack {
		if name == width || strings.HasPrefix(name, width+"_") {
			most = max(most, v)
		}
	}
	if most == 0 {
		panic(fmt.Sprintf("cost: kernels.toml has no figure %q", key))
	}
	return most
}

// StackKey names the figure of kernels.toml for a function of the emitted C: of those that read
// rows, and of a last layer whose sums are the outputs, it is what the function and all that it
// calls take; of others what their own frame takes beyond its arrays.
func StackKey(s quant.Shape, isa, function string) string {
	if function == "step" {
		if len(s.Layers)+len(s.Dense) > 2 {
			return "step_more"
		}
		return "step"
	}
	for i := range s.Layers {
		if function == fmt.Sprintf("l%d_step", i) {
			return layerKey(s.Layers[i].Kind, s.Formats.Layers[i].StateBits)
		}
	}
	key := ""
	eachMatrix(s, func(m matrix) {
		switch function {
		case m.name + "_rows":
			w := wayOf(isa)
			key = fmt.Sprintf("rows%d", m.bits) + w.block(w.findHelpers(s, isa), m.rows, m.columns,
				m.bits, 0).stackForm(m.bits)
		case m.name + "_step":
			d := s.Dense[m.layer]
			switch {
			case m.isHead:
				key = fmt.Sprintf("head%d", m.bits)
			case m.name == "head":
				key = "last_" + d.Activation.String()
			default:
				key = "dense_" + d.Activation.String()
			}
		}
	})
	return key
}

// stackForm tells functions that read rows apart by what decides how many registers they keep:
// whether there is a loop over groups of rows, rows that are left, and a routine that is called for
// these.
func (f function) stackForm(bits int) string {
	row := "row" + strconv.Itoa(bits)
	form := ""
	if f.time["turn"+strconv.Itoa(bits)] == 0 {
		form = "_single"
	}
	if f.time["left"+strconv.Itoa(bits)] > 0 {
		form += "_left"
	}
	if f.time[row]+f.time[row+"_tail"] > 0 {
		form += "_called"
	}
	return form
}

// StackIsChain tells that a figure of [StackKey] is what a function takes with all that it calls.
func StackIsChain(key string) bool {
	return strings.HasPrefix(key, "rows") || strings.HasPrefix(key, "head")
}

// FrameArrays is how many bytes of arrays a function of the emitted C has on the stack.
func FrameArrays(s quant.Shape, function string) int {
	const wordBytes, int16Bytes = 4, 2
	int16s := func(n int) int { return (int16Bytes*n + wordBytes - 1) / wordBytes * wordBytes }
	if function == "step" {
		sum := 0
		for i, l := range s.Layers {
			// a 16-bit view of the state
			if l.Kind != model.LSTM && s.Formats.Layers[i].StateBits == 32 {
				sum += int16s(l.Units)
			}
		}
		for _, d := range s.Dense[:len(s.Dense)-1] {
			sum += int16s(d.Outputs)
		}
		return sum
	}
	for i, l := range s.Layers {
		if function != fmt.Sprintf("l%d_step", i) {
			continue
		}
		rows := l.Kind.Gates() * l.Units
		if l.Kind == model.GRUResetBefore {
			// and the scaled state and a gate
			return int16s(rows) + int16s(2*l.Units) + 2*int16s(l.Units)
		}
		return 2 * int16s(rows) // results of input and recurrent rows
	}
	last := s.Dense[len(s.Dense)-1]
	if function == "head_step" && usesTable(last.Activation) {
		return int16s(last.Outputs)
	}
	return 0
}
