// Command generate writes the vector kernels of package quant for amd64 with AVX2; go generate in
// that package runs it. They are the operations of arithmetic.go on eight sequences, and the
// products of rows and traces, with the same results.
package main

import (
	. "github.com/mmcloughlin/avo/build"
	. "github.com/mmcloughlin/avo/operand"
	. "github.com/mmcloughlin/avo/reg"
)

// vectorBytes is one value of every lane: 8 lanes of int32.
const vectorBytes = 32

func main() {
	ConstraintExpr("amd64")
	affine()
	sums("logisticSumsAVX2", "logisticSumsAVX2 sets y to logisticQ16(sat16(a+b), shift) of n "+
		"vectors.", true)
	sums("tanhSumsAVX2", "tanhSumsAVX2 sets y to tanhQ15(sat16(a+b), shift) of n vectors.", false)
	scale()
	blend()
	pack()
	dots()
	follow()
	Generate()
}

func begin(name, signature, doc string) {
	TEXT(name, NOSPLIT, signature)
	Pragma("noescape")
	Doc(doc)
}

func end() {
	VZEROUPPER()
	RET()
}

// repeated is a value in every lane.
func repeated(name string, v uint32) Mem {
	m := GLOBL(name, RODATA|NOPTR)
	for i := range vectorBytes / 4 {
		DATA(4*i, U32(v))
	}
	return m
}

func register(m Mem) VecVirtual {
	v := YMM()
	VMOVDQU(m, v)
	return v
}

// affine multiplies pairs of 16-bit numbers and adds the two products, eight rows at a time and
// perhaps four more.
func affine() {
	begin("affineAVX2", "func(y *int32, w *uint32, bias, shift *int32, x *uint32, limits "+
		"*[2]int32, pairs, blocks, half int)",
		"affineAVX2 computes blocks of eight rows of (w x + bias) >> shift within limits and, "+
			"if half is not 0, four more. pairs is at least 1.")
	y, w, bias, shift := Load(Param("y"), GP64()), Load(Param("w"), GP64()),
		Load(Param("bias"), GP64()), Load(Param("shift"), GP64())
	x, limits := Load(Param("x"), GP64()), Load(Param("limits"), GP64())
	pairs, blocks, half := Load(Param("pairs"), GP64()), Load(Param("blocks"), GP64()),
		Load(Param("half"), GP64())
	low, high := YMM(), YMM()
	VPBROADCASTD(Mem{Base: limits}, low)
	VPBROADCASTD(Mem{Base: limits, Disp: 4}, high)
	rows := func(label string, n int) {
		sums := make([]VecVirtual, n)
		for i := range sums {
			sums[i] = YMM()
			VPBROADCASTD(Mem{Base: bias, Disp: 4 * i}, sums[i])
		}
		at, left := GP64(), GP64()
		MOVQ(x, at)
		MOVQ(pairs, left)
		Label(label)
		v := register(Mem{Base: at})
		for i := range sums {
			product := YMM()
			VPBROADCASTD(Mem{Base: w, Disp: 4 * i}, product)
			VPMADDWD(v, product, product)
			VPADDD(product, sums[i], sums[i])
		}
		ADDQ(U8(vectorBytes), at)
		ADDQ(U8(4*n), w)
		DECQ(left)
		JNZ(LabelRef(label))
		for i := range sums {
			count := YMM()
			VPBROADCASTD(Mem{Base: shift, Disp: 4 * i}, count)
			VPSRAVD(count, sums[i], sums[i])
			VPMAXSD(low, sums[i], sums[i])
			VPMINSD(high, sums[i], sums[i])
			VMOVDQU(sums[i], Mem{Base: y, Disp: vectorBytes * i})
		}
		ADDQ(U32(uint32(vectorBytes*n)), y)
		ADDQ(U8(4*n), bias)
		ADDQ(U8(4*n), shift)
	}
	TESTQ(blocks, blocks)
	JZ(LabelRef("rest"))
	Label("block")
	rows("pair", 8)
	DECQ(blocks)
	JNZ(LabelRef("block"))
	Label("rest")
	TESTQ(half, half)
	JZ(LabelRef("end"))
	rows("pair4", 4)
	Label("end")
	end()
}

var lowest, highest, one, center Mem

// sums is a table look-up with interpolation. The difference of two nodes and the part of a step
// fit 16 bits and are not negative, so that VPMADDWD gives their product.
func sums(name, doc string, logistic bool) {
	begin(name, "func(y, a, b *int32, n int, shift uint64, table *int16)", doc)
	if logistic {
		lowest, highest = repeated("lowest", 1<<32-32768), repeated("highest", 32767)
		one, center = repeated("one", 1), repeated("center", 32768)
	}
	y, a, b := Load(Param("y"), GP64()), Load(Param("a"), GP64()), Load(Param("b"), GP64())
	n, amount, table := Load(Param("n"), GP64()), Load(Param("shift"), GP64()),
		Load(Param("table"), GP64())
	if logistic {
		INCQ(amount)
	}
	shift := XMM()
	MOVQ(amount, shift)
	low, high := register(lowest), register(highest)
	// The largest magnitude, 2^(8+shift) - 1, and half of a step, 2^(shift-1).
	ones, last, half := register(one), YMM(), YMM()
	VPSLLD(U8(8), ones, last)
	VPSLLD(shift, last, last)
	VPSUBD(ones, last, last)
	VPSLLD(shift, ones, half)
	VPSRLD(U8(1), half, half)
	Label("vector")
	v, m := YMM(), YMM()
	VMOVDQU(Mem{Base: a}, v)
	VPADDD(Mem{Base: b}, v, v)
	VPMAXSD(low, v, v)
	VPMINSD(high, v, v)
	VPABSD(v, m)
	VPMINSD(last, m, m)
	index, nodes, all, part := YMM(), YMM(), YMM(), YMM()
	VPSRLD(shift, m, index)
	VPCMPEQD(all, all, all)
	VPGATHERDD(all, Mem{Base: table, Index: index, Scale: 2}, nodes)
	VPSLLD(shift, index, part)
	VPSUBD(part, m, part)
	rise := YMM()
	VPSRLD(U8(16), nodes, rise)
	VPSLLD(U8(16), nodes, nodes)
	VPSRLD(U8(16), nodes, nodes)
	VPSUBD(nodes, rise, rise)
	VPMADDWD(part, rise, rise)
	VPADDD(half, rise, rise)
	VPSRLD(shift, rise, rise)
	VPADDD(nodes, rise, rise)
	VPSIGND(v, rise, rise)
	if logistic {
		VPADDD(center, rise, rise)
	}
	VMOVDQU(rise, Mem{Base: y})
	advance(y, a, b)
	DECQ(n)
	JNZ(LabelRef("vector"))
	end()
}

func advance(pointers ...Register) {
	for _, p := range pointers {
		ADDQ(U8(vectorBytes), p)
	}
}

func scale() {
	begin("scaleAVX2", "func(y, gate, v *int32, n int)", "scaleAVX2 sets y to scaleQ16(gate, v) "+
		"of n vectors.")
	y, gate, v := Load(Param("y"), GP64()), Load(Param("gate"), GP64()), Load(Param("v"), GP64())
	n := Load(Param("n"), GP64())
	half := register(center)
	Label("vector")
	p := register(Mem{Base: v})
	VPMULLD(Mem{Base: gate}, p, p)
	VPADDD(half, p, p)
	VPSRAD(U8(16), p, p)
	VMOVDQU(p, Mem{Base: y})
	advance(y, gate, v)
	DECQ(n)
	JNZ(LabelRef("vector"))
	end()
}

func blend() {
	begin("blendAVX2", "func(h, keep, candidate *int32, n int)",
		"blendAVX2 sets h to blendQ15(keep, h, candidate) of n vectors.")
	h, keep, candidate := Load(Param("h"), GP64()), Load(Param("keep"), GP64()),
		Load(Param("candidate"), GP64())
	n := Load(Param("n"), GP64())
	half := register(center)
	whole := YMM()
	VPADDD(half, half, whole)
	Label("vector")
	k, rest := register(Mem{Base: keep}), YMM()
	VPSUBD(k, whole, rest)
	VPMULLD(Mem{Base: candidate}, rest, rest)
	VPMULLD(Mem{Base: h}, k, k)
	VPADDD(k, rest, rest)
	VPADDD(half, rest, rest)
	VPSRAD(U8(16), rest, rest)
	VMOVDQU(rest, Mem{Base: h})
	advance(h, keep, candidate)
	DECQ(n)
	JNZ(LabelRef("vector"))
	end()
}

func pack() {
	begin("packAVX2", "func(y *uint32, v *int32, pairs int)", "packAVX2 puts the low halves of "+
		"two vectors into one, pair by pair.")
	y, v, pairs := Load(Param("y"), GP64()), Load(Param("v"), GP64()), Load(Param("pairs"), GP64())
	Label("vector")
	even, odd := register(Mem{Base: v}), register(Mem{Base: v, Disp: vectorBytes})
	VPSLLD(U8(16), odd, odd)
	VPBLENDW(U8(0xaa), odd, even, even)
	VMOVDQU(even, Mem{Base: y})
	ADDQ(U8(vectorBytes), y)
	ADDQ(U8(2*vectorBytes), v)
	DECQ(pairs)
	JNZ(LabelRef("vector"))
	end()
}

// dots multiplies 32-bit numbers of four rows with one vector and adds the products up, eight
// columns at a time and perhaps four more.
func dots() {
	begin("dotsAVX2", "func(y, w, x *int32, columns, blocks int)", "dotsAVX2 sets y to the "+
		"products of blocks of four rows of w with x, without the last columns beyond a multiple "+
		"of four. There are at least four columns.")
	y, w, x := Load(Param("y"), GP64()), Load(Param("w"), GP64()), Load(Param("x"), GP64())
	stride, blocks := Load(Param("columns"), GP64()), Load(Param("blocks"), GP64())
	vectors, half := GP64(), GP64()
	MOVQ(stride, vectors)
	SHRQ(U8(3), vectors)
	MOVQ(stride, half)
	ANDQ(U8(4), half)
	SHLQ(U8(2), stride)
	Label("block")
	last, at, left := GP64(), GP64(), GP64()
	LEAQ(Mem{Base: w, Index: stride, Scale: 2}, last)
	ADDQ(stride, last)
	XORQ(at, at)
	MOVQ(vectors, left)
	first := GP64()
	MOVQ(w, first)
	var sums [4]VecVirtual
	for i := range sums {
		sums[i] = YMM()
		VPXOR(sums[i], sums[i], sums[i])
	}
	row := func(i int) Mem {
		switch i {
		case 0:
			return Mem{Base: first}
		case 3:
			return Mem{Base: last}
		}
		return Mem{Base: first, Index: stride, Scale: uint8(i)}
	}
	TESTQ(left, left)
	JZ(LabelRef("half"))
	Label("vector")
	v := register(Mem{Base: x, Index: at, Scale: 1})
	for i := range sums {
		product := YMM()
		VPMULLD(row(i), v, product)
		VPADDD(product, sums[i], sums[i])
	}
	ADDQ(U8(vectorBytes), at)
	ADDQ(U8(vectorBytes), first)
	ADDQ(U8(vectorBytes), last)
	DECQ(left)
	JNZ(LabelRef("vector"))
	Label("half")
	TESTQ(half, half)
	JZ(LabelRef("store"))
	few := XMM()
	VMOVDQU(Mem{Base: x, Index: at, Scale: 1}, few)
	for i := range sums {
		product := XMM()
		VPMULLD(row(i), few, product) // the upper half becomes 0
		VPADDD(product.AsY(), sums[i], sums[i])
	}
	Label("store")
	VPHADDD(sums[1], sums[0], sums[0])
	VPHADDD(sums[3], sums[2], sums[2])
	VPHADDD(sums[2], sums[0], sums[0])
	high := XMM()
	VEXTRACTI128(U8(1), sums[0], high)
	VPADDD(high, sums[0].AsX(), high)
	VMOVDQU(high, Mem{Base: y})
	LEAQ(Mem{Base: w, Index: stride, Scale: 4}, w)
	ADDQ(U8(16), y)
	DECQ(blocks)
	JNZ(LabelRef("block"))
	end()
}

// everywhere loads a float64 parameter into every lane. It needs no MOVSD: on an AMD EPYC a vector
// instruction behind one took a hundred cycles.
func everywhere(name string) VecVirtual {
	parameter, err := Param(name).Resolve()
	if err != nil {
		panic(err)
	}
	v := YMM()
	VBROADCASTSD(parameter.Addr, v)
	return v
}

func follow() {
	begin("followAVX2", "func(phi, v *float64, keep, slope float64, vectors int)", "followAVX2 "+
		"sets phi to keep phi + slope v.")
	phi, v := Load(Param("phi"), GP64()), Load(Param("v"), GP64())
	keep, slope := everywhere("keep"), everywhere("slope")
	vectors := Load(Param("vectors"), GP64())
	Label("vector")
	old, added := YMM(), YMM()
	VMULPD(Mem{Base: phi}, keep, old)
	VMULPD(Mem{Base: v}, slope, added)
	VADDPD(added, old, old)
	VMOVDQU(old, Mem{Base: phi})
	advance(phi, v)
	DECQ(vectors)
	JNZ(LabelRef("vector"))
	end()
}
