package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"kerf/budget"
	"kerf/budget/cost"
	"kerf/dataset"
	"kerf/model"
	"kerf/quant"
	"kerf/targets"
)

// writeBoardLines writes board.csv into a folder: what six networks would print on a
// cortex-m4f on which a constant from flash takes 3.25 cycles and a taken branch 4.
func writeBoardLines(dir string) error {
	core, err := targets.Load("cortex-m4f")
	if err != nil {
		return err
	}
	for class, cycles := range map[string]float64{"load_flash": 3.25, "branch_taken": 4} {
		cost := core.Costs[class]
		cost.Cycles = cycles
		core.Costs[class] = cost
	}
	var b strings.Builder
	for i, bits := range []int{4, 8, 16, 4, 8, 16} {
		features, units := 4+3*i, 6+4*i
		kind := []model.Kind{model.GRUResetAfter, model.LSTM}[i/3]
		net := &model.Network{
			Recurrent: []*model.Recurrent{{Kind: kind, Inputs: features, Units: units}},
			Dense:     []*model.Dense{{Inputs: units, Outputs: 1}},
		}
		in := &budget.Inputs{
			Job: &budget.Job{},
			Float: dataset.NewFloat(net, make([]dataset.Feature, features),
				make([]dataset.Output, 1)),
			Targets: []budget.Target{{TargetRule: budget.TargetRule{Clock: 64e6}, Core: core}},
		}
		whole := in.Whole(quant.Uniform(net, bits, 16, 16))
		for _, c := range in.Costs(whole) {
			if c.Resource == budget.Cycles && c.Part == budget.Total {
				const steps, overhead = 10000, 123456
				fmt.Fprintf(&b,
					"name,export,network,steps,cycles,overhead\nboard%d,0x0000ABCD,%s,%d,%.0f,%d\n",
					i, cost.ShapeText(in.Shape(whole)), steps, steps*c.Value+overhead, overhead)
			}
		}
	}
	return os.WriteFile(filepath.Join(dir, "board.csv"), []byte(b.String()), 0o644)
}
