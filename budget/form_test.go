package budget

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"kerf/budget/cost"
	"kerf/targets"
)

// The fast form is taken where it fits, where the small one breaks another limit by more, for flags
// without estimates, and where the job says so; else the small one, also where flash is too small
// for both, or is what the search minimises.
func TestFormFollowsTheLimits(t *testing.T) {
	in := inputsFor(t, TargetRule{Clock: 1e6})
	whole := in.Whole(small)
	totals := func(form cost.Form) (flash, cycles float64) {
		rows := inputsFor(t, TargetRule{Clock: 1e6, Code: form}).Costs(whole)
		return find(t, rows, Flash, Total).Value, find(t, rows, Cycles, Total).Value
	}
	fast, fastCycles := totals(cost.Fast)
	plain, plainCycles := totals(cost.Small)
	if plain >= fast || plainCycles <= fastCycles {
		t.Fatalf("small form: %v B and %v cycles, fast: %v B and %v cycles", plain, plainCycles,
			fast, fastCycles)
	}
	for _, c := range []struct {
		name   string
		flash  float64
		cycles *float64
		flags  string
		code   cost.Form
		least  Resource // what the search minimises
		want   cost.Form
	}{
		{"both fit", fast, nil, "", "", "", cost.Fast},
		{"one fits", fast - 1, nil, "", "", "", cost.Small},
		{"one just fits", plain, nil, "", "", "", cost.Small},
		{"none fits", plain - 1, nil, "", "", "", cost.Small},
		{"one fits, the other is in time", fast - 1, &fastCycles, "", "", "", cost.Fast},
		{"no estimate", plain, nil, "-O3", "", "", cost.Fast},
		{"fast asked for", plain, nil, "", cost.Fast, "", cost.Fast},
		{"small asked for", fast, nil, "", cost.Small, "", cost.Small},
		{"least flash", fast, nil, "", "", Flash, cost.Small},
		{"least flash in time", fast, &fastCycles, "", "", Flash, cost.Fast},
		{"least cycles", fast, nil, "", "", Cycles, cost.Fast},
	} {
		limit := Bytes(c.flash)
		in := inputsFor(t, TargetRule{Clock: 1e6, Flash: &limit, Cycles: c.cycles, Flags: c.flags,
			Code: c.code})
		in.Job.Search.Objective = c.least
		if got := in.FormOf(whole, in.Targets[0]); got != c.want {
			t.Errorf("%s: %s, want %s", c.name, got, c.want)
		}
		wantCycles := fastCycles
		if c.want == cost.Small {
			wantCycles = plainCycles
		}
		if got := find(t, in.Costs(whole), Cycles, Total).Value; got != wantCycles {
			t.Errorf("%s: %v cycles, want %v", c.name, got, wantCycles)
		}
		if grown := in.aboveUncut(whole, in.Costs(whole)); len(grown) > 0 {
			t.Errorf("%s: the whole network takes more than itself: %+v", c.name, grown)
		}
		r := &Result{Inputs: in, Forms: in.FormCosts(whole)}
		r.warnForms()
		said := len(r.Warnings) == 1 && strings.Contains(r.Warnings[0],
			fmt.Sprintf("the limit on flash is %.0f B", c.flash)) &&
			strings.Contains(r.Warnings[0], fmt.Sprintf("takes %.0f B", fast))
		if said != (c.want == cost.Small && c.code == "" && c.least == "") {
			t.Errorf("%s: notes %q", c.name, r.Warnings)
		}
		for _, f := range r.Forms {
			if f.Chosen != c.want || f.Resource == Flash && (f.Fast != fast || f.Small != plain) {
				t.Errorf("%s: both forms are %+v", c.name, f)
			}
		}
		if (len(r.Forms) < 2) != (c.flags != "") {
			t.Errorf("%s: %d totals in both forms", c.name, len(r.Forms))
		}
	}
}

// A network that just fits in the fast form is not dearer, by its share of the flash, than it would
// be where only the small form fits, and one of two targets can have the small form alone.
func TestPriceDoesNotDependOnTheForm(t *testing.T) {
	price := func(limit float64) (price, []cost.Form) {
		flash := Bytes(limit)
		in := inputsFor(t, TargetRule{Clock: 1e6, Flash: &flash})
		roomy := in.Targets[0]
		roomy.Name, roomy.Flash = "roomy", nil
		in.Targets = append(in.Targets, roomy)
		pl := &Planner{in: in, prices: in.pricing()}
		whole := in.Whole(small)
		return pl.priceOf(whole), []cost.Form{in.FormOf(whole, in.Targets[0]),
			in.FormOf(whole, roomy)}
	}
	fast := find(t, inputsFor(t, TargetRule{Clock: 1e6}).Costs(
		inputsFor(t, TargetRule{Clock: 1e6}).Whole(small)), Flash, Total).Value
	fits, forms := price(fast)
	if !slices.Equal(forms, []cost.Form{cost.Fast, cost.Fast}) {
		t.Errorf("just fits: forms %v", forms)
	}
	smaller, forms := price(fast - 1)
	if !slices.Equal(forms, []cost.Form{cost.Small, cost.Fast}) {
		t.Errorf("one byte less: forms %v", forms)
	}
	if fits.share > smaller.share || fits.compare(smaller) >= 0 {
		t.Errorf("with a byte more the price is %+v, with one less %+v", fits, smaller)
	}
}

// Where the job names the form that breaks a limit, the other one is a remedy.
func TestTheOtherFormIsARemedy(t *testing.T) {
	for _, c := range []struct{ code, other cost.Form }{{cost.Fast, cost.Small},
		{cost.Small, cost.Fast}} {
		rule := TargetRule{Clock: 1e6, Code: c.code}
		in := inputsFor(t, rule)
		whole := in.Whole(small)
		flash, cycles := find(t, in.Costs(whole), Flash, Total), find(t, in.Costs(whole), Cycles,
			Total)
		row, limit, most := flash, Bytes(flash.Value-1), cycles.Value-1
		if rule.Flash = &limit; c.code == cost.Small {
			row, rule.Flash, rule.Cycles = cycles, nil, &most
		}
		in = inputsFor(t, rule)
		r := &remedies{in: in, now: whole, target: in.Targets[0]}
		r.code(find(t, in.Costs(whole), row.Resource, Total))
		if len(r.found) != 1 || r.found[0].Knob != CodeKnob ||
			r.found[0].Change != fmt.Sprintf("code = %q in the job", c.other) {
			t.Errorf("%s: found %+v", c.code, r.found)
		}
	}
}

// A form that there is not is refused with its place, and so is the small one on AVR.
func TestFormsThatAreRefused(t *testing.T) {
	in := inputsFor(t, TargetRule{Clock: 1e6, Code: "tiny"})
	err := in.checkForm(0, in.Targets[0])
	if err == nil || !strings.Contains(err.Error(), `no code that is "tiny"`) {
		t.Errorf("tiny: %v", err)
	}
	avr, err := targets.Load("avr8")
	if err != nil {
		t.Fatal(err)
	}
	target := Target{TargetRule: TargetRule{Code: cost.Small}, Core: avr}
	if err := in.checkForm(0, target); err == nil ||
		!strings.Contains(err.Error(), "plain C is not smaller") {
		t.Errorf("small on AVR: %v", err)
	}
	if in.FormOf(in.Whole(small), Target{Core: avr}) != cost.Fast ||
		len((&Inputs{Targets: []Target{target}}).FormCosts(Candidate{})) > 0 {
		t.Error("AVR has a small form")
	}
}
