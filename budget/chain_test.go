package budget

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"kerf/dataset"
	"kerf/frontend"
)

// signedOff makes the whole plan of a job.
func signedOff(t *testing.T, in *Inputs) *Result {
	t.Helper()
	pl := NewPlanner(in)
	cut, chosen := searchedBy(t, pl)
	r, err := pl.Assess(t.Context(), cut, chosen)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// Samples that the converter cannot tell are named, however the outputs bear it.
func TestSamplesBeyondTheConverter(t *testing.T) {
	for _, c := range []struct {
		high string
		says bool
	}{{"50 degC", false}, {"20 degC", true}} {
		in, err := rawCity(t, 3,
			[3]string{"job.toml", `high = "50 degC"`, `high = "` + c.high + `"`})
		if err != nil {
			t.Fatal(err)
		}
		said := slices.ContainsFunc(in.Warnings, func(w string) bool {
			return strings.Contains(w, "samples lie beyond the range of the converter, "+
				"-50 to 20 degC")
		})
		if said != c.says {
			t.Errorf("up to %s: %q", c.high, in.Warnings)
		}
	}
}

// Samples of another converter than that of the job, which take little of its range, are told;
// values that are rounded to digits are not.
func TestSamplesOfAnotherConverter(t *testing.T) {
	for _, c := range []struct {
		low, high float64
		bits      int // of the recorder; 0: values as they are, with tenths
		says      string
	}{
		{-500, 500, 0, ""}, // tenths
		{-500, 500, 10, "temperature: the samples lie 0.1173 degC apart, and a step of the " +
			"converter is 0.2442: a finer one recorded them; they go from "},
		{-500, 500, 6, "neither is any with more bits than the samples have; they go from "},
		{-20, 50, 10, ""},
	} {
		in, err := rawCity(t, 13, [3]string{"job.toml", `low = "-50 degC", high = "50 degC"`,
			fmt.Sprintf(`low = "%g degC", high = "%g degC"`, c.low, c.high)})
		if err != nil {
			t.Fatal(err)
		}
		recorder := frontend.Converter{Low: -50, High: 70, Bits: c.bits}
		for _, s := range slices.Concat(in.Raw.Selection, in.Raw.Signoff) {
			for i, v := range s.X[0] {
				if c.bits > 0 {
					s.X[0][i] = recorder.Value(recorder.Code(v))
				}
			}
		}
		notes := in.gridNotes(in.grids())
		text := strings.Join(notes, "\n")
		if !strings.Contains(text, c.says) ||
			strings.Contains(text, "is it that of the device?") != (c.says != "") {
			t.Errorf("%+v: %q", c, text)
		}
	}
}

// Where energy or current is told, a note says that it is the core's alone.
func TestEnergyOfConvertersIsLeftOut(t *testing.T) {
	const says = "what converters and sensors take is left out"
	for _, currents := range []string{"", "active_current = \"4 mA\"\nvoltage = \"3 V\"\n"} {
		in, err := rawCity(t, 3, keepsTempMax,
			[3]string{"job.toml", "step_time =", currents + "step_time ="})
		if err != nil {
			t.Fatal(err)
		}
		r := signedOff(t, in)
		hasRow := slices.ContainsFunc(r.Costs, func(c Cost) bool {
			return c.Resource == Energy || c.Resource == Current
		})
		said := slices.ContainsFunc(r.Warnings, func(w string) bool {
			return strings.Contains(w, says)
		})
		if said != hasRow || hasRow != (currents != "") {
			t.Errorf("with %q: row %v, note %v", currents, hasRow, said)
		}
	}
}

// Conversions stand in energy and mean current as a part of their own. At 3 V a conversion of 2 us
// and 1 mA takes 6 nJ, and a step of three samples three of them; over a period of 1 s that is a
// mean current of 6 nA.
func TestEnergyOfConverters(t *testing.T) {
	in, err := rawCity(t, 3, keepsTempMax, [3]string{"job.toml", "bits = 12",
		"bits = 12, time = \"2 us\", current = \"1 mA\""}, [3]string{"job.toml", "step_time =",
		"active_current = \"4 mA\"\nsleep_current = \"2 uA\"\nvoltage = \"3 V\"\nbattery = " +
			"\"230 mAh\"\nstep_time ="})
	if err != nil {
		t.Fatal(err)
	}
	r := signedOff(t, in)
	for resource, want := range map[Resource]float64{Energy: 18e-9, Current: 6e-9} {
		converters := find(t, r.Costs, resource, ConvertersPart).Value
		core := find(t, r.Costs, resource, CorePart).Value
		total := find(t, r.Costs, resource, Total).Value
		if !near(converters, want) || !near(total, core+converters) || !(core > 0) {
			t.Errorf("%s: converters %g, want %g; core %g, total %g", resource, converters, want,
				core, total)
		}
	}
	life := find(t, r.Costs, BatteryLife, Total).Value
	if want := 230e-3 * 3600 / find(t, r.Costs, Current, Total).Value; !near(life, want) {
		t.Errorf("the battery lasts %g s, want %g", life, want)
	}
	if text := strings.Join(r.Warnings, "\n"); strings.Contains(text, "converters") {
		t.Errorf("left out: %s", text)
	}
	// A channel without features is not sampled; its row stays.
	given := r.Chosen.Candidate
	given.Features = slices.DeleteFunc(slices.Clone(given.Features), func(f int) bool {
		return f == in.Raw.Features[0]
	})
	if v := find(t, in.Costs(given), Energy, ConvertersPart).Value; v != 0 {
		t.Errorf("without the channel conversions take %g J", v)
	}
	// Of two channels the one that says nothing is named.
	in.Job.Channels = append(in.Job.Channels, ChannelRule{Name: "wind"})
	in.Raw.FrontEnd.Features = append(slices.Clone(in.Raw.FrontEnd.Features), frontend.Feature{
		Definition: frontend.Definition{Kind: frontend.Level}, Channel: 1, Scale: 1})
	in.Raw.Features = append(in.Raw.Features, r.Chosen.Candidate.Features[len(
		r.Chosen.Candidate.Features)-1])
	r.Warnings = nil
	r.warnConverterEnergy()
	if text := strings.Join(r.Warnings, "\n"); !strings.HasSuffix(text, "current: wind") {
		t.Errorf("of two channels: %q", text)
	}
}

// What the sign-off has of a network in integers is what its steps give for the integers that the
// front end makes of converter codes, step by step; sequences without samples have their recorded
// features.
func TestSignoffRunsFromConverterCodes(t *testing.T) {
	in, err := rawCity(t, 3, keepsTempMax)
	if err != nil {
		t.Fatal(err)
	}
	net := signedOff(t, in).Chosen.Fixed
	at := slices.IndexFunc(net.Features, func(f dataset.Feature) bool { return f.Computed != "" })
	if at < 0 {
		t.Fatal("the computed feature was dropped")
	}
	f := net.Features[at]
	front := frontend.NewInteger(&in.Raw.FrontEnd, []frontend.Encoding{{Mean: f.Mean, Std: f.Std,
		FractionBits: net.InputFraction}})
	differ := 0
	for i, s := range in.Signoff.Sequences {
		got := make([]float64, s.Steps*in.Signoff.Outputs)
		net.Predict(s, got)
		var computed [][]int16
		if samples := in.Raw.Signoff[i]; samples != nil {
			codes := make([]uint16, len(samples.X[0]))
			for k, v := range samples.X[0] {
				codes[k] = in.Raw.FrontEnd.Channels[0].Converter.Code(v)
			}
			computed = front.Encode([][]uint16{codes}, s.Steps)
		}
		state, x, y := net.NewState(), make([]int32, len(net.Features)),
			make([]int32, len(net.Outputs))
		want := make([]float64, len(y))
		for step := range s.Steps {
			net.Encode(s.X[step*in.Signoff.Features:(step+1)*in.Signoff.Features], x)
			if computed != nil {
				if x[at] != int32(computed[step][0]) {
					differ++
				}
				x[at] = int32(computed[step][0])
			}
			net.Step(state, x, y)
			net.Decode(y, want)
			if !slices.Equal(want, got[step*len(y):(step+1)*len(y)]) {
				t.Fatalf("sequence %s, step %d: %v, want %v", s.Name, step, got[step*len(y):], want)
			}
		}
	}
	if differ == 0 {
		t.Error("the integers of samples are those of the recorded features: nothing was compared")
	}
}

// keepsTempMax has the network keep the feature that is computed from samples.
var keepsTempMax = [3]string{"job.toml", `file = "features.csv"`,
	"file = \"features.csv\"\nkeep = [\"temp_max\"]"}

// withBits are changes of the job for a converter of so many bits.
func withBits(bits int) [][3]string {
	return [][3]string{keepsTempMax, {"job.toml", "bits = 12", fmt.Sprintf("bits = %d", bits)}}
}

// A converter that is too coarse breaks a tolerance that the recorded features do not break: the
// search sees it on the selection recordings, and the sign-off says which step it comes from.
func TestCoarseConverterBreaksATolerance(t *testing.T) {
	for _, c := range []struct {
		bits   int
		within bool
	}{{12, true}, {8, true}, {3, false}} {
		in, err := rawCity(t, 40, withBits(c.bits)...)
		if err != nil {
			t.Fatal(err)
		}
		r := signedOff(t, in)
		broken := slices.ContainsFunc(r.Loss, func(l Loss) bool { return l.Verdict == Fail })
		if r.Chosen.Within != c.within || broken == c.within {
			t.Errorf("%d bits: within %v, broken %v", c.bits, r.Chosen.Within, broken)
		}
		if whole := r.Cut.Points[0]; whole.Fixed || whole.Within() != c.within {
			t.Errorf("%d bits: before rounding, the network as given is within: %v", c.bits,
				whole.Within())
		}
		if r.Chain == nil || r.Chain.Sequences != len(in.Signoff.Sequences) {
			t.Fatalf("%d bits: %+v", c.bits, r.Chain)
		}
		for _, row := range r.Chain.Rows {
			l := r.Loss[slices.IndexFunc(r.Loss, func(l Loss) bool {
				return l.RowName == row.RowName && l.Judged
			})]
			converter := row.Converter - row.Computed
			if row.Float != l.Float || row.Cut != l.Cut || row.Fixed != l.Fixed ||
				math.Abs(row.Computed-row.Float) > 1e-9 || converter == 0 ||
				math.Abs(row.FrontEnd-row.Converter) > 1e-9 {
				t.Errorf("%d bits: %+v, the loss is %+v", c.bits, row, l)
			}
		}
		says := strings.Contains(strings.Join(r.Warnings, "\n"),
			"of the steps from samples to outputs, the converter adds most to")
		if says == c.within || (r.Converters != nil) != c.within {
			t.Errorf("%d bits: blame %v, %+v", c.bits, says, r.Converters)
		}
	}
}

// The bits that would do are the fewest with which the selection recordings leave the reserve for
// every tolerance; more bits than the samples were recorded with are not judged. The samples have
// tenths of a degree.
func TestConvertersOfFewerBits(t *testing.T) {
	for _, c := range []struct{ bits, first int }{{12, 9}, {8, 8}} {
		in, err := rawCity(t, 40, withBits(c.bits)...)
		if err != nil {
			t.Fatal(err)
		}
		r := signedOff(t, in)
		tried := r.Converters.Tried
		if (len(r.Chain.Grids) == 1) != (c.bits == 12) || tried[0].Bits[0] != c.first {
			t.Errorf("%d bits: grids %v, from %v on", c.bits, r.Chain.Grids, tried[0].Bits)
		}
		if c.bits == c.first && math.Abs(tried[0].Used-1-r.Chosen.used) > 1e-12 {
			t.Errorf("%d bits: %v of a tolerance is used, the choice uses %v", c.bits,
				tried[0].Used, 1+r.Chosen.used)
		}
		for i, result := range tried {
			if last := i == len(tried)-1; result.Within == last ||
				result.Bits[0] != c.first-i || result.Within != (result.Used <= 1) {
				t.Errorf("%d bits: attempt %d: %+v", c.bits, i, result)
			}
		}
	}
}

// The same job gives the same figures again, and the inputs stay as they were read.
func TestChainIsTheSameAgain(t *testing.T) {
	in, err := rawCity(t, 20, withBits(8)...)
	if err != nil {
		t.Fatal(err)
	}
	text := func() string {
		r := signedOff(t, in)
		return fmt.Sprint(r.Chain, r.Converters, r.Chosen.Candidate)
	}
	first, before := text(), in.Selection.Sequences[0].X[0]
	if again := text(); again != first || in.Selection.Sequences[0].X[0] != before {
		t.Errorf("%s\n%s", first, again)
	}
}

// Sequences without samples change as those of their scenario do that have samples, one after the
// other, and where none of it has as any.
func TestWhatConvertersAddIsSpread(t *testing.T) {
	sampled := &dataset.Sampled{}
	in := &Inputs{Selection: &dataset.Recordings{Sequences: []*dataset.Sequence{
		{Scenario: "a", Sampled: sampled}, {Scenario: "a"}, {Scenario: "b", Sampled: sampled},
		{Scenario: "a", Sampled: sampled}, {Scenario: "a"}, {Scenario: "c"}}}}
	asChosen := [][]float64{{0, 0}, {10, 10, 10}, {0}, {0, 0}, {10, 10}, {10, 10}}
	predicted := [][]float64{{1, 2}, {10, 10, 10}, {4}, {8, 16}, {10, 10}, {10, 10}}
	in.spread(predicted, asChosen)
	want := [][]float64{{1, 2}, {11, 12, 11}, {4}, {8, 16}, {18, 26}, {11, 12}}
	if !reflect.DeepEqual(predicted, want) {
		t.Errorf("%v, want %v", predicted, want)
	}
}
