package budget

import (
	"bytes"
	"math"
	"os"
	"slices"
	"testing"

	"kerf/budget/cost"
	"kerf/quant"
)

// Prices have an order: limits count more than what they leave, and up to 80 % of a limit all room
// is alike.
func TestOrderOfPrices(t *testing.T) {
	in := mustLoad(t, cityWeatherJob())
	for i := range in.Targets {
		in.Targets[i].Code = cost.Fast // the other form takes something else than these costs say
	}
	pl := NewPlanner(in)
	whole := in.widest()
	uncut := totals(in.Costs(whole))
	// costs of the uncut network, each times a factor, with limits that it takes half of
	costs := func(factors map[quantity]float64) []Cost {
		all := slices.Clone(uncut)
		for i := range all {
			all[i].Limit = math.NaN()
			if all[i].Resource == Flash || all[i].Resource == StepTime {
				all[i].Limit = 2 * all[i].Value
			}
			if f := factors[all[i].quantity()]; f != 0 {
				all[i].Value *= f
			}
			all[i] = all[i].judged()
		}
		return all
	}
	first, second := in.Targets[0].Name, in.Targets[1].Name
	flash, cycles := quantity{first, Flash}, quantity{second, Cycles}
	ram, time := quantity{second, RAM}, quantity{second, StepTime}
	c := whole
	c.Units = [][]int{{0, 1}} // so that room is left to what the whole network takes
	priced := func(factors map[quantity]float64) price {
		p := pl.price(c, costs(factors))
		p.grown = 0 // which a test of its own looks at
		return p
	}
	// the dearest last
	var order []price
	for _, factors := range []map[quantity]float64{
		{flash: 0.5, cycles: 0.5},
		{flash: 0.5, cycles: 0.9},
		{flash: 0.9, cycles: 0.9},
		{},                        // 50 % of the limits
		{flash: 1.59},             // 79.5 %: more flash, no matter of limits
		{flash: 1.61, cycles: .1}, // 80.5 %: nothing makes up for that
		{flash: 1.9, cycles: .01},
		{flash: 2.1, cycles: .01, ram: .01}, // 5 % beyond
		{flash: 2.2},
		{flash: 2.01, time: 2.01}, // two limits, 1 %
	} {
		order = append(order, priced(factors))
	}
	for i := range order {
		for k := range order {
			if got, want := order[i].compare(order[k]), i-k; (got < 0) != (want < 0) ||
				(got > 0) != (want > 0) {
				t.Errorf("prices %d and %d compare as %d: %+v, %+v", i, k, got, order[i], order[k])
			}
		}
	}
	// half the flash of one target or half the RAM of the other are the same, beyond rounding
	if a, b := priced(map[quantity]float64{flash: 0.5}),
		priced(map[quantity]float64{ram: 0.5}); math.
		Abs(a.mean-b.mean) > 1e-12 {
		t.Errorf("means %g and %g", a.mean, b.mean)
	}
	// 2 targets, each with flash, RAM and cycles
	if got, want := priced(map[quantity]float64{flash: 0.5}).mean, math.Pow(0.5, 1.0/6); math.
		Abs(got-want) > 1e-12 {
		t.Errorf("the mean is %g, want %g", got, want)
	}
}

// What takes more than the uncut network in the same words stands behind what does not, whatever it
// saves elsewhere, up to a limit.
func TestAboveUncut(t *testing.T) {
	in := mustLoad(t, cityWeatherJob())
	pl := NewPlanner(in)
	formats, err := in.Job.Formats.candidates(in.Float.Net)
	if err != nil {
		t.Fatal(err)
	}
	whole := in.Whole(formats[0])
	if got := in.aboveUncut(whole, in.Costs(whole)); len(got) > 0 {
		t.Errorf("the uncut network is above itself: %+v", got)
	}
	found := 0
	for n := 1; n < 12; n++ {
		for features := 1; features <= 12; features++ {
			c := whole
			c.Units, c.Features = [][]int{whole.Units[0][:n]}, whole.Features[:features]
			costs := in.Costs(c)
			above := in.aboveUncut(c, costs)
			if price := pl.price(c, costs); price.grown != len(above) || len(above) > 0 &&
				price.compare(pl.priceOf(whole)) <= 0 {
				t.Errorf("%d units, %d features: %+v is above %+v", n, features, price, above)
			}
			found += len(above)
		}
	}
	if found == 0 {
		t.Error("nothing is above the uncut network: the case shows nothing")
	}
	tight := price{share: 0.85}
	if tight.compare(price{share: comfortable, grown: 1}) < 0 {
		t.Error("a limit does not count more than the uncut network")
	}
}

// Laws of every choice without a named objective: nothing that was measured in fixed point, within
// every tolerance and limit, takes at most as much of every resource on every target and less of
// one; and the choice takes no more flash, RAM, cycles or energy than the uncut network in the same
// words. (The stack is judged where it has a limit.)
func TestNothingChosenIsDominated(t *testing.T) {
	compared := 0
	wide := demoJob(t)
	text, err := os.ReadFile(wide)
	if err != nil {
		t.Fatal(err)
	}
	text = bytes.ReplaceAll(text, []byte(`"5 %"`), []byte(`"40 %"`))
	if err := os.WriteFile(wide, text, 0o600); err != nil {
		t.Fatal(err)
	}
	for name, in := range map[string]*Inputs{
		"demo":            mustLoad(t, demoJob(t)),
		"demo, 40 %":      mustLoad(t, wide),
		"open data":       mustLoad(t, cityWeatherJob()),
		"open data, 10 %": mustCity(t, "epochs = 1", [3]string{"job.toml", `"5 %"`, `"10 %"`}),
		"open data, 20 %": mustCity(t, "epochs = 1", [3]string{"job.toml", `"5 %"`, `"20 %"`}),
		"open data, nearly full": mustCity(t, "epochs = 1",
			[3]string{"job.toml", "12 KiB", "3.2 KiB"}),
	} {
		t.Run(name, func(t *testing.T) {
			_, chosen, f := searched(t, in)
			at := slices.IndexFunc(f.Candidates, func(c FrontierCandidate) bool { return c.Chosen })
			choice := f.Candidates[at]
			for _, c := range f.Candidates {
				if !c.Fixed || !c.Within() || c.Chosen {
					continue
				}
				compared++
				if takesLess(c.Costs, choice.Costs) && c.price.grown == 0 {
					t.Errorf("number %d takes less than the choice, number %d", c.ID, choice.ID)
				}
			}
			whole := in.Whole(chosen.Candidate.Formats)
			whole.shifts = chosen.Candidate.shifts
			uncut := totals(in.Costs(whole))
			for i, c := range totals(choice.Costs) {
				forced := choice.price.share > comfortable || uncut[i].Verdict == Fail
				if c.Value > uncut[i].Value && slices.Contains(objectives, c.Resource) && !forced {
					t.Errorf("%s of %s is %g, of the uncut network %g", c.Resource, c.Target,
						c.Value, uncut[i].Value)
				}
			}
		})
	}
	if compared == 0 {
		t.Error("no choice had another one beside it: the cases show nothing")
	}
}

// What takes at most as much of everything, of flash also in the form that takes least, and less of
// something, has the lower price, as long as both stand alike to the uncut network: so the cheapest
// of all that was measured is dominated by nothing.
func TestLessIsCheaper(t *testing.T) {
	for _, limit := range []string{"12 KiB", "2.6 KiB", "2 KiB"} {
		in := mustCity(t, "epochs = 1", [3]string{"job.toml", "12 KiB", limit})
		pl := NewPlanner(in)
		formats, err := in.Job.Formats.candidates(in.Float.Net)
		if err != nil {
			t.Fatal(err)
		}
		type priced struct {
			costs []Cost
			price price
			least []Cost // flash of each target
		}
		var all []priced
		for _, f := range formats {
			c := in.Whole(f)
			for n := 1; n <= 12; n++ {
				for features := 1; features <= 12; features += 2 {
					few := c
					few.Units, few.Features = [][]int{c.Units[0][:n]}, c.Features[:features]
					costs := in.Costs(few)
					p := priced{costs: costs, price: pl.price(few, costs)}
					for _, row := range totals(costs) {
						if row.Resource == Flash {
							p.least = append(p.least, in.leastFlash(few, row))
						}
					}
					all = append(all, p)
				}
			}
		}
		pairs := 0
		for _, a := range all {
			for _, b := range all {
				if a.price.grown == b.price.grown && takesLess(append(a.least, a.costs...),
					append(b.least, b.costs...)) {
					pairs++
					if a.price.compare(b.price) >= 0 {
						t.Fatalf("%+v takes less than %+v", a.price, b.price)
					}
				}
			}
		}
		if pairs < 1000 {
			t.Errorf("%d pairs: the case shows nothing", pairs)
		}
	}
}

// takesLess reports whether costs are at most others everywhere, and less somewhere.
func takesLess(costs, others []Cost) bool {
	less := false
	for i, c := range costs {
		if c.Part != Total {
			continue
		}
		a, b := c.Value, others[i].Value
		if c.AtLeast {
			a, b = b, a
		}
		if a > b {
			return false
		}
		less = less || a < b
	}
	return less
}

// A job without a target has bytes as its price.
func TestPriceWithoutTargets(t *testing.T) {
	in := mustLoad(t, cityWeatherJob())
	in.Targets = nil
	pl := NewPlanner(in)
	formats := quant.Uniform(in.Float.Net, 8, 8, 16)
	c := in.Whole(formats)
	if p := pl.priceOf(c); p.mean != in.bytes(c)/in.bytes(in.widest()) || p.mean >= 1 {
		t.Errorf("mean %g", p.mean)
	}
}
