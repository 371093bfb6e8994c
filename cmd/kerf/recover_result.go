package main

import (
	"kerf/budget"
	"kerf/exporter/report"
)

// recoverResult is what kerf recover shows: losses per step and output.
type recoverResult struct {
	// loss on the recordings held back before the first epoch
	Start float64 `json:"start"`
	// the epoch that is kept, from 1; 0: none was better than the start
	Best     int           `json:"best"`
	Stopped  string        `json:"stopped"` // why it ended before the last epoch; empty: it did not
	Epochs   []epochRow    `json:"epochs"`
	HeldBack []heldBackRow `json:"held_back"`
	JobLines []string      `json:"job_lines"` // what a job needs to read the written network

	recovered *budget.Recovered
	losses    []budget.Loss
}

type epochRow struct {
	Epoch    int     `json:"epoch"`
	Training float64 `json:"training"`  // on the recordings trained on, while the weights moved
	HeldBack float64 `json:"held_back"` // on those held back
}

// heldBackRow compares the float networks on the selection sequences held back, which chose the
// epoch.
type heldBackRow struct {
	Output    string   `json:"output"`
	Scenario  string   `json:"scenario"`
	Region    string   `json:"region"`
	Metric    string   `json:"metric"`
	Unit      string   `json:"unit"`
	Float     *float64 `json:"float"`
	Cut       *float64 `json:"cut"`
	Recovered *float64 `json:"recovered"`
}

func newRecoverResult(r *budget.Recovered, losses []budget.Loss) *recoverResult {
	result := &recoverResult{Start: r.Result.Start, Best: r.Result.Best, Stopped: r.Result.Stopped,
		Epochs: []epochRow{}, HeldBack: []heldBackRow{}, JobLines: []string{}, recovered: r,
		losses: losses}
	for i, e := range r.Result.Epochs {
		result.Epochs = append(result.Epochs, epochRow{i + 1, e.Training, e.HeldBack})
	}
	for _, l := range losses {
		result.HeldBack = append(result.HeldBack,
			heldBackRow{l.Output, l.Scenario, l.Region, string(l.Metric), l.Unit,
				report.Finite(l.Float), report.Finite(l.Cut), report.Finite(l.Recovered)})
	}
	return result
}

func (r *recoverResult) tables() []report.Table {
	tables := []report.Table{epochTable(r.recovered), heldBackTable(r.losses)}
	if len(r.JobLines) > 0 {
		tables = append(tables, layerTable(r.JobLines))
	}
	return tables
}
