package main

import (
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/pflag"

	"kerf/budget"
	"kerf/dataset"
	"kerf/prune"
	"kerf/quant"
)

// choice is a candidate by hand: what is not given is found as plan finds it.
type choice struct {
	features, units, weights, state string
}

func (c *choice) cutFlags(flags *pflag.FlagSet) {
	flags.StringVar(&c.features, "features", "", `keep exactly these features: names with commas, or "all"`)
	flags.StringVar(&c.units, "units", "", `keep exactly these units: names as in kerf rank, with commas, or "all"`)
}

func (c *choice) formatFlags(flags *pflag.FlagSet) {
	flags.StringVar(&c.weights, "weights", "", "int4, int8 or int16")
	flags.StringVar(&c.state, "state", "", "int16 or int32")
}

// fields are the options that a choice is made of, in a fixed order.
func (c *choice) fields() []choiceField {
	return []choiceField{{"features", &c.features}, {"units", &c.units}, {"weights", &c.weights}, {"state", &c.state}}
}

type choiceField struct {
	option string
	value  *string
}

// byHand lists what was chosen, option=value, for the manifest.
func (c choice) byHand() []string {
	var list []string
	for _, f := range c.fields() {
		if *f.value != "" {
			list = append(list, f.option+"="+*f.value)
		}
	}
	return list
}

// choiceFrom is the choice that byHand listed.
func choiceFrom(list []string) (choice, error) {
	var c choice
	for _, item := range list {
		option, value, _ := strings.Cut(item, "=")
		i := slices.IndexFunc(c.fields(), func(f choiceField) bool { return f.option == option })
		if i < 0 {
			return c, fmt.Errorf("the manifest names the unknown choice %q", item)
		}
		*c.fields()[i].value = value
	}
	return c, nil
}

// assess chooses, trains where the job asks for it, and judges.
func (a *app) assess(in *budget.Inputs, c choice) (*budget.Result, error) {
	cut, chosen, err := a.choose(in, c)
	if err != nil {
		return nil, err
	}
	if chosen, err = a.recovered(in, cut, chosen); err != nil {
		return nil, err
	}
	result, err := a.judge(in, cut, chosen)
	if err != nil {
		return nil, err
	}
	result.ByHand = c.byHand()
	return result, nil
}

// choose finds a candidate; byHand parts replace what the search would take.
func (a *app) choose(in *budget.Inputs, c choice) (*budget.Cut, *budget.Chosen, error) {
	if c.weights != "" {
		in.Job.Formats.Weights = c.weights
	}
	if c.state != "" {
		in.Job.Formats.State = c.state
	}
	if err := in.Job.Formats.Check(); err != nil {
		return nil, nil, &usageError{err.Error(), "weights are int4, int8 or int16, the state is int16 or int32"}
	}
	if c.features == "" && c.units == "" {
		in.ScoreFeatures(a.ui.progress("scoring features,"))
		cut := in.FindCut(a.ui.progress("trying cuts,"))
		chosen, err := a.chooseWords(in, cut)
		return cut, chosen, err
	}
	candidate := in.Whole(quant.Formats{})
	var err error
	if candidate.Features, err = pickFeatures(in, c.features); err != nil {
		return nil, nil, err
	}
	if candidate.Units, err = pickUnits(in, c.units); err != nil {
		return nil, nil, err
	}
	defer a.ui.phase("cutting and rounding")()
	cut := &budget.Cut{Statistics: prune.MeasureStatistics(in.Float, in.Selection)}
	chosen, err := in.ChooseFormats(cut.Statistics, candidate)
	return cut, chosen, err
}

func pickFeatures(in *budget.Inputs, list string) ([]int, error) {
	if list == "" || list == "all" {
		return prune.Without(len(in.Float.Features)), nil
	}
	var kept []int
	for _, name := range strings.Split(list, ",") {
		name = strings.TrimSpace(name)
		i := slices.IndexFunc(in.Float.Features, func(f dataset.Feature) bool { return f.Name == name })
		if i < 0 {
			return nil, &usageError{fmt.Sprintf("--features: unknown feature %q", name), "features.csv declares the features"}
		}
		kept = append(kept, i)
	}
	return ascending(kept), nil
}

// pickUnits reads unit numbers, behind the number of their layer and a point
// where there are several layers. Layers that are not named keep all.
func pickUnits(in *budget.Inputs, list string) ([][]int, error) {
	kept := prune.AllUnits(in.Float.Net)
	if list == "" || list == "all" {
		return kept, nil
	}
	byName := map[string]prune.Unit{}
	for _, u := range prune.Units(in.Float.Net) {
		byName[prune.UnitName(in.Float.Net, u)] = u
	}
	chosen := make([][]int, len(kept))
	for _, text := range strings.Split(list, ",") {
		u, ok := byName[strings.TrimSpace(text)]
		if !ok {
			return nil, &usageError{fmt.Sprintf("--units: %q is no unit", text), "kerf rank lists the units"}
		}
		chosen[u.Layer] = append(chosen[u.Layer], u.Index)
	}
	for l := range chosen {
		if len(chosen[l]) > 0 {
			kept[l] = ascending(chosen[l])
		}
	}
	return kept, nil
}

func ascending(indices []int) []int {
	slices.Sort(indices)
	return slices.Compact(indices)
}
