// Command generate writes the vector kernels of package lanes for amd64 with AVX2; go generate in
// that package runs it.
//
// Multiplications and additions stay apart, although the processor could fuse them: so every
// machine gives the same bits, see package lanes.
package main

import (
	"fmt"
	"math"

	. "github.com/mmcloughlin/avo/build"
	. "github.com/mmcloughlin/avo/operand"
	. "github.com/mmcloughlin/avo/reg"
)

// vectorBytes is the size of a vector: 8 lanes of float32.
const vectorBytes = 32

func main() {
	ConstraintExpr("amd64")
	affine()
	activation("logisticAVX2", "logisticAVX2 replaces n vectors by their logistic function.", false)
	activation("tanhAVX2", "tanhAVX2 replaces n vectors by their hyperbolic tangent.", true)
	elementwise()
	slopes()
	round()
	largest()
	for _, block := range []struct {
		name          string
		rows, columns int
	}{{"outer33AVX2", 3, 3}, {"outer31AVX2", 3, 1}, {"outer11AVX2", 1, 1}} {
		outer(block.name, block.rows, block.columns)
	}
	Generate()
}

// affine writes the kernel that computes rows in blocks of eight, whose sums stay in registers, and
// perhaps four more.
func affine() {
	TEXT("affineAVX2", NOSPLIT, "func(y, w, b, x *float32, columns, blocks, half int)")
	Pragma("noescape")
	Doc("affineAVX2 computes blocks of eight rows of w x + b and, if half is not 0, four more. " +
		"columns is at least 1.")
	y, w, b, x := Load(Param("y"), GP64()), Load(Param("w"), GP64()), Load(Param("b"), GP64()),
		Load(Param("x"), GP64())
	columns, blocks, half := Load(Param("columns"), GP64()), Load(Param("blocks"), GP64()),
		Load(Param("half"), GP64())

	TESTQ(blocks, blocks)
	JZ(LabelRef("rest"))
	Label("block")
	rows("column", 8, y, w, b, x, columns)
	DECQ(blocks)
	JNZ(LabelRef("block"))

	Label("rest")
	TESTQ(half, half)
	JZ(LabelRef("end"))
	rows("column4", 4, y, w, b, x, columns)
	Label("end")
	VZEROUPPER()
	RET()
}

// rows writes the code that computes one block of rows and moves y, w and b on to the next block.
func rows(label string, n int, y, w, b, x, columns Register) {
	sums := make([]VecVirtual, n)
	for i := range sums {
		sums[i] = YMM()
		VBROADCASTSS(Mem{Base: b, Disp: 4 * i}, sums[i])
	}
	at, left := GP64(), GP64()
	MOVQ(x, at)
	MOVQ(columns, left)
	Label(label)
	v := YMM()
	VMOVUPS(Mem{Base: at}, v)
	for i := range sums {
		product := YMM()
		VBROADCASTSS(Mem{Base: w, Disp: 4 * i}, product)
		VMULPS(v, product, product)
		VADDPS(product, sums[i], sums[i])
	}
	ADDQ(U8(vectorBytes), at)
	ADDQ(U32(uint32(4*n)), w)
	DECQ(left)
	JNZ(LabelRef(label))
	for i := range sums {
		VMOVUPS(sums[i], Mem{Base: y, Disp: vectorBytes * i})
	}
	ADDQ(U32(uint32(vectorBytes*n)), y)
	ADDQ(U32(uint32(4*n)), b)
}

// constant returns the memory that holds a float32 for every lane.
func constant(name string, v float32) Mem {
	return repeated(name, math.Float32bits(v))
}

func repeated(name string, bits uint32) Mem {
	m := GLOBL(name, RODATA|NOPTR)
	for i := range vectorBytes / 4 {
		DATA(4*i, U32(bits))
	}
	return m
}

// The constants of activation.go, which explains them.
var constants = map[string]Mem{}

func defineConstants() {
	if len(constants) > 0 {
		return
	}
	constants["sign"] = repeated("sign", 1<<31)
	constants["limit"] = constant("limit", 87)
	constants["log2e"] = constant("log2e", math.Log2E)
	constants["magic"] = constant("magic", 3<<22)
	constants["ln2High"] = constant("ln2High", 355.0/512)
	constants["ln2Low"] = constant("ln2Low", math.Ln2-355.0/512)
	constants["c7"] = constant("c7", 1.0/5040)
	constants["c6"] = constant("c6", 1.0/720)
	constants["c5"] = constant("c5", 1.0/120)
	constants["c4"] = constant("c4", 1.0/24)
	constants["c3"] = constant("c3", 1.0/6)
	constants["c2"] = constant("c2", 1.0/2)
	constants["one"] = constant("one", 1)
}

func activation(name, doc string, tanh bool) {
	defineConstants()
	TEXT(name, NOSPLIT, "func(v *float32, n int)")
	Pragma("noescape")
	Doc(doc)
	v, n := Load(Param("v"), GP64()), Load(Param("n"), GP64())
	one, magic, sign, limit, log2e := YMM(), YMM(), YMM(), YMM(), YMM()
	VMOVUPS(constants["one"], one)
	VMOVUPS(constants["magic"], magic)
	VMOVUPS(constants["sign"], sign)
	VMOVUPS(constants["limit"], limit)
	VMOVUPS(constants["log2e"], log2e)
	Label("vector")
	x := YMM()
	VMOVUPS(Mem{Base: v}, x)

	// e = exp(-a), a = |x| or 2|x|
	a := YMM()
	VANDNPS(x, sign, a)
	if tanh {
		VADDPS(a, a, a)
	}
	VMINPS(a, limit, a) // the second source, here a, if either is NaN
	VORPS(sign, a, a)
	k, r, t := YMM(), YMM(), YMM()
	VMULPS(log2e, a, k)
	VADDPS(magic, k, k)
	VSUBPS(magic, k, r)
	VMULPS(constants["ln2High"], r, t)
	VSUBPS(t, a, a)
	VMULPS(constants["ln2Low"], r, t)
	VSUBPS(t, a, a)
	// Pairs of terms first, so that the chain of operations is short.
	pair := func(high, low string) VecVirtual {
		p := YMM()
		VMULPS(constants[high], a, p)
		VADDPS(constants[low], p, p)
		return p
	}
	square := YMM()
	VMULPS(a, a, square)
	c67, c45, e, c01 := pair("c7", "c6"), pair("c5", "c4"), pair("c3", "c2"), YMM()
	VMULPS(square, c67, c67)
	VADDPS(c67, c45, c45)
	VADDPS(one, a, c01)
	VMULPS(square, e, e)
	VADDPS(c01, e, e)
	VMULPS(square, square, square)
	VMULPS(square, c45, c45)
	VADDPS(c45, e, e)
	VPSLLD(U8(23), k, k)
	VPADDD(k, e, e)

	sum := YMM()
	VADDPS(one, e, sum)
	if tanh {
		VSUBPS(e, one, e)
		VDIVPS(sum, e, e)
		VANDPS(sign, x, x)
		VORPS(x, e, e)
		VMOVUPS(e, Mem{Base: v})
	} else {
		top := YMM()
		VBLENDVPS(x, e, one, top) // e where x has the sign bit
		VDIVPS(sum, top, top)
		VMOVUPS(top, Mem{Base: v})
	}
	ADDQ(U8(vectorBytes), v)
	DECQ(n)
	JNZ(LabelRef("vector"))
	VZEROUPPER()
	RET()
}

func elementwise() {
	TEXT("addProductAVX2", NOSPLIT, "func(y, a, b *float32, n int)")
	Pragma("noescape")
	Doc("addProductAVX2 adds the products of n vectors to y.")
	each(func(y, a, b Mem) {
		p := YMM()
		VMOVUPS(a, p)
		VMULPS(b, p, p)
		VADDPS(y, p, p)
		VMOVUPS(p, y)
	})
	TEXT("productAVX2", NOSPLIT, "func(y, a, b *float32, n int)")
	Pragma("noescape")
	Doc("productAVX2 sets y to the products of n vectors.")
	each(func(y, a, b Mem) {
		p := YMM()
		VMOVUPS(a, p)
		VMULPS(b, p, p)
		VMOVUPS(p, y)
	})
	TEXT("blendAVX2", NOSPLIT, "func(y, a, b *float32, n int)")
	Pragma("noescape")
	Doc("blendAVX2 sets y to (1-a) b + a y.")
	each(func(y, a, b Mem) {
		share, rest := YMM(), one()
		VMOVUPS(a, share)
		VSUBPS(share, rest, rest)
		VMULPS(b, rest, rest)
		VMULPS(y, share, share)
		VADDPS(share, rest, rest)
		VMOVUPS(rest, y)
	})
	TEXT("rectifyAVX2", NOSPLIT, "func(v *float32, n int)")
	Pragma("noescape")
	Doc("rectifyAVX2 replaces what is negative in n vectors by 0.")
	v, n := Load(Param("v"), GP64()), Load(Param("n"), GP64())
	zero := YMM()
	VXORPS(zero, zero, zero)
	Label("vector")
	x := YMM()
	VMOVUPS(Mem{Base: v}, x)
	VMAXPS(x, zero, x) // the second source, here x, if either is NaN or both are 0
	VMOVUPS(x, Mem{Base: v})
	ADDQ(U8(vectorBytes), v)
	DECQ(n)
	JNZ(LabelRef("vector"))
	VZEROUPPER()
	RET()
}

// each writes a loop over the vectors of y, a and b.
func each(body func(y, a, b Mem)) {
	over([]string{"y", "a", "b"}, func(at []Mem) { body(at[0], at[1], at[2]) })
}

// one returns a register with 1 in every lane.
func one() VecVirtual {
	v := YMM()
	VMOVUPS(constants["one"], v)
	return v
}

// slopes writes the kernels of the way back: derivatives by the sums before an activation.
func slopes() {
	TEXT("addAVX2", NOSPLIT, "func(y, a *float32, n int)")
	Pragma("noescape")
	Doc("addAVX2 adds n vectors to y.")
	over([]string{"y", "a"}, func(at []Mem) {
		sum := YMM()
		VMOVUPS(at[0], sum)
		VADDPS(at[1], sum, sum)
		VMOVUPS(sum, at[0])
	})
	TEXT("tanhSlopeAVX2", NOSPLIT, "func(d, y *float32, n int)")
	Pragma("noescape")
	Doc("tanhSlopeAVX2 multiplies d by 1 - y y.")
	unit := one()
	over([]string{"d", "y"}, func(at []Mem) {
		y, d := YMM(), YMM()
		VMOVUPS(at[1], y)
		VMULPS(y, y, y)
		VSUBPS(y, unit, d)
		VMULPS(at[0], d, d)
		VMOVUPS(d, at[0])
	})
	TEXT("logisticSlopeAVX2", NOSPLIT, "func(d, y *float32, n int)")
	Pragma("noescape")
	Doc("logisticSlopeAVX2 multiplies d by y (1 - y).")
	unit = one()
	over([]string{"d", "y"}, func(at []Mem) {
		y, rest := YMM(), YMM()
		VMOVUPS(at[1], y)
		VSUBPS(y, unit, rest)
		VMULPS(at[0], y, y)
		VMULPS(rest, y, y)
		VMOVUPS(y, at[0])
	})
	TEXT("reluSlopeAVX2", NOSPLIT, "func(d, y *float32, n int)")
	Pragma("noescape")
	Doc("reluSlopeAVX2 sets d to 0 where y is not above 0.")
	zero := YMM()
	VXORPS(zero, zero, zero)
	over([]string{"d", "y"}, func(at []Mem) {
		above := YMM()
		VCMPPS(Imm(1), at[1], zero, above) // predicate 1: 0 < y
		VANDPS(at[0], above, above)
		VMOVUPS(above, at[0])
	})
	TEXT("blendSlopeAVX2", NOSPLIT,
		"func(candidate, update, state, before, keep, value *float32, n int)")
	Pragma("noescape")
	Doc("blendSlopeAVX2 goes back through the update of a GRU, see blendSlopeGo.")
	unit = one()
	over([]string{"candidate", "update", "state", "before", "keep", "value"}, func(at []Mem) {
		change, keep, value, rest, t := YMM(), YMM(), YMM(), YMM(), YMM()
		VMOVUPS(at[2], change)
		VMOVUPS(at[4], keep)
		VMOVUPS(at[5], value)
		VSUBPS(keep, unit, rest)
		VMOVUPS(at[3], t)
		VSUBPS(value, t, t)
		VMULPS(t, change, t)
		VMULPS(keep, t, t)
		VMULPS(rest, t, t)
		VMOVUPS(t, at[1])
		VMULPS(value, value, value)
		VSUBPS(value, unit, value)
		VMULPS(rest, change, rest)
		VMULPS(value, rest, rest)
		VMOVUPS(rest, at[0])
		VMULPS(keep, change, change)
		VMOVUPS(change, at[2])
	})
}

// over writes a loop over the n vectors of some parameters.
func over(names []string, body func(at []Mem)) {
	var pointers []Register
	var at []Mem
	for _, name := range names {
		p := Load(Param(name), GP64())
		pointers, at = append(pointers, p), append(at, Mem{Base: p})
	}
	n := Load(Param("n"), GP64())
	Label("vector")
	body(at)
	for _, p := range pointers {
		ADDQ(U8(vectorBytes), p)
	}
	DECQ(n)
	JNZ(LabelRef("vector"))
	VZEROUPPER()
	RET()
}

// round writes the kernel that rounds to a grid.
func round() {
	TEXT("roundAVX2", NOSPLIT, "func(v *float32, n int, magic, low, high float32)")
	Pragma("noescape")
	Doc("roundAVX2 rounds n vectors to whole last places of magic, within low and high.")
	v, n := Load(Param("v"), GP64()), Load(Param("n"), GP64())
	spread := func(name string) VecVirtual {
		x, y := XMM(), YMM()
		Load(Param(name), x)
		VBROADCASTSS(x, y)
		return y
	}
	magic, low, high := spread("magic"), spread("low"), spread("high")
	Label("vector")
	x := YMM()
	VADDPS(Mem{Base: v}, magic, x)
	VSUBPS(magic, x, x)
	VMAXPS(x, low, x) // the second source, here x, if either is NaN
	VMINPS(x, high, x)
	VMOVUPS(x, Mem{Base: v})
	ADDQ(U8(vectorBytes), v)
	DECQ(n)
	JNZ(LabelRef("vector"))
	VZEROUPPER()
	RET()
}

// largest writes the kernel that keeps the largest magnitude of every lane.
func largest() {
	TEXT("largestAVX2", NOSPLIT, "func(top, v *float32, n int)")
	Pragma("noescape")
	Doc("largestAVX2 raises the lanes of top to the magnitudes in n vectors.")
	top, v, n := Load(Param("top"), GP64()), Load(Param("v"), GP64()), Load(Param("n"), GP64())
	sum, sign := YMM(), YMM()
	VMOVUPS(Mem{Base: top}, sum)
	VMOVUPS(constants["sign"], sign)
	Label("vector")
	x := YMM()
	VANDNPS(Mem{Base: v}, sign, x)
	VMAXPS(sum, x, sum) // the second source, here sum, if either is NaN
	ADDQ(U8(vectorBytes), v)
	DECQ(n)
	JNZ(LabelRef("vector"))
	VMOVUPS(sum, Mem{Base: top})
	VZEROUPPER()
	RET()
}

// outer writes the kernel for a block of products of rows of a with columns of b, whose sums over
// steps stay in registers; then it adds up the lanes in the order of lanesSum.
func outer(name string, rows, columns int) {
	TEXT(name, NOSPLIT, "func(to *float32, rowStep, columnStep int, a *float32, "+
		"aDistance int, b *float32, bDistance, steps int)")
	Pragma("noescape")
	Doc(fmt.Sprintf("%s sets %d × %d values of to, some bytes apart, to sums of products of the "+
		"vectors at a "+
		"with those at b over steps, which are some bytes apart as well.", name, rows, columns))
	to, a, b := Load(Param("to"), GP64()), Load(Param("a"), GP64()), Load(Param("b"), GP64())
	rowStep, columnStep := Load(Param("rowStep"), GP64()), Load(Param("columnStep"), GP64())
	aDistance, bDistance := Load(Param("aDistance"), GP64()), Load(Param("bDistance"), GP64())
	steps := Load(Param("steps"), GP64())
	sums := make([]VecVirtual, rows*columns)
	for i := range sums {
		sums[i] = YMM()
		VXORPS(sums[i], sums[i], sums[i])
	}
	Label("step")
	right := make([]VecVirtual, columns)
	for c := range right {
		right[c] = YMM()
		VMOVUPS(Mem{Base: b, Disp: vectorBytes * c}, right[c])
	}
	for r := range rows {
		left := YMM()
		VMOVUPS(Mem{Base: a, Disp: vectorBytes * r}, left)
		for c := range columns {
			product := YMM()
			VMULPS(right[c], left, product)
			VADDPS(product, sums[r*columns+c], sums[r*columns+c])
		}
	}
	ADDQ(aDistance, a)
	ADDQ(bDistance, b)
	DECQ(steps)
	JNZ(LabelRef("step"))
	for r := range rows {
		at := GP64()
		MOVQ(to, at)
		for c := range columns {
			sum, other := sums[r*columns+c].AsX(), XMM()
			VEXTRACTF128(Imm(1), sums[r*columns+c], other)
			VADDPS(other, sum, sum)
			VMOVHLPS(sum, sum, other)
			VADDPS(other, sum, sum)
			VMOVSHDUP(sum, other)
			VADDSS(other, sum, sum)
			VMOVSS(sum, Mem{Base: at})
			if c < columns-1 {
				ADDQ(columnStep, at)
			}
		}
		if r < rows-1 {
			ADDQ(rowStep, to)
		}
	}
	VZEROUPPER()
	RET()
}
