package quant

// The operations below are the only integer arithmetic of the fixed-point
// network. exporter/emit/c/net.c holds the same operations under the same names.
// Ranges in the comments are what callers guarantee; with them nothing overflows.

const (
	maxInt16 = 32767
	minInt16 = -32768
)

// roundShift returns v / 2^shift rounded to nearest, halves upwards. 1 <= shift <= 30 and v +
// 2^(shift-1) fits 32 bits.
func roundShift(v int32, shift uint8) int32 {
	return (v + (int32(1) << (shift - 1))) >> shift
}

// sat16 returns v limited to the range of int16.
func sat16(v int32) int32 {
	return max(minInt16, min(maxInt16, v))
}

// tanhQ15 returns tanh(v / 2^(shift+5)) with 15 fraction bits, by linear interpolation in the
// table; |v| <= 32768, 1 <= shift <= 8. The function is odd: tanhQ15(-v) = -tanhQ15(v).
func tanhQ15(v int32, shift uint8) int32 {
	magnitude := v
	if v < 0 {
		magnitude = -v
	}
	magnitude = min(magnitude, (int32(tableSteps)<<shift)-1)
	index := magnitude >> shift
	low := int32(tanhTable[index])
	high := int32(tanhTable[index+1])
	part := magnitude - (index << shift)
	value := low + roundShift((high-low)*part, shift)
	if v < 0 {
		return -value
	}
	return value
}

// logisticQ16 returns 1/(1+exp(-v / 2^(shift+5))) with 16 fraction bits, 1..65535, as (1 +
// tanh(v/2))/2 from the same table; |v| <= 32768, 1 <= shift <= 7.
func logisticQ16(v int32, shift uint8) int32 {
	return 32768 + tanhQ15(v, shift+1)
}

// scaleQ16 returns gate·v with the fraction bits of v. The gate has 16 fraction bits, 1..65535; |v|
// <= 32768.
func scaleQ16(gateQ16, v int32) int32 {
	return roundShift(gateQ16*v, 16)
}

// blendQ15 returns keep·old + (1-keep)·new, the update of a 16-bit state. keep has 16 fraction
// bits, 1..65535; |old|, |new| <= 32767.
func blendQ15(keepQ16, oldQ15, newQ15 int32) int32 {
	return roundShift(keepQ16*oldQ15+(65536-keepQ16)*newQ15, 16)
}

// blendQ30 returns old + (1-keep)·(new-old), the update of a 32-bit state. Its 30 fraction bits
// leave one bit for the difference of two values within ±1. keep has 16 fraction bits, 1..65535;
// |new| <= 32767, |old| <= 2^30.
func blendQ30(keepQ16, oldQ30, newQ15 int32) int32 {
	return oldQ30 + mulQ16(newQ15*32768-oldQ30, 65536-keepQ16)
}

// narrow returns the 16-bit view of a wide value: v with shift fraction bits fewer.
func narrow(v int32, shift uint8) int32 {
	return sat16(roundShift(v, shift))
}

// mulQ16 returns v·gate. The gate has 16 fraction bits, 0..65535; |v| <= 2^31 - 1. The product of
// 32 and 16 bits is taken in two halves.
func mulQ16(v, gateQ16 int32) int32 {
	low := uint32(v) & 0xffff
	return (v>>16)*gateQ16 + int32((low*uint32(gateQ16)+32768)>>16)
}

// cell16 returns keep·old + add·new, the new cell of an LSTM in 16 bits. The cell has 15 - shift
// fraction bits and saturates; new has 15 fraction bits, |new| <= 32767, 1 <= shift <= 14.
func cell16(keepQ16, old, addQ16, newQ15 int32, shift uint8) int32 {
	return sat16(scaleQ16(keepQ16, old) + roundShift(scaleQ16(addQ16, newQ15), shift))
}

// cellLimit bounds the magnitude of a wide cell to 2^30, so that the sum of two products fits 32
// bits.
const cellLimit = 1 << 30

// cell32 returns keep·old + add·new, the new cell of an LSTM in 32 bits. The product of add and new
// has 31 fraction bits and is shifted to those of the cell. 1 <= shift <= 16, |old| <= 2^30.
func cell32(keepQ16, old, addQ16, newQ15 int32, shift uint8) int32 {
	sum := mulQ16(old, keepQ16) + roundShift(addQ16*newQ15, shift)
	return max(-cellLimit, min(cellLimit, sum))
}
