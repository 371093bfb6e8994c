// Command generate writes the vector kernels of package portable for amd64 with AVX2; go generate
// in that package runs it. They do the operations of the functions in Go, in their order.
package main

import (
	"fmt"
	"math"

	. "github.com/mmcloughlin/avo/build"
	. "github.com/mmcloughlin/avo/operand"
	. "github.com/mmcloughlin/avo/reg"
)

// vectorBytes is one register: four float64.
const vectorBytes = 32

func main() {
	ConstraintExpr("amd64")
	affine()
	outers()
	logistic()
	tanh()
	Generate()
}

// affine writes the kernel that computes eight rows at a time, whose sums stay in two registers.
func affine() {
	TEXT("affineAVX2", NOSPLIT, "func(y, w, x, b *float64, columns, blocks int)")
	Pragma("noescape")
	Doc("affineAVX2 computes blocks of eight rows of w x + b; both numbers are at least 1.")
	y, w, x, b := Load(Param("y"), GP64()), Load(Param("w"), GP64()), Load(Param("x"), GP64()),
		Load(Param("b"), GP64())
	columns, blocks := Load(Param("columns"), GP64()), Load(Param("blocks"), GP64())
	stride, pairs := GP64(), GP64()
	MOVQ(columns, stride)
	SHLQ(U8(3), stride)
	MOVQ(columns, pairs)
	SHRQ(U8(1), pairs)
	ANDQ(U8(1), columns)

	Label("block")
	sums := []VecVirtual{YMM(), YMM()}
	// at[2g] points into row 4g, at[2g+1] into row 4g+3.
	at := []Register{GP64(), GP64(), GP64(), GP64()}
	for g := range sums {
		VMOVUPD(Mem{Base: b, Disp: vectorBytes * g}, sums[g])
	}
	MOVQ(w, at[0])
	LEAQ(Mem{Base: w, Index: stride, Scale: 4}, at[2])
	for g := range sums {
		LEAQ(Mem{Base: at[2*g], Index: stride, Scale: 2}, at[2*g+1])
		ADDQ(stride, at[2*g+1])
	}
	v, left := GP64(), GP64()
	MOVQ(x, v)
	MOVQ(pairs, left)
	row := func(g, r int) Mem {
		switch r {
		case 0:
			return Mem{Base: at[2*g]}
		case 3:
			return Mem{Base: at[2*g+1]}
		}
		return Mem{Base: at[2*g], Index: stride, Scale: uint8(r)}
	}
	add := func(g int, weights, value VecVirtual) {
		product := YMM()
		VMULPD(value, weights, product)
		VADDPD(product, sums[g], sums[g])
	}
	TESTQ(left, left)
	JZ(LabelRef("last"))
	Label("pair")
	first, second := YMM(), YMM()
	VBROADCASTSD(Mem{Base: v}, first)
	VBROADCASTSD(Mem{Base: v, Disp: 8}, second)
	for g := range sums {
		even, odd := XMM(), XMM() // rows 0 and 2, rows 1 and 3, of two columns
		VMOVUPD(row(g, 0), even)
		VINSERTF128(Imm(1), row(g, 2), even.AsY(), even.AsY())
		VMOVUPD(row(g, 1), odd)
		VINSERTF128(Imm(1), row(g, 3), odd.AsY(), odd.AsY())
		column := YMM()
		VUNPCKLPD(odd.AsY(), even.AsY(), column)
		add(g, column, first)
		column = YMM()
		VUNPCKHPD(odd.AsY(), even.AsY(), column)
		add(g, column, second)
	}
	for _, p := range append(at, v) {
		ADDQ(U8(16), p)
	}
	DECQ(left)
	JNZ(LabelRef("pair"))

	Label("last")
	TESTQ(columns, columns)
	JZ(LabelRef("store"))
	value := YMM()
	VBROADCASTSD(Mem{Base: v}, value)
	for g := range sums {
		low, high := XMM(), XMM()
		VMOVSD(row(g, 0), low)
		VMOVHPD(row(g, 1), low, low)
		VMOVSD(row(g, 2), high)
		VMOVHPD(row(g, 3), high, high)
		VINSERTF128(Imm(1), high, low.AsY(), low.AsY())
		column := YMM()
		VMOVAPD(low.AsY(), column)
		add(g, column, value)
	}
	Label("store")
	for g := range sums {
		VMOVUPD(sums[g], Mem{Base: y, Disp: vectorBytes * g})
	}
	LEAQ(Mem{Base: w, Index: stride, Scale: 8}, w)
	ADDQ(U8(2*vectorBytes), y)
	ADDQ(U8(2*vectorBytes), b)
	DECQ(blocks)
	JNZ(LabelRef("block"))
	VZEROUPPER()
	RET()
}

// outers multiplies and adds apart, as Go does. The rows of the matrix come in blocks of four, and
// each begins at the vector that holds its diagonal.
func outers() {
	TEXT("addOutersAVX2", NOSPLIT, "func(to, a, b, c, d *float64, vectors int)")
	Pragma("noescape")
	Doc("addOutersAVX2 adds a aT, then b bT, c cT and d dT to a square matrix, from the vector " +
		"with the diagonal of each row on. The vectors of each of a, b, c and d are at " +
		"least 1.")
	to := Load(Param("to"), GP64())
	var x [4]Register
	for i, name := range []string{"a", "b", "c", "d"} {
		x[i] = Load(Param(name), GP64())
	}
	vectors := Load(Param("vectors"), GP64())
	stride := GP64()
	MOVQ(vectors, stride)
	SHLQ(U8(5), stride)
	Label("block")
	for i := range 4 {
		var factors [4]VecVirtual
		for k := range factors {
			factors[k] = YMM()
			VBROADCASTSD(Mem{Base: x[k], Disp: 8 * i}, factors[k])
		}
		at, left := GP64(), GP64()
		XORQ(at, at)
		MOVQ(vectors, left)
		label := fmt.Sprintf("row%d", i)
		Label(label)
		sum := YMM()
		VMOVUPD(Mem{Base: to, Index: at, Scale: 1}, sum)
		for k, factor := range factors {
			product := YMM()
			VMULPD(Mem{Base: x[k], Index: at, Scale: 1}, factor, product)
			VADDPD(product, sum, sum)
		}
		VMOVUPD(sum, Mem{Base: to, Index: at, Scale: 1})
		ADDQ(U8(vectorBytes), at)
		DECQ(left)
		JNZ(LabelRef(label))
		ADDQ(stride, to)
	}
	ADDQ(U8(vectorBytes), to)
	for _, p := range x {
		ADDQ(U8(vectorBytes), p)
	}
	DECQ(vectors)
	JNZ(LabelRef("block"))
	VZEROUPPER()
	RET()
}

// repeated is a value in every lane.
func repeated(name string, bits uint64) Mem {
	m := GLOBL(name, RODATA|NOPTR)
	for i := range vectorBytes / 8 {
		DATA(8*i, U64(bits))
	}
	return m
}

func number(name string, v float64) Mem { return repeated(name, math.Float64bits(v)) }

// The constants of exp.go.
var constants map[string]Mem

func makeConstants() {
	if constants != nil {
		return
	}
	constants = map[string]Mem{}
	for _, c := range []struct {
		name string
		v    float64
	}{
		{"perStep", 32 / math.Ln2}, {"roundBias", 0x1.8p52}, {"stepHigh", 0x1.62e42fee00000p-6},
		{"stepLow", 0x1.a39ef35793c76p-38}, {"half", 0.5}, {"sixth", 1.0 / 6}, {"of24", 1.0 / 24},
		{"of120", 1.0 / 120}, {"of720", 1.0 / 720}, {"one", 1}, {"two", 2}, {"most", 700},
		{"tanhMost", 20}, {"tanhLeast", 0x1p-28},
	} {
		constants[c.name] = number(c.name, c.v)
	}
	constants["sign"] = repeated("sign", 1<<63)
	constants["entry"] = repeated("entry", 31)
	constants["bias"] = repeated("bias", 1023)
}

// reduced writes what the function of that name does; scale is 2^k.
func reduced(x VecVirtual, powers, powersLow Register) (top, rest, scale VecVirtual) {
	c := constants
	n, steps, r := YMM(), YMM(), YMM()
	VMULPD(c["perStep"], x, n)
	VADDPD(c["roundBias"], n, n)
	VSUBPD(c["roundBias"], n, steps)
	part := YMM()
	VMULPD(c["stepHigh"], steps, part)
	VSUBPD(part, x, r)
	VMULPD(c["stepLow"], steps, part)
	VSUBPD(part, r, r)
	square, p, q := YMM(), YMM(), YMM()
	VMULPD(r, r, square)
	VMULPD(c["of720"], square, p)
	VMULPD(c["of120"], r, q)
	VADDPD(c["of24"], q, q)
	VADDPD(p, q, p)
	VMULPD(p, square, p)
	VMULPD(c["sixth"], r, q)
	VADDPD(c["half"], q, q)
	VADDPD(p, q, p)
	VMULPD(p, square, p)
	VADDPD(p, r, p)
	entry, all := YMM(), YMM()
	VPAND(c["entry"], n, entry)
	top, rest = YMM(), YMM()
	VPCMPEQD(all, all, all)
	VXORPD(top, top, top)
	VGATHERQPD(all, Mem{Base: powers, Index: entry, Scale: 8}, top)
	VPCMPEQD(all, all, all)
	VXORPD(rest, rest, rest)
	VGATHERQPD(all, Mem{Base: powersLow, Index: entry, Scale: 8}, rest)
	VMULPD(p, top, p)
	VADDPD(p, rest, rest)
	scale = YMM()
	VPSRAD(Imm(5), n, scale)
	VPADDD(c["bias"], scale, scale)
	VPSLLQ(Imm(52), scale, scale)
	return top, rest, scale
}

// each writes a loop over vectors that ends at the first with a magnitude outside a range.
func each(name, doc string, inRange func(magnitude, bad VecVirtual),
	body func(x, magnitude VecVirtual, powers, powersLow Register) VecVirtual) {
	TEXT(name, NOSPLIT, "func(v, powers, powersLow *float64, n int) (left int)")
	Pragma("noescape")
	Doc(name + " replaces n vectors, at least 1, by their " + doc + ". It ends before the first " +
		"that needs another way and returns how many are left.")
	makeConstants()
	v, powers, powersLow := Load(Param("v"), GP64()), Load(Param("powers"), GP64()),
		Load(Param("powersLow"), GP64())
	n := Load(Param("n"), GP64())
	Label("vector")
	x, magnitude, fine := YMM(), YMM(), YMM()
	VMOVUPD(Mem{Base: v}, x)
	VMOVUPD(constants["sign"], magnitude)
	VANDNPD(x, magnitude, magnitude)
	inRange(magnitude, fine)
	mask := GP32()
	VMOVMSKPD(fine, mask)
	CMPL(mask, U8(15))
	JNE(LabelRef("end"))
	VMOVUPD(body(x, magnitude, powers, powersLow), Mem{Base: v})
	ADDQ(U8(vectorBytes), v)
	DECQ(n)
	JNZ(LabelRef("vector"))
	Label("end")
	Store(n, Return("left"))
	VZEROUPPER()
	RET()
}

// Predicates of VCMPPD: ordered, false if either is NaN.
const (
	lessOrEqual    = 18
	greaterOrEqual = 29
)

func logistic() {
	each("logisticAVX2", "logistic function", func(magnitude, fine VecVirtual) {
		VCMPPD(Imm(lessOrEqual), constants["most"], magnitude, fine)
	}, func(x, magnitude VecVirtual, powers, powersLow Register) VecVirtual {
		a := YMM()
		VORPD(constants["sign"], magnitude, a)
		top, rest, scale := reduced(a, powers, powersLow)
		e, below, one := YMM(), YMM(), YMM()
		VADDPD(rest, top, e)
		VMULPD(scale, e, e)
		VMOVUPD(constants["one"], one)
		VADDPD(e, one, below)
		VBLENDVPD(x, e, one, one) // e where the sign of x is set
		VDIVPD(below, one, one)
		return one
	})
}

func tanh() {
	each("tanhAVX2", "hyperbolic tangent", func(magnitude, fine VecVirtual) {
		least := YMM()
		VCMPPD(Imm(lessOrEqual), constants["tanhMost"], magnitude, fine)
		VCMPPD(Imm(greaterOrEqual), constants["tanhLeast"], magnitude, least)
		VANDPD(least, fine, fine)
	}, func(x, magnitude VecVirtual, powers, powersLow Register) VecVirtual {
		a := YMM()
		VADDPD(magnitude, magnitude, a)
		top, rest, scale := reduced(a, powers, powersLow)
		e, below := YMM(), YMM()
		VMULPD(scale, top, e)
		VSUBPD(constants["one"], e, e)
		VMULPD(scale, rest, rest)
		VADDPD(rest, e, e)
		VADDPD(constants["two"], e, below)
		VDIVPD(below, e, e)
		VANDPD(constants["sign"], x, x)
		VORPD(x, e, e)
		return e
	})
}
