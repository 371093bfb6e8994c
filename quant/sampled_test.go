package quant

import (
	"math/rand/v2"
	"slices"
	"testing"

	"kerf/dataset"
	"kerf/frontend"
	"kerf/model"
)

// sampledFloat returns a random network whose features 1 and 3 are computed from samples, the front
// end that computes them, and recordings, of which every second sequence has random codes.
func sampledFloat(seed uint64) (*dataset.Float, *frontend.Integer, *dataset.Recordings) {
	p := RandomFloat(seed, 5, 7, 2)
	f := &frontend.FrontEnd{Sampling: dataset.Sampling{Samples: 16, Rate: 1600, Period: 0.1},
		Channels: []frontend.Channel{{Converter: frontend.Converter{Low: -5, High: 5, Bits: 10},
			Cycles: 2, Floor: 0.01}}}
	one := frontend.Encoding{Std: 1}
	for i, kind := range []frontend.Kind{frontend.Level, frontend.Amplitude} {
		k := 1 + 2*i
		p.Features[k].Name = string(kind)
		f.Features = append(f.Features, frontend.Feature{Name: p.Features[k].Name,
			Definition: frontend.Definition{Kind: kind, Order: i}, Scale: p.Features[k].Std,
			Offset: p.Features[k].Mean})
	}
	n := frontend.NewInteger(f, []frontend.Encoding{one, one})
	rec := RandomRecordings(seed, p, 11, 40)
	random := rand.New(rand.NewPCG(seed, 18))
	for i, s := range rec.Sequences {
		if i%2 == 0 {
			continue
		}
		codes := make([]uint16, s.Steps*f.Sampling.Samples)
		for k := range codes {
			codes[k] = uint16(random.IntN(1 << 10))
		}
		s.Sampled = &dataset.Sampled{Numbers: n.Numbers([][]uint16{codes}, s.Steps),
			X: slices.Clone(s.X)}
		for step := range s.Steps {
			for k := range f.Features {
				s.Sampled.X[step*rec.Features+1+2*k] = n.Value(k, s.Sampled.Numbers[2*step+k])
			}
		}
	}
	return p, n, rec
}

// A network with a front end takes of sequences with samples what it computes, and all else as it
// was recorded: with every way of rounding, side by side and one by one, and where it counts.
func TestNetworkTakesWhatTheFrontEndComputes(t *testing.T) {
	for seed := range uint64(4) {
		p, front, rec := sampledFloat(seed)
		sampled := rec.AsSampled()
		c := Calibrate(p, sampled)
		c.FrontEnd = front
		for _, rounding := range Roundings {
			net, err := Quantize(p, c, Uniform(p.Net, 8, 8, 16), rounding)
			if err != nil {
				t.Fatal(err)
			}
			all := make([][]float64, len(rec.Sequences))
			for i, s := range rec.Sequences {
				all[i] = make([]float64, s.Steps*len(net.Outputs))
			}
			net.PredictAll(rec.Sequences, all)
			given := *net
			given.FrontEnd = nil
			differ := 0
			for i, s := range rec.Sequences {
				alone := make([]float64, len(all[i]))
				net.visitOne(s, func(step int, _, y []int32) { net.Decode(y, alone[2*step:]) })
				state, x, y := net.NewState(), make([]int32, 5), make([]int32, 2)
				want, recorded := make([]float64, len(all[i])), make([]int32, 5)
				saturated := 0
				for step := range s.Steps {
					row := s.X[step*5 : (step+1)*5]
					net.Encode(row, x)
					copy(recorded, x)
					if s.Sampled != nil {
						for k := range 2 {
							f := net.Features[1+2*k]
							e := frontend.Encoding{Mean: f.Mean, Std: f.Std,
								FractionBits: net.InputFraction}
							coded := front.WithEncodings([]frontend.Encoding{e, e})
							x[1+2*k] = int32(coded.X(k, s.Sampled.Numbers[2*step+k]))
						}
					}
					if !slices.Equal(x, recorded) {
						differ++
					}
					for _, v := range x {
						if v == maxInt16 || v == minInt16 {
							saturated++
						}
					}
					got := make([]int32, 5)
					if net.EncodeStep(s, step, got); !slices.Equal(got, x) {
						t.Fatalf("%s, step %d: takes %d, want %d", rounding, step, got, x)
					}
					net.Step(state, x, y)
					net.Decode(y, want[2*step:])
				}
				if !slices.Equal(all[i], want) || !slices.Equal(alone, want) {
					t.Fatalf("%s, sequence %d: other outputs than of its steps", rounding, i)
				}
				one := &dataset.Recordings{Features: 5, Outputs: 2,
					Sequences: []*dataset.Sequence{s}}
				if got := net.Count(one).Inputs; got != saturated {
					t.Errorf("%s, sequence %d: %d inputs at their ends, want %d", rounding, i, got,
						saturated)
				}
			}
			if differ == 0 {
				t.Error("what the front end computes is what was recorded: nothing was compared")
			}
		}
	}
}

// The largest differences that were seen are those between the integer network on what the front
// end computes and, from the network as given, a float network on what was recorded; by rounding
// alone, one on what the front end computes.
func TestExtremesOfSampledRecordings(t *testing.T) {
	p, front, rec := sampledFloat(3)
	c := Calibrate(p, rec.AsSampled())
	c.FrontEnd = front
	net := mustQuantize(t, p, c, Uniform(p.Net, 8, 8, 16))
	e, err := net.Extremes(t.Context(), p, p, rec)
	if err != nil {
		t.Fatal(err)
	}
	seen := func(float *dataset.Recordings, output int) float64 {
		most := 0.0
		for i, s := range rec.Sequences {
			fixed := make([]float64, s.Steps*2)
			net.Predict(s, fixed)
			p.Visit(float.Sequences[i], func(step int, _ *model.Run, raw []float64) {
				y := slices.Clone(raw)
				p.Physical(y)
				most = max(most, y[output]-fixed[2*step+output], fixed[2*step+output]-y[output])
			})
		}
		return most
	}
	for o := range 2 {
		if want := seen(rec, o); e.Given[o].Seen != want {
			t.Errorf("output %d, from the network as given: %v, want %v", o, e.Given[o].Seen, want)
		}
		if want := seen(rec.AsSampled(), o); e.Rounding[o].Seen != want ||
			!(want < e.Given[o].Seen) {
			t.Errorf("output %d, by rounding alone: %v, want %v", o, e.Rounding[o].Seen, want)
		}
	}
}
