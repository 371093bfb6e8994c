package budget

import (
	"reflect"
	"strings"
	"testing"

	"kerf/dataset"
	"kerf/fault"
)

// Figures of a scenario or region take the place of the general ones, metric by metric; what they
// do not name is inherited, and "off" judges nothing.
func TestTolerancesOfPlaces(t *testing.T) {
	job, err := readJob(t, strings.Replace(goodJob, `rmse_rise = "5 %"`, `rmse_rise = "5 %", `+
		`mae = 0.5, explained = "80 %", scenario.warm_up.rmse_rise = "8 %", `+
		`scenario.warm_up.max_error = 2, scenario.calm.mae = "off", region."air masks `+
		`leakage".rmse_rise = "off"`, 1))
	if err != nil {
		t.Fatal(err)
	}
	tolerance := job.Tolerances["leakage"]
	rise, mae, explained := rule{dataset.RMSE, true, 0.05}, rule{dataset.MAE, false, 0.5},
		rule{dataset.Explained, false, 0.8}
	for _, c := range []struct {
		scope Scope
		want  []rule
	}{
		{Scope{Scenario: "all"}, []rule{rise, mae, explained}},
		{Scope{Scenario: "steady"}, []rule{rise, mae}},
		{Scope{Scenario: "warm_up"},
			[]rule{{dataset.RMSE, true, 0.08}, mae, {dataset.MaxError, false, 2}}},
		{Scope{Scenario: "calm"}, []rule{rise}},
		{Scope{Scenario: "all", Region: "air masks leakage"}, []rule{mae}},
		{Scope{Scenario: "all", Region: "another"}, []rule{rise, mae}},
	} {
		if got := tolerance.rules(c.scope); !reflect.DeepEqual(got, c.want) {
			t.Errorf("%s %s: %v, want %v", c.scope.Scenario, c.scope.Region, got, c.want)
		}
	}
	special := Loss{RowName: RowName{"leakage", Scope{"warm_up", ""}, dataset.RMSE},
		Relative: true}
	if !tolerance.isSpecial(special) {
		t.Error("the tolerance of warm_up is one of its own")
	}
	if special.Scenario = "steady"; tolerance.isSpecial(special) {
		t.Error("steady inherits")
	}
}

// Where an output stands still a constant makes no error, and no share of it can be explained.
func TestNoShareOfWhatStandsStill(t *testing.T) {
	in := mustCity(t, "epochs = 1", [3]string{"job.toml", `temp_max_next = { rmse_rise = "5 %" }`,
		`temp_max_next = { explained = "50 %" }`})
	for _, s := range in.Signoff.Sequences {
		for at := 0; at < len(s.Y); at += in.Signoff.Outputs {
			s.Y[at] = in.constant().Outputs[0]
		}
	}
	err := in.checkExplained()
	if err == nil ||
		!strings.Contains(err.Error(), "temp_max_next stands still in the sign-off recordings") ||
		!strings.Contains(err.Error(), "job.toml:") {
		t.Error(err)
	}
}

func TestTolerancesThatAreRefused(t *testing.T) {
	for _, c := range []struct{ tolerance, want string }{
		{`{ rmse = -1 }`, `"-1": no tolerance`},
		{`{ rmse = "none" }`, `"none": no tolerance`},
		{`{ rmse_rise = 5 }`, "the unit is missing"},
		{`{ rmse_rise = "of" }`, "starts with a number"},
		{`{ explained = "100 %" }`, "no network explains everything"},
		{`{ scenario.warm.rmse_rise = "5 %" }`, `unknown scenario "warm"`},
		{`{ region.warm.rmse_rise = "5 %" }`, `unknown region "warm"`},
		{`{ scenario.seattle_cold.rmserise = "5 %" }`, `unknown key "rmserise"`},
		{`{ scenario.seattle_cold.accuracy_drop = "5 %" }`,
			"accuracy is no metric of this network"},
		{`{ scenario = {} }`, "the tolerance says nothing"},
	} {
		_, err := city(t, "epochs = 1", [3]string{"job.toml", `temp_max_next = { rmse_rise = ` +
			`"5 %" }`, "temp_max_next = " + c.tolerance})
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q in it", c.tolerance, err, c.want)
		}
	}
	// A near miss has a hint, a tolerance above 100 % one note for all.
	_, err := city(t, "epochs = 1", [3]string{"job.toml", `temp_max_next = { rmse_rise = "5 %" }`,
		`temp_max_next = { scenario.Seattle_cold.rmse_rise = "5 %" }`})
	if hint := fault.Hint(err); !strings.Contains(hint, `did you mean "seattle_cold"?`) {
		t.Errorf("hint %q", hint)
	}
	in := mustCity(t, "epochs = 1", [3]string{"job.toml", `"5 %"`, `"5000 %"`})
	notes := 0
	for _, w := range in.Warnings {
		if strings.Contains(w, "more than double") {
			notes++
			if !strings.Contains(w, "temp_max_next: 5000 %") ||
				!strings.Contains(w, "temp_min_next") {
				t.Errorf("note %q", w)
			}
		}
	}
	if notes != 1 {
		t.Errorf("%d notes on tolerances above 100 %%, want one", notes)
	}
}
