package quant

import (
	"math/rand/v2"
	"reflect"
	"runtime"
	"testing"

	"kerf/dataset"
	"kerf/model"
)

// vectorsOf pads values to whole vectors.
func vectorsOf(values []int32) []int32 {
	return append(values, make([]int32, (laneCount-len(values)%laneCount)%laneCount)...)
}

// TestTableKernels compares both table look-ups with arithmetic.go over the whole domain and beyond
// it.
func TestTableKernels(t *testing.T) {
	requireLanes(t)
	var a, b []int32
	for v := int32(-66000); v <= 66000; v++ {
		a, b = append(a, v/2), append(b, v-v/2)
	}
	a, b = vectorsOf(a), vectorsOf(b)
	y := make([]int32, len(a))
	for shift := uint8(1); shift <= 8; shift++ {
		tanhSums(y, a, b, shift)
		for i, got := range y {
			if want := tanhQ15(sat16(a[i]+b[i]), shift); got != want {
				t.Fatalf("tanh of %d, shift %d: %d, want %d", a[i]+b[i], shift, got, want)
			}
		}
		if shift == 8 {
			return // the logistic takes one more
		}
		logisticSums(y, a, b, shift)
		for i, got := range y {
			if want := logisticQ16(sat16(a[i]+b[i]), shift); got != want {
				t.Fatalf("logistic of %d, shift %d: %d, want %d", a[i]+b[i], shift, got, want)
			}
		}
	}
}

// TestGateKernels compares the products of gates with arithmetic.go at the ends of their ranges and
// between.
func TestGateKernels(t *testing.T) {
	requireLanes(t)
	random := rand.New(rand.NewPCG(1, 2))
	var keep, old, candidate []int32
	for range 1 << 16 {
		pick := func(low, high int32) int32 {
			return []int32{low, high, low + random.Int32N(high-low+1),
				low + random.Int32N(high-low+1)}[random.IntN(4)]
		}
		keep, old, candidate = append(keep, pick(1, 65535)), append(old, pick(-32767, 32767)),
			append(candidate, pick(-32767, 32767))
	}
	h, scaled := append([]int32(nil), old...), make([]int32, len(old))
	blendNarrow(h, keep, candidate)
	old[0] = -32768
	scaleAll(scaled, keep, old)
	pairs := make([]uint32, len(old)/2)
	pack(pairs, old)
	for i := range h {
		if want := scaleQ16(keep[i], old[i]); scaled[i] != want {
			t.Fatalf("scale(%d, %d) = %d, want %d", keep[i], old[i], scaled[i], want)
		}
		if want := blendQ15(keep[i], old[i], candidate[i]); i > 0 && h[i] != want {
			t.Fatalf("blend(%d, %d, %d) = %d, want %d", keep[i], old[i], candidate[i], h[i], want)
		}
		pair := pairs[i/(2*laneCount)*laneCount+i%laneCount]
		if odd := i / laneCount % 2; int32(int16(pair>>(16*odd))) != old[i] {
			t.Fatalf("%d is packed in %#x", old[i], pair)
		}
	}
}

func TestAffineKernel(t *testing.T) {
	requireLanes(t)
	random := rand.New(rand.NewPCG(3, 4))
	for rows := 1; rows <= 21; rows++ {
		for _, columns := range []int{1, 2, 9, 24} {
			m := &Matrix{Rows: rows, Cols: columns, W: make([]int32, rows*columns),
				Bias: make([]int32, rows), Shift: make([]uint8, rows)}
			for i := range m.W {
				// so that no sum overflows
				m.W[i] = []int32{-32767, 32767, random.Int32N(200) - 100}[random.IntN(3)] /
					int32(columns)
			}
			for r := range rows {
				m.Bias[r], m.Shift[r] = random.Int32N(1<<20)-1<<19, uint8(1+random.IntN(24))
			}
			x, view, pairs := make([]int32, columns), []int32(nil), []uint32(nil)
			view, pairs = pairsOf(columns)
			for i := range columns * laneCount {
				view[i] = []int32{-32768, 32767, random.Int32N(1<<16) - 1<<15}[random.IntN(3)]
			}
			pack(pairs, view)
			for _, rescaled := range []bool{true, false} {
				if !rescaled {
					clear(m.Shift)
				}
				q := newLaneMatrix(m, 0, rows)
				y := make([]int32, q.padded()*laneCount)
				q.apply(y, pairs)
				for lane := range laneCount {
					take(x, view, lane)
					for r := range rows {
						want := m.accumulate(r, x)
						if rescaled {
							want = m.row(r, x)
						}
						if got := y[r*laneCount+lane]; got != want {
							t.Fatalf("%d × %d, row %d: %d, want %d", rows, columns, r, got, want)
						}
					}
				}
			}
		}
	}
}

func requireLanes(t *testing.T) {
	t.Helper()
	if !useLanes {
		t.Fatal("this processor has no AVX2, so the kernels in assembly cannot be run here")
	}
}

// TestLanesGiveTheSameIntegers runs every kind of network, in every word, side by side and one by
// one.
func TestLanesGiveTheSameIntegers(t *testing.T) {
	requireLanes(t)
	type step struct {
		sequence, step int
		before, y      []int32
	}
	for i, n := range everyStack() {
		p := layered(uint64(i), n.Kinds, n.Activations)
		p.Kept = []int{4, 1, 0, 5, 2} // odd, and out of order
		narrowInput(p.Net.Recurrent[0], len(p.Kept))
		rec := &dataset.Recordings{Features: 6, Outputs: 2}
		for k, steps := range []int{40, 3, 17, 40, 1, 25, 30, 8, 19, 60, 2} {
			rec.Sequences = append(rec.Sequences,
				RandomRecordings(uint64(k), p, 1, steps).Sequences[0])
		}
		c := Calibrate(p, rec)
		for _, formats := range []Formats{Uniform(p.Net, 16, 16, 16), Uniform(p.Net, 8, 8, 16),
			Uniform(p.Net, 8, 8, 32)} {
			var partial *Partial
			if formats.Layers[0].StateBits == 32 && n.Kinds[0] != model.ElmanTanh &&
				n.Kinds[0] != model.ElmanReLU {
				partial = &Partial{Word: StateWord, Bits: 16,
					Narrow: []bool{true, false, true, false, false, false, false, true, false}}
			}
			fixed, err := quantizePartial(p, c, formats, Nearest, partial)
			if err != nil {
				t.Fatal(err)
			}
			gather := func() map[[2]int]step {
				all := map[[2]int]step{}
				fixed.visit(rec.Sequences, func(sequence, at int, before, y []int32) {
					all[[2]int{sequence, at}] = step{sequence, at, append([]int32(nil), before...),
						append([]int32(nil), y...)}
				})
				return all
			}
			together := gather()
			useLanes = false
			apart := gather()
			useLanes = true
			if len(apart) != rec.Steps() || !reflect.DeepEqual(together, apart) {
				t.Fatalf("%v %v, %v: other integers side by side", n.Kinds, n.Activations, formats)
			}
		}
	}
}

// The search finds the same on one core and on three, side by side and one by one.
func TestSearchFindsTheSameEverywhere(t *testing.T) {
	requireLanes(t)
	given, made, net := leak(t)
	rec := leakRecordings()
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	defer func() { useLanes = true }()
	want := must(net.Extremes(t.Context(), made, given, rec))
	for _, cores := range []int{1, 3} {
		for _, useLanes = range []bool{true, false} {
			runtime.GOMAXPROCS(cores)
			if got := must(net.Extremes(t.Context(), made, given, rec)); !reflect.DeepEqual(got,
				want) {
				t.Errorf("%d cores, side by side %v: %+v, want %+v", cores, useLanes, got, want)
			}
		}
	}
}

// Faults give the same outputs side by side and one by one.
func TestFaultsAreTheSameInLanes(t *testing.T) {
	requireLanes(t)
	defer func() { useLanes = true }()
	useLanes = false
	TestFaultsAreThoseOfChangedRecordings(t)
	TestValuesAndSequencesOfFaults(t)
}
