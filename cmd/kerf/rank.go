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
	var without nameList
	cmd := a.jobVerb(&cobra.Command{
		Use:   "rank JOB.toml",
		Short: "Rank features and hidden units by their worst case over scenarios",
		Long: `rank prints how much each feature and hidden unit contributes: its largest share
in the scores of any one scenario and output, and where that is. It rolls the
features up by channel and kind, and says how far the rankings of the scenarios
agree.

Feature scores are those of the job. Without them they are computed: Shapley values
over whole sequences, on the selection recordings, sampled until their standard
errors, which include the draw of the sequences that stand for what is absent, decide
the order, or some seconds of work are done; an order that is still open is named
(docs/scores.md). plan ranks by gradients instead. The score of a unit is the mean absolute change of an output when the unit is held at its
mean. With --shapley, features, channels, kinds and units all get Shapley values:
from all subsets of up to 12 where that takes some seconds, else sampled.

With --without, rank says what the best network without a channel loses and frees
beside the best one with it, and whether anything still fits: news for those who
decide which sensors there are. Both are found as plan finds them, with its training
where the job has [recovery].`,
		Example: `  kerf rank job.toml
  kerf rank job.toml --shapley
  kerf rank job.toml --without return
  kerf rank job.toml --format csv`,
	}, a.loadExamined, func(ctx context.Context, in *budget.Inputs) (result, error) {
		if len(without) > 0 {
			return a.rankWithout(ctx, in, without)
		}
		r, err := a.rank(ctx, in, shapley)
		if err != nil {
			return nil, err
		}
		return newRankResult(in, r), nil
	})
	cmd.Flags().BoolVar(&shapley, "shapley", false, "compute Shapley values of features, "+
		"channels, kinds and units, whatever scores the job gives")
	cmd.Flags().Var(&without, "without", "say what the best network without these channels loses "+
		"and frees: "+namesInCSV)
	cmd.MarkFlagsMutuallyExclusive("shapley", "without")
	return cmd
}

// thorough is the work that --shapley allows in multiply-accumulates. Our choice: half as much
// again as usual (prune.Settings), some seconds on one core for each of the four sorts of players.
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

// rank scores features, channels, kinds and units: by the scores of the job, or features by Shapley
// values and units by what holding one changes; with shapley all by Shapley values.
func (a *app) rank(ctx context.Context, in *budget.Inputs, shapley bool) (*ranked, error) {
	channels, kinds := owners(in)
	if !shapley {
		pl := budget.NewPlanner(in)
		if err := a.scoreFeatures(ctx, pl); err != nil {
			return nil, err
		}
		defer a.ui.phase("scoring units")()
		units, err := prune.UnitEffects(ctx, in.Float, pl.Statistics().Means, in.Selection)
		if err != nil {
			return nil, err
		}
		r := &ranked{features: in.Scores, units: units}
		if computed := pl.Computed(); computed != nil {
			r.features, r.computed = computed.Scores, []computedOf{{"features", computed}}
		}
		r.channels, r.kinds = r.features.Groups(channels), r.features.Groups(kinds)
		return r, nil
	}
	score := func(what string, values func(prune.Settings) (*prune.Values, error)) (*prune.Values,
		error) {
		step, end := a.ui.progress("scoring " + what)
		defer end()
		return values(prune.Settings{Work: thorough, Progress: step})
	}
	features, err := score("features", func(s prune.Settings) (*prune.Values, error) {
		return prune.FeatureValues(ctx, in.Float, in.Selection, s)
	})
	if err != nil {
		return nil, err
	}
	channel, err := score("channels", func(s prune.Settings) (*prune.Values, error) {
		return prune.GroupValues(ctx, in.Float, in.Selection, channels, s)
	})
	if err != nil {
		return nil, err
	}
	kind, err := score("kinds", func(s prune.Settings) (*prune.Values, error) {
		return prune.GroupValues(ctx, in.Float, in.Selection, kinds, s)
	})
	if err != nil {
		return nil, err
	}
	units, err := score("units", func(s prune.Settings) (*prune.Values, error) {
		return prune.UnitValues(ctx, in.Float, in.Selection, s)
	})
	if err != nil {
		return nil, err
	}
	return &ranked{features.Scores, channel.Scores, kind.Scores, units.Scores, []computedOf{
		{"features", features}, {"channels", channel}, {"kinds", kind}, {"units", units},
	}}, nil
}

// owners returns channel and kind of every feature.
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

// computedTable shows for Shapley values what was played, and what was drawn for it.
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

// rankTables shows the rankings, their sums by group, and how far the scenarios agree.
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

// rankTable shows items in their worst case, the most needed first.
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

// exactShare prints a share with two digits behind the point; it is empty for NaN.
func exactShare(v float64) string {
	if math.IsNaN(v) {
		return ""
	}
	return fmt.Sprintf("%.2f %%", 100*v)
}

// rankResult is what kerf rank shows: scores as shares of the sum over all items, in each scenario
// for each output.
type rankResult struct {
	Features  []needRow    `json:"features"` // the most needed first
	Units     []needRow    `json:"units"`
	Channels  []shareRow   `json:"channels"`
	Kinds     []shareRow   `json:"kinds"`
	Sums      []sumRow     `json:"sums"`      // of the scores of all features
	Agreement []agreedRow  `json:"agreement"` // of the feature rankings of two scenarios
	Moves     []moveRow    `json:"moves"`     // between scenarios, the furthest first
	Findings  []findingRow `json:"findings"`
	Methods   []playedRow  `json:"methods"` // none where the job gives the scores

	in     *budget.Inputs
	ranked *ranked
}

// needRow is one feature or unit in its worst case.
type needRow struct {
	Name     string   `json:"name"`
	Scenario string   `json:"scenario"`
	Output   string   `json:"output"`
	Share    *float64 `json:"share"` // null where nothing has a score
	StdError *float64 `json:"std_error"`
}

// shareRow is one group of features in one scenario, for one output.
type shareRow struct {
	Name     string   `json:"name"`
	Scenario string   `json:"scenario"`
	Output   string   `json:"output"`
	Share    *float64 `json:"share"`
}

// sumRow is the sum of the scores of all features for an output in a scenario.
type sumRow struct {
	Output   string  `json:"output"`
	Scenario string  `json:"scenario"`
	Sum      float64 `json:"sum"` // in the unit of the output, or of the scores of the job
}

// agreedRow is how far the feature rankings of two scenarios agree.
type agreedRow struct {
	First       string   `json:"first"`
	Second      string   `json:"second"`
	Correlation *float64 `json:"correlation"` // Spearman's rank correlation
}

// moveRow is a feature with its highest and lowest rank in any scenario.
type moveRow struct {
	Name      string  `json:"name"`
	Highest   float64 `json:"highest"` // rank, 1 is the most needed
	HighestIn string  `json:"highest_in"`
	Lowest    float64 `json:"lowest"`
	LowestIn  string  `json:"lowest_in"`
}

// findingRow is one sentence.
type findingRow struct {
	Finding string `json:"finding"`
}

// playedRow is how the Shapley values of one sort of players were computed.
type playedRow struct {
	Of          string `json:"of"`
	Players     int    `json:"players"`
	AllSubsets  bool   `json:"all_subsets"`
	Pairs       *int   `json:"pairs"` // of permutations per sequence; null with all subsets
	Backgrounds int    `json:"backgrounds"`
	Others      int    `json:"others"`
}

func newRankResult(in *budget.Inputs, r *ranked) *rankResult {
	result := &rankResult{
		Features: needRows(r.features), Units: needRows(r.units), Channels: shareRows(r.channels),
		Kinds: shareRows(r.kinds),
		Sums:  []sumRow{}, Agreement: []agreedRow{}, Moves: []moveRow{},
		Findings: findingRows(sentences(r)), Methods: []playedRow{}, in: in, ranked: r,
	}
	for _, c := range r.features.Finest() {
		result.Sums = append(result.Sums, sumRow{c.Output, c.Scenario, c.Total()})
	}
	agreement := r.features.Agree()
	for i, row := range agreement.Correlation {
		for j, v := range row[:i] {
			result.Agreement = append(result.Agreement,
				agreedRow{agreement.Scenarios[j], agreement.Scenarios[i], report.Finite(v)})
		}
	}
	if len(agreement.Scenarios) > 1 {
		for _, m := range agreement.Moves {
			result.Moves = append(result.Moves,
				moveRow{m.Name, m.Highest, m.HighestIn, m.Lowest, m.LowestIn})
		}
	}
	for _, c := range r.computed {
		v := c.values
		row := playedRow{
			Of: c.players, Players: len(v.Items), AllSubsets: v.Pairs == 0,
			Backgrounds: v.Backgrounds, Others: v.Others,
		}
		if v.Pairs > 0 {
			row.Pairs = &v.Pairs
		}
		result.Methods = append(result.Methods, row)
	}
	return result
}

func (r *rankResult) tables() []report.Table { return rankTables(r.in, r.ranked) }

// needRows lists items in their worst case, the most needed first.
func needRows(scores *prune.Scores) []needRow {
	rows := []needRow{}
	ranking := scores.Ranking()
	for i := len(ranking) - 1; i >= 0; i-- {
		r := ranking[i]
		row := needRow{Name: r.Name, Scenario: r.Scenario, Output: r.Output,
			Share: report.Finite(r.Share)}
		if scores.Deviations != nil {
			row.StdError = report.Finite(scores.ShareError(r))
		}
		rows = append(rows, row)
	}
	return rows
}

// shareRows lists the shares of groups in every scenario for every output.
func shareRows(groups *prune.Scores) []shareRow {
	rows := []shareRow{}
	for i, name := range groups.Items {
		for _, c := range groups.Finest() {
			rows = append(rows,
				shareRow{name, c.Scenario, c.Output, report.Finite(c.Values[i] / c.Total())})
		}
	}
	return rows
}

// findingRows makes a row of each sentence.
func findingRows(sentences []string) []findingRow {
	rows := []findingRow{}
	for _, s := range sentences {
		rows = append(rows, findingRow{s})
	}
	return rows
}
