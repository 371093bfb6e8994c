package main

import (
	"context"
	"fmt"
	"math"
	"strconv"

	"github.com/spf13/cobra"

	"kerf/budget"
	"kerf/exporter/report"
	"kerf/prune"
)

func (a *app) rankCommand() *cobra.Command {
	var shapley bool
	cmd := a.jobVerb(&cobra.Command{
		Use:   "rank JOB.toml",
		Short: "Rank features and hidden units by their worst case over scenarios",
		Long: `rank prints how much each feature and hidden unit contributes: its largest share
in the scores of any one scenario and output, and where that is. It rolls the
features up by channel and kind, and says how far the rankings of the scenarios
agree.

Feature scores are those of the job. Without them they are computed: Shapley values
over whole sequences, on the selection recordings, with standard errors that include
the draw of the sequences that stand for what is absent (docs/scores.md). The score
of a unit is the mean absolute change of an output when the unit is held at its
mean. With --shapley, features, channels, kinds and units all get Shapley values:
from all subsets of up to 12 where that takes some seconds, else sampled.`,
		Example: `  kerf rank job.toml
  kerf rank job.toml --shapley
  kerf rank job.toml --format csv`,
	}, a.loadExamined, func(ctx context.Context, in *budget.Inputs) (result, error) {
		r, err := a.rank(ctx, in, shapley)
		if err != nil {
			return nil, err
		}
		return newRankResult(in, r), nil
	})
	cmd.Flags().BoolVar(&shapley, "shapley", false, "compute Shapley values of features, "+
		"channels, kinds and units, whatever scores the job gives")
	return cmd
}

// thorough is the work that --shapley allows: ten times the usual, some seconds on one
// core for each of the four.
const thorough = 30e9

// ranked are the scores that rank shows.
type ranked struct {
	features, channels, kinds, units *prune.Scores
	computed                         []computedOf // none where the job gives the scores
}

// computedOf is what was computed for one sort of players.
type computedOf struct {
	players string
	values  *prune.Values
}

func (a *app) rank(ctx context.Context, in *budget.Inputs, shapley bool) (*ranked, error) {
	channels, kinds := owners(in)
	if !shapley {
		pl := budget.NewPlanner(in)
		if err := pl.ScoreFeatures(ctx, a.ui.progress("scoring features,")); err != nil {
			return nil, err
		}
		cut, err := pl.Rank(ctx)
		if err != nil {
			return nil, err
		}
		r := &ranked{features: cut.FeatureScores, units: cut.UnitScores}
		r.channels, r.kinds = r.features.Groups(channels), r.features.Groups(kinds)
		if computed := pl.Computed(); computed != nil {
			r.computed = []computedOf{{"features", computed}}
		}
		return r, nil
	}
	settings := func(what string) prune.Settings {
		return prune.Settings{Work: thorough, Progress: a.ui.progress("scoring " + what + ",")}
	}
	features, err := prune.FeatureValues(ctx, in.Float, in.Selection, settings("features"))
	if err != nil {
		return nil, err
	}
	channel, err := prune.GroupValues(ctx, in.Float, in.Selection, channels, settings("channels"))
	if err != nil {
		return nil, err
	}
	kind, err := prune.GroupValues(ctx, in.Float, in.Selection, kinds, settings("kinds"))
	if err != nil {
		return nil, err
	}
	units, err := prune.UnitValues(ctx, in.Float, in.Selection, settings("units"))
	if err != nil {
		return nil, err
	}
	return &ranked{features.Scores, channel.Scores, kind.Scores, units.Scores, []computedOf{
		{"features", features}, {"channels", channel}, {"kinds", kind}, {"units", units},
	}}, nil
}

// owners names channel and kind of every feature.
func owners(in *budget.Inputs) (channels, kinds []string) {
	named := func(name, what string) string {
		if name == "" {
			return "(no " + what + ")"
		}
		return name
	}
	for _, f := range in.Float.Features {
		channels, kinds = append(channels, named(f.Channel, "channel")),
			append(kinds, named(f.Kind, "kind"))
	}
	return channels, kinds
}

// computedTable says of Shapley values what was played, and what was drawn for it.
func computedTable(computed []computedOf) report.Table {
	t := report.Table{
		Title:   "How the scores were computed: Shapley values",
		Head:    []string{"of", "players", "played", "backgrounds of a sequence"},
		Numbers: 1, Words: 2,
	}
	for _, c := range computed {
		v := c.values
		played := "all subsets"
		if v.Pairs > 0 {
			played = fmt.Sprintf("%d pairs of permutations", v.Pairs)
		}
		backgrounds := fmt.Sprintf("%d of the %d others", v.Backgrounds, v.Others)
		switch {
		case v.Others == 0:
			backgrounds = "the other half of the only one"
		case v.Others == 1:
			backgrounds = "the other one"
		case v.Backgrounds == 2*v.Pairs:
			backgrounds = fmt.Sprintf("%d draws from the %d others", v.Backgrounds, v.Others)
		case v.Backgrounds == v.Others:
			backgrounds = fmt.Sprintf("all %d others", v.Others)
		}
		players := strconv.Itoa(len(v.Items))
		t.Rows = append(t.Rows, []string{c.players, players, played, backgrounds})
	}
	return t
}

func rankTables(in *budget.Inputs, r *ranked) []report.Table {
	tables := []report.Table{
		rankTable("Features, the most needed first", r.features),
		rankTable("Hidden units, the most needed first", r.units),
		rollUpTable("Channels: share of the scores", "channel", r.channels),
		rollUpTable("Kinds: share of the scores", "kind", r.kinds),
		matrixTable(in, r.features),
		outputTable(in, r.features),
	}
	if agreement := r.features.Agree(); len(agreement.Scenarios) > 1 {
		tables = append(tables, agreementTable(agreement), movesTable(agreement))
	}
	tables = append(tables, sentenceTable("What that says", sentences(r)))
	if len(r.computed) > 0 {
		tables = append(tables, computedTable(r.computed))
	}
	return tables
}

func rankTable(title string, scores *prune.Scores) report.Table {
	t := report.Table{Title: title, Head: []string{"name", "most needed in", "for", "share"},
		Numbers: 3}
	if scores.Deviations != nil {
		t.Title += " (std. error with the draw of backgrounds)"
		t.Head = append(t.Head, "std. error")
	}
	ranking := scores.Ranking()
	for i := len(ranking) - 1; i >= 0; i-- {
		r := ranking[i]
		row := []string{r.Name, r.Scenario, r.Output, exactShare(r.Share)}
		if scores.Deviations != nil {
			row = append(row, exactShare(scores.ShareError(r)))
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

func exactShare(v float64) string {
	if math.IsNaN(v) {
		return ""
	}
	return fmt.Sprintf("%.2f %%", 100*v)
}
