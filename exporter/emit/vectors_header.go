package emit

import (
	"fmt"
	"strings"
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
