package emit

import (
	"fmt"
	"math"
	"strings"

	"kerf/quant"
)

// vectorsHeader returns NAME_vectors.h. rom is the text of vectors_rom.h.
func (p *Program) vectorsHeader(rom string) string {
	var b strings.Builder
	b.WriteString(p.banner("recorded steps for the self-test; the last ones are inputs at the " +
		"ends of their range"))
	b.WriteString("#ifndef NET_VECTORS_H\n#define NET_VECTORS_H\n\n#include \"net.h\"\n\n" + rom +
		"#define NET_VECTORS_ID 0x@ID@UL\n")
	fmt.Fprintf(&b, "#define NET_VECTOR_STEPS %dU\n\n", len(p.Vectors))
	b.WriteString("/* 1: the state is reset before this step. */\nstatic const uint8_t " +
		"net_vector_reset[NET_VECTOR_STEPS] NET_VECTOR_ROM = {\n")
	list(&b, len(p.Vectors), 24, func(i int) string {
		if p.Vectors[i].Reset {
			return "1"
		}
		return "0"
	})
	b.WriteString("};\n\n")
	rowsOf(&b, "int16_t net_vector_x[NET_VECTOR_STEPS][NET_N_FEATURES]", p.Vectors,
		func(v VectorStep) []int32 { return v.X })
	rowsOf(&b, "int32_t net_vector_y[NET_VECTOR_STEPS][NET_N_OUTPUTS]", p.Vectors,
		func(v VectorStep) []int32 { return v.Y })
	p.windowVectors(&b)
	p.longVectors(&b)
	p.valueArrays(&b)
	p.floatVectors(&b)
	b.WriteString("#endif /* NET_VECTORS_H */\n")
	return rename(b.String(), p.Name)
}

// rowsOf writes a constant array with a row of values for each entry.
func rowsOf[T any](b *strings.Builder, declaration string, all []T, values func(T) []int32) {
	b.WriteString("static const " + declaration + " NET_VECTOR_ROM = {\n")
	for _, one := range all {
		b.WriteString("    { " + join(values(one)) + " },\n")
	}
	b.WriteString("};\n\n")
}

// join returns values as a list of C.
func join(values []int32) string {
	parts := make([]string, len(values))
	for i, v := range values {
		parts[i] = fmt.Sprint(v)
	}
	return strings.Join(parts, ", ")
}

// longVectors writes how long the long sequence of the self-test is, and its last outputs.
func (p *Program) longVectors(b *strings.Builder) {
	steps, y := p.longSequence()
	fmt.Fprintf(b, "/* A long sequence: the inputs of all steps above over and over, from one "+
		"reset on. Its last\n * outputs. */\n#define NET_VECTOR_LONG_STEPS %dU\n"+
		"#define NET_VECTOR_LONG_COMPARED %dU\n\n", steps, len(y))
	rowsOf(b, "int32_t net_vector_long_y[NET_VECTOR_LONG_COMPARED][NET_N_OUTPUTS]", y,
		func(y []int32) []int32 { return y })
}

// valueArrays writes values of features, see [Program.valueVectors].
func (p *Program) valueArrays(b *strings.Builder) {
	always, others := p.valueVectors()
	b.WriteString("/* Values for net_encode_one and what they give. */\n")
	rows := func(all []valueVector) {
		for _, v := range all {
			// C has no constant for the least int32
			value := fmt.Sprint(v.value)
			if v.value == math.MinInt32 {
				value = "INT32_MIN"
			}
			fmt.Fprintf(b, "    { %s, %d, %d },\n", value, v.feature, v.x)
		}
	}
	if len(always) == 0 {
		b.WriteString("#ifdef NET_WITH_ENCODE_ONE\n")
	}
	b.WriteString("static const struct {\n    int32_t value;\n    uint16_t feature;\n" +
		"    int16_t x;\n} net_values[] NET_VECTOR_ROM = {\n")
	rows(always)
	if len(always) > 0 {
		b.WriteString("#ifdef NET_WITH_ENCODE_ONE\n")
	}
	rows(others)
	if len(always) > 0 {
		b.WriteString("#endif\n")
	}
	b.WriteString("};\n#define NET_VECTOR_VALUES (sizeof(net_values) / sizeof(net_values[0]))\n")
	if len(always) == 0 {
		b.WriteString("#endif\n")
	}
	b.WriteByte('\n')
}

// decodedIntegers are outputs that the self-test decodes; net_selftest.c has the same.
var decodedIntegers = []int32{0, 1, -1, 12345678, math.MaxInt32, math.MinInt32}

// floatVectors writes physical values for name_encode, and what name_decode gives.
func (p *Program) floatVectors(b *strings.Builder) {
	physical, x := p.encodedRows()
	fmt.Fprintf(b, "#ifdef NET_WITH_FLOAT\n/* Physical values for net_encode and what they give: "+
		"none is near the middle of two integers. */\n#define NET_VECTOR_FLOATS %dU\n\n"+
		"static const float net_float_physical[NET_VECTOR_FLOATS][NET_N_FEATURES] "+
		"NET_VECTOR_ROM = {\n", len(physical))
	floats := func(row []float32) {
		var texts []string
		for _, v := range row {
			texts = append(texts, cFloat(v))
		}
		b.WriteString("    { " + strings.Join(texts, ", ") + " },\n")
	}
	for _, row := range physical {
		floats(row)
	}
	b.WriteString("};\n\n")
	rowsOf(b, "int16_t net_float_x[NET_VECTOR_FLOATS][NET_N_FEATURES]", x,
		func(x []int32) []int32 { return x })
	fmt.Fprintf(b, "/* What net_decode gives of the integers of the self-test. */\n"+
		"#define NET_VECTOR_DECODED %dU\n\nstatic const float "+
		"net_float_y[NET_VECTOR_DECODED][NET_N_OUTPUTS] NET_VECTOR_ROM = {\n", len(decodedIntegers))
	for _, v := range decodedIntegers {
		row := make([]float32, len(p.Net.Outputs))
		for o := range row {
			row[o] = float32(math.Ldexp(float64(float32(v)), -p.Net.OutputFraction(o)))
		}
		floats(row)
	}
	b.WriteString("};\n#endif\n\n")
}

// encodedRows returns physical values of all features and what name_encode gives: at the mean, at
// integers a quarter off, and beyond both ends. A quarter is far enough from a half that a compiler
// that computes in a wider format gives the same.
func (p *Program) encodedRows() (physical [][]float32, x [][]int32) {
	const most = 3e38 // nearly the largest float32
	// with the features side by side, wherever the recordings have them
	net := quant.Network{Features: p.Net.Features, InputFraction: p.Net.InputFraction}
	for i := range net.Features {
		net.Columns = append(net.Columns, i)
	}
	for k, target := range []float64{0, 9000, -25000, most, -most} {
		row, encoded := make([]float32, len(p.Net.Features)), make([]int32, len(p.Net.Features))
		columns := make([]float64, len(row))
		for i := range row {
			mean, factor := p.Net.EncodeConstants(i)
			row[i] = mean
			if math.Abs(target) == most {
				row[i] = float32(target)
			} else if k > 0 {
				v := float32(float64(mean) + (target+float64(37*(i%100))+0.25)/float64(factor))
				exact := float64((float64(v) - float64(mean)) * float64(factor))
				if math.Abs(exact-math.Floor(exact)-0.5) > 0.1 { // else float32 is too coarse
					row[i] = v
				}
			}
			columns[i] = float64(row[i])
		}
		net.Encode(columns, encoded)
		physical, x = append(physical, row), append(x, encoded)
	}
	return physical, x
}
