package prune

import (
	"context"

	"kerf/dataset"
)

// UnitEffects scores every hidden unit, in the order of [Units], by the effect of holding it at its
// mean: per scenario and output the mean absolute change of the output, in its unit. Without the
// only unit of a layer, every layer behind it sees constants. The networks run in float32, see
// [dataset.Prepared.ScoreAll]. The error is that of ctx.
func UnitEffects(ctx context.Context, p *dataset.Float, means Means,
	selection *dataset.Recordings) (*Scores, error) {
	features, units := count(p.Net.Inputs()), Units(p.Net)
	scores := &Scores{}
	reduced := make([]*dataset.Float, len(units))
	for item, u := range units {
		scores.Items = append(scores.Items, UnitName(p.Net, u))
		kept := AllUnits(p.Net)
		kept[u.Layer] = Without(len(kept[u.Layer]), u.Index)
		reduced[item] = CutPredictor(p, features, kept, means)
	}
	changes, err := dataset.Prepare(p, selection, nil).Against(p).ScoreAll(ctx, reduced)
	if err != nil {
		return nil, err
	}
	for _, scenario := range selection.Scenarios() {
		for o, output := range p.Outputs {
			column := Column{Scenario: scenario, Output: output.Name,
				Values: make([]float64, len(units))}
			for item := range units {
				column.Values[item] = changes[item].Value(nil,
					dataset.Slice{Output: o, Scenario: scenario, Region: -1}, dataset.MAE)
			}
			scores.Columns = append(scores.Columns, column)
		}
	}
	return scores, nil
}
