// Command generate writes the loops of package benchscore that show the arithmetic peak of amd64
// with AVX2 and FMA.
package main

import (
	. "github.com/mmcloughlin/avo/build"
	. "github.com/mmcloughlin/avo/operand"
	. "github.com/mmcloughlin/avo/reg"
)

// sums is the number of sums that each loop runs side by side. It keeps both multipliers of a core
// busy: two multiplications per cycle, each done after 4 or 5 cycles, make at most 10 at once.
const sums = 12

func main() {
	ConstraintExpr("amd64")
	loop("fused", "fused runs n rounds of 96 multiply-accumulates of float32: 12 fused "+
		"instructions of 8.", func(x, y, sum VecVirtual) {
		VFMADD231PS(x, y, sum)
	})
	loop("apart", "apart runs the same with multiplication and addition apart.",
		func(x, y, sum VecVirtual) {
			product := YMM()
			VMULPS(x, y, product)
			VADDPS(product, sum, sum)
		})
	loop("pairs", "pairs runs n rounds of 192 multiply-accumulates of int16: 12 instructions of "+
		"8 pairs, and 12 additions.", func(x, y, sum VecVirtual) {
		product := YMM()
		VPMADDWD(x, y, product)
		VPADDD(product, sum, sum)
	})
	Generate()
}

// loop writes a function that runs body on all sums, n times.
func loop(name, doc string, body func(x, y, sum VecVirtual)) {
	TEXT(name, NOSPLIT, "func(n int)")
	Doc(doc)
	n := Load(Param("n"), GP64())
	x, y := YMM(), YMM()
	VXORPS(x, x, x)
	VXORPS(y, y, y)
	all := make([]VecVirtual, sums)
	for i := range all {
		all[i] = YMM()
		VXORPS(all[i], all[i], all[i])
	}
	Label("round")
	for _, sum := range all {
		body(x, y, sum)
	}
	DECQ(n)
	JNZ(LabelRef("round"))
	VZEROUPPER()
	RET()
}
