package main

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/pflag"

	"kerf/budget"
	"kerf/dataset"
	"kerf/fault"
	"kerf/prune"
	"kerf/quant"
)

// choice is a candidate as the options give it. What they leave out is chosen as plan chooses it.
type choice struct {
	features, units nameList
	counts          []int // of units, per recurrent layer; nil: as the job says, or searched
	weights, state  string
}

// nameList is the value of an option that takes names, as they stand between the commas.
type nameList []string

// Set implements [pflag.Value]. An option that is given again adds names.
func (l *nameList) Set(text string) error {
	names, err := dataset.ParseNames(text)
	if err != nil {
		return fmt.Errorf("%w; a name that holds a comma or a quotation mark stands in quotes "+
			`as in CSV, with quotation marks doubled: '"return, slope",supply_level'`, err)
	}
	*l = append(*l, names...)
	return nil
}

// String implements [pflag.Value].
func (l *nameList) String() string { return dataset.ListNames(*l) }

// Type implements [pflag.Value]: the usage text shows the type.
func (l *nameList) Type() string { return "names" }

// isAll reports whether everything is to be kept, which is also so where nothing is named.
func (l nameList) isAll() bool { return len(l) == 0 || len(l) == 1 && l[0] == prune.All }

// Usage texts of options that take names.
const (
	namesInCSV = `names with commas, one that holds a comma in quotes as in CSV ('"a, b",c')`
	namesOrAll = namesInCSV + `, or "all"`
)

// The options that name what stays.
const (
	keepFeatures = "keep-features"
	keepUnits    = "keep-units"
)

// renamed are the former names of options. They read like numbers of features and units.
var renamed = map[string]string{"features": keepFeatures, "units": keepUnits}

// cutFlags adds the options of the features and units that stay.
func (c *choice) cutFlags(flags *pflag.FlagSet) {
	flags.Var(&c.features, keepFeatures, "keep exactly these features: "+namesOrAll)
	flags.Var(&c.units, keepUnits,
		`keep exactly these units, not so many: names as in kerf rank, with commas, or "all"`)
	c.countFlag(flags)
}

// unitsCount is the option that says how many units stay.
const unitsCount = "units-count"

// countFlag adds the option of the number of units.
func (c *choice) countFlag(flags *pflag.FlagSet) {
	flags.IntSliceVar(&c.counts, unitsCount, nil, "keep so many units, a row of kerf units: 4; "+
		"with several recurrent layers a number for each, 6,4")
}

// formatFlags adds the options of the word widths.
func (c *choice) formatFlags(flags *pflag.FlagSet) {
	flags.StringVar(&c.weights, "weights", "", "int4, int8 or int16")
	flags.StringVar(&c.state, "state", "", "int16 or int32")
}

// byHand lists the choice for the manifest, as what=value: there is an entry for each name,
// whatever characters the name holds.
func (c choice) byHand() []string {
	var list []string
	for _, name := range c.features {
		list = append(list, "feature="+name)
	}
	for _, name := range c.units {
		list = append(list, "unit="+name)
	}
	for _, n := range c.counts {
		list = append(list, "units_count="+strconv.Itoa(n))
	}
	if c.weights != "" {
		list = append(list, "weights="+c.weights)
	}
	if c.state != "" {
		list = append(list, "state="+c.state)
	}
	return list
}

// choiceFrom returns the choice that byHand listed.
func choiceFrom(list []string) (choice, error) {
	var c choice
	for _, item := range list {
		what, value, _ := strings.Cut(item, "=")
		switch what {
		case "feature":
			c.features = append(c.features, value)
		case "unit":
			c.units = append(c.units, value)
		case "units_count":
			n, err := strconv.Atoi(value)
			if err != nil {
				return c, fmt.Errorf("the manifest names the number of units %q", value)
			}
			c.counts = append(c.counts, n)
		case "weights":
			c.weights = value
		case "state":
			c.state = value
		default:
			return c, fmt.Errorf("the manifest names the unknown choice %q", item)
		}
	}
	return c, nil
}

// choose finds a candidate: features and units by the search where c names none, word widths as
// narrow as the tolerances allow where c gives none.
func (a *app) choose(ctx context.Context, in *budget.Inputs, c choice) (*budget.Planner,
	*budget.Cut, *budget.Chosen, error) {
	in, err := in.WithFormats(c.weights, c.state)
	if err != nil {
		return nil, nil, nil, err
	}
	if c.counts != nil {
		if len(c.features) > 0 || len(c.units) > 0 {
			return nil, nil, nil, fault.New(fmt.Sprintf("--%s says how many units stay, --%s and "+
				"--%s which ones and which features", unitsCount, keepUnits, keepFeatures),
				"give the number or the names")
		}
		if in, err = in.WithUnits(c.counts); err != nil {
			return nil, nil, nil, err
		}
	}
	pl := budget.NewPlanner(in)
	if len(c.features) == 0 && len(c.units) == 0 {
		step, end := a.ui.count("trying cuts")
		cut, err := pl.FindCut(ctx, step)
		end()
		if err != nil {
			return nil, nil, nil, err
		}
		defer a.ui.phase("choosing word widths")()
		chosen, err := pl.Choose(ctx, cut)
		return pl, cut, chosen, err
	}
	candidate := in.Whole(quant.Formats{})
	if candidate.Features, err = pickFeatures(in, c.features); err != nil {
		return nil, nil, nil, err
	}
	if candidate.Units, err = pickUnits(in, c.units); err != nil {
		return nil, nil, nil, err
	}
	defer a.ui.phase("cutting and rounding")()
	cut := budget.CutByHand(candidate)
	chosen, err := pl.Choose(ctx, cut)
	return pl, cut, chosen, err
}

// scoreFeatures computes the scores of the features if the job gives none.
func (a *app) scoreFeatures(ctx context.Context, pl *budget.Planner) error {
	step, end := a.ui.progress("scoring features")
	defer end()
	return pl.ScoreFeatures(ctx, step)
}

// pickFeatures returns the indices of the named features in ascending order, of all where none is
// named.
func pickFeatures(in *budget.Inputs, list nameList) ([]int, error) {
	if list.isAll() {
		return prune.Without(len(in.Float.Features)), nil
	}
	var kept []int
	for _, name := range list {
		i := slices.IndexFunc(in.Float.Features, func(f dataset.Feature) bool {
			return f.Name == name
		})
		if i < 0 {
			return nil, fault.New(fmt.Sprintf("--"+keepFeatures+": unknown feature %q", name),
				fault.DidYouMeanOr(name, dataset.FeatureNames(in.Float.Features),
					`features.csv declares them; `+
						`one that holds a comma stands in quotes, '"a, b",c'`))
		}
		kept = append(kept, i)
	}
	return ascending(kept), nil
}

// pickUnits returns the indices of the named units for each recurrent layer. A name is the number
// of the unit, behind the number of its layer and a point where there are several layers. A layer
// of which no unit is named keeps all.
func pickUnits(in *budget.Inputs, list nameList) ([][]int, error) {
	kept := prune.AllUnits(in.Float.Net)
	if list.isAll() {
		return kept, nil
	}
	byName := map[string]prune.Unit{}
	for _, u := range prune.Units(in.Float.Net) {
		byName[prune.UnitName(in.Float.Net, u)] = u
	}
	chosen := make([][]int, len(kept))
	for _, name := range list {
		u, ok := byName[name]
		if !ok {
			return nil, fault.New(fmt.Sprintf("--"+keepUnits+": %q is no unit", name),
				fault.DidYouMeanOr(name, slices.Sorted(maps.Keys(byName)),
					"kerf rank lists the units"))
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

// ascending sorts indices and drops those that stand twice.
func ascending(indices []int) []int {
	slices.Sort(indices)
	return slices.Compact(indices)
}
