package main

import (
	"context"
	"syscall"
	"time"

	"kerf/budget"
)

// network is a network that kerf takes, as it stands in the file.
type network struct {
	Units    []int `json:"units"` // per recurrent layer
	Features int   `json:"features"`
	MACs     int   `json:"macs"` // multiply-accumulates of a step
	// cycles of a step by target: cost estimates of kerf
	Cycles map[string]float64 `json:"cycles"`
	// the largest share that cycles have of those of the uncut network: what is minimised
	Price float64 `json:"price"`
	// how it came about: "cut", or trained "from the cut" or "from scratch"
	Origin string `json:"origin"`
	// the least share of a tolerance that trained networks may use; none: nothing was trained
	Used *float64 `json:"used,omitempty"`
	// it leaves the reserve for the sign-off on the selection recordings
	Holds   bool              `json:"holds"`
	Verdict budget.Verdict    `json:"verdict"` // on the sign-off recordings, limits included
	Rows    map[string]string `json:"rows"`    // the same of each judged row
	Seconds float64           `json:"seconds"` // of processor time, to choose it
}

// failing lists the rows that fail on the sign-off recordings.
func (n *network) failing() []string {
	var rows []string
	for row, verdict := range n.Rows {
		if verdict == string(budget.Fail) {
			rows = append(rows, row)
		}
	}
	return rows
}

// plan does what kerf plan does, and says what network it takes.
func plan(ctx context.Context, in *budget.Inputs) (*network, error) {
	began := processorTime()
	pl := budget.NewPlanner(in)
	cut, err := pl.FindCut(ctx, func(int) {})
	if err != nil {
		return nil, err
	}
	chosen, err := pl.Choose(ctx, cut)
	if err != nil {
		return nil, err
	}
	if in.Job.Recovery != nil {
		if chosen, err = pl.Recover(ctx, cut, chosen, nil,
			budget.TrainingProgress{}); err != nil {
			return nil, err
		}
	}
	seconds := processorTime() - began
	result, err := pl.Assess(ctx, cut, chosen)
	if err != nil {
		return nil, err
	}
	c := chosen.Candidate
	n := &network{Features: len(c.Features), MACs: in.Shape(c).MultiplyAccumulates(),
		Cycles: map[string]float64{}, Origin: "cut", Holds: chosen.Within, Verdict: result.Verdict,
		Rows: map[string]string{}, Seconds: seconds}
	for _, units := range c.Units {
		n.Units = append(n.Units, len(units))
	}
	for _, t := range in.Targets {
		n.Cycles[t.Name] = budget.ValueOf(result.Costs, t.Name, budget.Cycles, budget.Total)
		n.Price = max(n.Price, n.Cycles[t.Name]/
			budget.ValueOf(result.Before, t.Name, budget.Cycles, budget.Total))
	}
	if r := c.Recovered; r != nil {
		n.Origin = "from the cut"
		if r.Scratch {
			n.Origin = "from scratch"
		}
	}
	for _, a := range cut.Trained {
		if n.Used == nil || a.Used < *n.Used {
			n.Used = &a.Used
		}
	}
	for _, row := range result.Loss {
		if row.Judged {
			n.Rows[row.Text()] = string(row.Verdict)
		}
	}
	return n, nil
}

// processorTime returns the processor time that this process has used so far, in seconds.
func processorTime() float64 {
	var used syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &used); err != nil {
		panic(err)
	}
	return time.Duration(used.Utime.Nano() + used.Stime.Nano()).Seconds()
}
