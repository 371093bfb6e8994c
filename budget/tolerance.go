package budget

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"kerf/dataset"
	"kerf/fault"
	"kerf/targets"
)

// Tolerance is what one output may lose. What it says holds for every row of the output: all
// recordings, each scenario, each region. Scenarios and regions may have figures of their own,
// which take the place of the general one of the same key.
type Tolerance struct {
	Figures

	// Figures of one scenario take the place of the general ones of the same key, such as
	// `scenario.warm_up.rmse = 0.5`. A scenario takes over what it does not say; "off" shows a row
	// and does not judge it. It has no `explained`. Default: the general ones hold.
	Scenario map[string]Figures `toml:"scenario"`

	// Figures of one region do the same for a region, such as
	// `region."air masks leakage".max_error = "off"`. Default: the general ones hold.
	Region map[string]Figures `toml:"region"`

	// The integer network must explain at least this share of the variance, of a classifier of the
	// errors of its most frequent class, over all recordings. Default: not judged.
	Explained *Percent `toml:"explained"`
}

// Figures are tolerances relative to the float network (rises and drops) or absolute in the unit of
// the output. One that is nil says nothing, one that is off keeps a row from being judged.
type Figures struct {
	// The root mean square error may rise by this share of the float network's. Default: not
	// judged.
	RMSERise *Share `toml:"rmse_rise"`

	// The mean absolute error may rise by this share of the float network's. Default: not judged.
	MAERise *Share `toml:"mae_rise"`

	// The root mean square error may be this large, in the unit of the output. Default: not judged.
	RMSE *Bound `toml:"rmse"`

	// The mean absolute error may be this large, in the unit of the output. Default: not judged.
	MAE *Bound `toml:"mae"`

	// No error of a step may be larger, in the unit of the output. Default: not judged.
	MaxError *Bound `toml:"max_error"`

	// The magnitude of the mean error may be this large, in the unit of the output. Default: not
	// judged.
	Bias *Bound `toml:"bias"`

	// The share of steps that a classifier recognises may drop by this much. Default: not judged.
	AccuracyDrop *Share `toml:"accuracy_drop"`

	// The mean over classes of the share of steps that are recognised may drop by this much.
	// Default: not judged.
	BalancedAccuracyDrop *Share `toml:"balanced_accuracy_drop"`

	// The class may differ from that of the float network in this share of steps. Default: not
	// judged.
	Disagreement *Share `toml:"disagreement"`
}

// Share is a tolerance written as a percentage, such as "5 %", or "off".
type Share struct {
	Value float64 // fraction
	Off   bool
}

// Bound is a tolerance in the unit of the output: a number, or "off".
type Bound struct {
	Value float64
	Off   bool
}

const offText = "off"

// UnmarshalTOML reads a percentage or "off".
func (s *Share) UnmarshalTOML(v any) error {
	if s.Off = v == offText; s.Off {
		return nil
	}
	var p Percent
	if err := p.UnmarshalTOML(v); err != nil {
		return err
	}
	s.Value = float64(p)
	return nil
}

// UnmarshalTOML reads a number or "off".
func (b *Bound) UnmarshalTOML(v any) error {
	switch v := v.(type) {
	case float64:
		b.Value = v
	case int64:
		b.Value = float64(v)
	case string:
		b.Off = v == offText
	}
	if _, isText := v.(string); isText != b.Off || math.IsNaN(b.Value) || math.IsInf(b.Value, 0) ||
		b.Value < 0 {
		return targets.BadValue(fmt.Sprint(v), "no tolerance",
			`a tolerance is a number in the unit of the output, 0 or more, or "off"`)
	}
	return nil
}

// rule is one tolerance of one output at one place: on a metric, relative or absolute.
type rule struct {
	metric   dataset.Metric
	relative bool
	limit    float64 // fraction when relative or a share, else in the unit of the output
}

// entry is one of [Figures], of which one of share and bound is set.
type entry struct {
	metric dataset.Metric
	share  *Share
	bound  *Bound
}

// list has all figures in the order of the report.
func (f Figures) list() []entry {
	return []entry{
		{dataset.RMSE, f.RMSERise, nil},
		{dataset.MAE, f.MAERise, nil},
		{dataset.RMSE, nil, f.RMSE},
		{dataset.MAE, nil, f.MAE},
		{dataset.MaxError, nil, f.MaxError},
		{dataset.Bias, nil, f.Bias},
		{dataset.Accuracy, f.AccuracyDrop, nil},
		{dataset.BalancedAccuracy, f.BalancedAccuracyDrop, nil},
		{dataset.Agreement, f.Disagreement, nil},
	}
}

// rules lists the tolerances that hold for a part of the recordings, in the order of the report.
func (t Tolerance) rules(s Scope) []rule {
	own := t.Region[s.Region]
	if s.Region == "" {
		own = t.Scenario[s.Scenario]
	}
	var all []rule
	special := own.list()
	for i, f := range t.Figures.list() {
		if special[i].share != nil || special[i].bound != nil {
			f = special[i]
		}
		switch {
		case f.share != nil && !f.share.Off:
			all = append(all, rule{f.metric, true, f.share.Value})
		case f.bound != nil && !f.bound.Off:
			all = append(all, rule{f.metric, false, f.bound.Value})
		}
	}
	if t.Explained != nil && s.IsEverywhere() {
		all = append(all, rule{dataset.Explained, false, float64(*t.Explained)})
	}
	return all
}

// isSpecial reports whether the tolerance of a row is one of its scenario or region alone.
func (t Tolerance) isSpecial(l Loss) bool {
	own := t.Region[l.Region]
	if l.Region == "" {
		own = t.Scenario[l.Scenario]
	}
	for _, e := range own.list() {
		if e.metric == l.Metric && (l.Relative && e.share != nil || !l.Relative && e.bound != nil) {
			return true
		}
	}
	return false
}

// checkTolerances looks for names and metrics that the job does not have; scenarios are checked
// when the recordings are known.
func (in loader) checkTolerances() error {
	job := in.Job
	outputs := dataset.OutputNames(in.judged())
	for _, name := range sortedKeys(job.Tolerances) {
		t := job.Tolerances[name]
		if !slices.Contains(outputs, name) {
			return job.at(fault.DidYouMean(name, outputs),
				fmt.Sprintf("tolerance for the unknown output %q", name), "tolerance", name)
		}
		says := t.Explained != nil
		if says && !(*t.Explained < 1) {
			return job.at(`for example explained = "80 %"`, "no network explains everything",
				"tolerance", name, "explained")
		}
		for _, figures := range in.figuresOf(name) {
			for _, f := range figures.list() {
				if f.share == nil && f.bound == nil {
					continue
				}
				says = true
				if !slices.Contains(dataset.Metrics(in.Float.Classes), f.metric) {
					return job.at("a regression has rmse_rise, mae_rise, rmse, mae, max_error, "+
						"bias; a classifier accuracy_drop, balanced_accuracy_drop, disagreement",
						fmt.Sprintf("%s is no metric of this network", f.metric), figures.path...)
				}
			}
		}
		if !says {
			return job.at(`for example { rmse_rise = "5 %" }`, "the tolerance says nothing",
				"tolerance", name)
		}
		for _, region := range sortedKeys(t.Region) {
			if known := job.regionNames(); !slices.Contains(known, region) {
				return job.at(fault.DidYouMean(region, known),
					fmt.Sprintf("tolerance for the unknown region %q", region), "tolerance", name,
					"region", region)
			}
		}
	}
	if len(job.Tolerances) == 0 {
		in.Warnings = append(in.Warnings, "the job gives no tolerance: "+notJudged)
	}
	if len(in.Targets) == 0 {
		in.Warnings = append(in.Warnings, "the job gives no target: no cost is judged")
	}
	in.warnLoose()
	return nil
}

const notJudged = "features and units are not cut, and the loss is not judged"

// checkScenarios looks for scenarios in tolerances of which there are no recordings.
func (in loader) checkScenarios() error {
	known := in.Selection.Scenarios()
	for _, s := range in.Signoff.Scenarios() {
		if !slices.Contains(known, s) {
			known = append(known, s)
		}
	}
	for _, output := range sortedKeys(in.Job.Tolerances) {
		for _, name := range sortedKeys(in.Job.Tolerances[output].Scenario) {
			if !slices.Contains(known, name) {
				return in.Job.at(fault.DidYouMean(name, known),
					fmt.Sprintf("tolerance for the unknown scenario %q", name), "tolerance", output,
					"scenario", name)
			}
		}
	}
	if len(in.Job.Tolerances) > 0 && !in.JudgesLoss() {
		in.Warnings = append(in.Warnings, "every tolerance is off: "+notJudged)
	}
	return nil
}

// placedFigures are figures with their place in the job.
type placedFigures struct {
	Figures
	path []any
}

// figuresOf lists the general figures of an output, then those of scenarios and regions.
func (in *Inputs) figuresOf(output string) []placedFigures {
	t := in.Job.Tolerances[output]
	all := []placedFigures{{t.Figures, []any{"tolerance", output}}}
	for _, name := range sortedKeys(t.Scenario) {
		all = append(all,
			placedFigures{t.Scenario[name], []any{"tolerance", output, "scenario", name}})
	}
	for _, name := range sortedKeys(t.Region) {
		all = append(all, placedFigures{t.Region[name], []any{"tolerance", output, "region", name}})
	}
	return all
}

// checkExplained refuses tolerances on the explained share of what does not move: there a constant
// makes no error, and nothing can be explained.
func (in *Inputs) checkExplained() error {
	for _, rec := range []*dataset.Recordings{in.Selection, in.Signoff} {
		for o, output := range in.judged() {
			if in.Job.Tolerances[output.Name].Explained == nil ||
				in.errorOf(in.measureConstant(rec), o) > 0 {
				continue
			}
			return in.Job.at("give a tolerance on its error instead, such as rmse",
				fmt.Sprintf("%s stands still in the %s recordings, so no share of it can be "+
					"explained",
					output.Name, setOf(rec == in.Signoff)), "tolerance", output.Name, "explained")
		}
	}
	return nil
}

// JudgesLoss reports whether a tolerance holds anywhere: the job gives some, and not all are off.
func (in *Inputs) JudgesLoss() bool {
	for o := range in.judged() {
		if len(in.judgedPlaces(o)) > 0 {
			return true
		}
	}
	return false
}

// judgedPlaces are the places at which an output has a tolerance.
func (in *Inputs) judgedPlaces(output int) []place {
	tolerance := in.Job.Tolerances[in.judged()[output].Name]
	return slices.DeleteFunc(in.places(in.Selection, output), func(p place) bool {
		return len(tolerance.rules(p.Scope)) == 0
	})
}

// judgesExplained reports whether any tolerance is on an explained share.
func (in *Inputs) judgesExplained() bool {
	for _, t := range in.Job.Tolerances {
		if t.Explained != nil {
			return true
		}
	}
	return false
}

func (j *Job) regionNames() []string {
	names := make([]string, len(j.Regions))
	for i, r := range j.Regions {
		names[i] = r.Name
	}
	return names
}

// warnLoose names relative tolerances that let an error more than double, in one note.
func (in loader) warnLoose() {
	var loose []string
	for _, output := range sortedKeys(in.Job.Tolerances) {
		for _, figures := range in.figuresOf(output) {
			for _, f := range figures.list() {
				if f.share != nil && f.share.Value > 1 {
					text := fmt.Sprintf("%s of %s: %.4g %%", f.metric, output, 100*f.share.Value)
					if len(figures.path) > 2 {
						text += fmt.Sprintf(" in %s %s", figures.path[2], figures.path[3])
					}
					loose = append(loose, text)
				}
			}
		}
	}
	if len(loose) > 0 {
		in.Warnings = append(in.Warnings,
			"tolerances above 100 % let an error more than double: "+strings.Join(loose, "; "))
	}
}
