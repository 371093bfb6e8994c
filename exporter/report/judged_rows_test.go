package report

import (
	"testing"

	"kerf/budget"
	"kerf/dataset"
)

// A row of one sequence has no interval: its error does not stand where the end of one would. A
// largest error is judged as it is.
func TestARowWithoutAnIntervalHasNoEnd(t *testing.T) {
	tolerance := 0.05
	for metric, want := range map[dataset.Metric]string{dataset.RMSE: "", dataset.Bias: "",
		dataset.MaxError: "0.3583"} {
		row := LossRow{RowName: budget.RowName{Output: "leakage",
			Scope: budget.Scope{Scenario: "fast_cycling"}, Metric: metric}, Float: 0.3596,
			Fixed: 0.3583, Sequences: 1, Tolerance: &tolerance, ToleranceOn: budget.OnRise,
			Verdict: budget.NotEnough}
		if metric != dataset.RMSE {
			row.ToleranceOn = budget.OnFixed
		}
		s := &Signoff{Loss: []LossRow{row}}
		if got := s.JudgedLoss()[0].UpTo; got != want {
			t.Errorf("%s: up to %q, want %q", metric, got, want)
		}
	}
}
