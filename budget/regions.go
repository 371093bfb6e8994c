package budget

import (
	"fmt"
	"math"

	"kerf/dataset"
	"kerf/fault"
	"kerf/prune"
)

// regions turns the rules into conditions on output columns.
func (j *Job) regions(outputs []dataset.Output) ([]dataset.Region, error) {
	column := map[string]int{}
	for i, o := range outputs {
		column[o.Name] = i
	}
	other := func(name *string, path ...any) (*int, error) {
		if name == nil {
			return nil, nil
		}
		c, ok := column[*name]
		if !ok {
			return nil, j.at(fault.DidYouMeanOr(*name, dataset.OutputNames(outputs),
				"below and above take the name of an output; for a number write max or min"),
				fmt.Sprintf("unknown output %q", *name), path...)
		}
		return &c, nil
	}
	var regions []dataset.Region
	seen := map[string]bool{}
	for i, rule := range j.Regions {
		if rule.Name == "" || seen[rule.Name] {
			return nil, j.at("every region has a name of its own",
				"the region has no name, or that of another one", "region", i)
		}
		if fault := dataset.NameFault(rule.Name); fault != "" {
			return nil, j.badName(fault, "region", i, "name")
		}
		if rule.Name == prune.All {
			return nil, j.at(`"all" stands for all recordings; choose another name`,
				`"all" cannot name a region`, "region", i, "name")
		}
		seen[rule.Name] = true
		if len(rule.Where) == 0 {
			return nil, j.at(`for example where.air = { min = 4.0 }`, "the region has no condition",
				"region", i)
		}
		region := dataset.Region{Name: rule.Name}
		for _, name := range sortedKeys(rule.Where) {
			c, ok := column[name]
			if !ok {
				return nil, j.at(fault.DidYouMean(name, dataset.OutputNames(outputs)),
					fmt.Sprintf("unknown output %q", name), "region", i, "where", name)
			}
			condition := dataset.Condition{Output: c, Min: rule.Where[name].Min,
				Max: rule.Where[name].Max}
			for key, bound := range map[string]*float64{"min": condition.Min,
				"max": condition.Max} {
				if bound != nil && (math.IsNaN(*bound) || math.IsInf(*bound, 0)) {
					return nil, j.at("a bound is a number in the unit of the output",
						fmt.Sprintf("%g bounds nothing", *bound), "region", i, "where", name, key)
				}
			}
			var err error
			if condition.Below, err = other(rule.Where[name].Below, "region", i, "where", name,
				"below"); err != nil {
				return nil, err
			}
			if condition.Above, err = other(rule.Where[name].Above, "region", i, "where", name,
				"above"); err != nil {
				return nil, err
			}
			if condition.Min != nil && condition.Max != nil && *condition.Min > *condition.Max {
				return nil, j.at("min and max of one output bound it from both sides",
					fmt.Sprintf("min %g is above max %g: nothing lies between", *condition.Min,
						*condition.Max), "region", i, "where", name)
			}
			if (condition.Below != nil && *condition.Below == c) ||
				(condition.Above != nil && *condition.Above == c) {
				return nil, j.at("below and above take the name of another output",
					fmt.Sprintf("%s is compared with itself", name), "region", i, "where", name)
			}
			region.Conditions = append(region.Conditions, condition)
		}
		regions = append(regions, region)
	}
	return regions, nil
}
