package budget

import (
	"fmt"
	"strings"
	"testing"

	"kerf/budget/cost"
	"kerf/targets"
)

// The fast form is taken where it fits, where the small one breaks another limit by more, for flags
// without estimates, and where the job says so; else the small one, also where flash is too small
// for both.
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
		want   cost.Form
	}{
		{"both fit", fast, nil, "", "", cost.Fast},
		{"one fits", fast - 1, nil, "", "", cost.Small},
		{"one just fits", plain, nil, "", "", cost.Small},
		{"none fits", plain - 1, nil, "", "", cost.Small},
		{"one fits, the other is in time", fast - 1, &fastCycles, "", "", cost.Fast},
		{"no estimate", plain, nil, "-O3", "", cost.Fast},
		{"fast asked for", plain, nil, "", cost.Fast, cost.Fast},
		{"small asked for", fast, nil, "", cost.Small, cost.Small},
	} {
		limit := Bytes(c.flash)
		in := inputsFor(t, TargetRule{Clock: 1e6, Flash: &limit, Cycles: c.cycles, Flags: c.flags,
			Code: c.code})
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
		if said != (c.want == cost.Small && c.code == "") {
			t.Errorf("%s: notes %q", c.name, r.Warnings)
		}
		for _, f := range r.Forms {
			if f.Chosen != c.want || f.Resource == Flash && (f.Fast != fast || f.Small != plain) {
				t.Errorf("%s: both forms are %+v", c.name, f)
			}
		}
		if len(r.Forms) < 2 {
			t.Errorf("%s: %d totals in both forms", c.name, len(r.Forms))
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
