package budget

import (
	"fmt"
	"slices"
	"strconv"

	"kerf/dataset"
	"kerf/fault"
	"kerf/prune"
	"kerf/quant"
	"kerf/targets"
)

// FeatureRule names the table of features, and those that the search must keep or drop.
type FeatureRule struct {
	// This file lists the features in the order of the network. Required.
	File string `toml:"file"`

	// These features stay, whatever is measured. Default: none.
	Keep []string `toml:"keep"`

	// These features go, whatever is measured. Default: none.
	Drop []string `toml:"drop"`
}

// UnitRule names hidden units that the search must keep or drop, by their names in kerf rank.
type UnitRule struct {
	// These units stay, whatever is measured: `[3, 7]`, by the numbers that `kerf rank` shows, or
	// `["0.3", "1.7"]` with several recurrent layers. Default: none.
	Keep UnitList `toml:"keep"`

	// These units go, whatever is measured. Default: none.
	Drop UnitList `toml:"drop"`

	// So many units stay, whatever is cheaper: `4`, or with several recurrent layers a number for
	// each, `[6, 4]`: a row of `kerf units`. Default: the number is searched.
	Count Counts `toml:"count"`
}

// Counts are numbers of units, one per recurrent layer.
type Counts []int

// UnmarshalTOML reads a number, or a list of numbers.
func (c *Counts) UnmarshalTOML(v any) error {
	list, ok := v.([]any)
	if !ok {
		list = []any{v}
	}
	for _, entry := range list {
		n, ok := entry.(int64)
		if !ok {
			return targets.BadValue(fmt.Sprint(v), "no number of units",
				"write 4; with several recurrent layers a number for each, [6, 4]")
		}
		*c = append(*c, int(n))
	}
	return nil
}

// checkCount refuses numbers of units that the network does not have.
func (in loader) checkCount() error {
	counts, layers := in.Job.Units.Count, in.Float.Net.Recurrent
	if counts == nil {
		return nil
	}
	if len(counts) != len(layers) {
		return in.Job.at("a number for each recurrent layer, as a row of kerf units has them",
			fmt.Sprintf("the network has %d recurrent layers, count gives %d numbers", len(layers),
				len(counts)), "units", "count")
	}
	start := in.start(quant.Formats{})
	for l, n := range counts {
		if most := len(start.Units[l]); n < 1 || n > most {
			return in.Job.at(fmt.Sprintf("1 to %d", most),
				fmt.Sprintf("%d units cannot stay of recurrent layer %d", n, l), "units", "count")
		}
	}
	return nil
}

// UnitList is a list of unit names.
type UnitList []string

// UnmarshalTOML reads numbers, and texts for units of several layers.
func (l *UnitList) UnmarshalTOML(v any) error {
	list, ok := v.([]any)
	if !ok {
		return notUnits(v)
	}
	for _, entry := range list {
		switch entry := entry.(type) {
		case int64:
			*l = append(*l, strconv.FormatInt(entry, 10))
		case string:
			*l = append(*l, entry)
		default:
			return notUnits(entry)
		}
	}
	return nil
}

func notUnits(v any) error {
	return targets.BadValue(fmt.Sprint(v), "not a list of units",
		`write [3, 7]; with several recurrent layers ["0.3", "1.7"]`)
}

// pins are the features and units that the job keeps or drops, whatever is measured.
type pins struct {
	keepFeature, dropFeature map[int]bool
	keepUnit, dropUnit       map[prune.Unit]bool
}

func (in loader) checkPins() error {
	p := pins{map[int]bool{}, map[int]bool{}, map[prune.Unit]bool{}, map[prune.Unit]bool{}}
	features := dataset.FeatureNames(in.Float.Features)
	units := prune.Units(in.Float.Net)
	var unitNames []string
	for _, u := range units {
		unitNames = append(unitNames, prune.UnitName(in.Float.Net, u))
	}
	for _, list := range []struct {
		table, key string
		names      []string
		known      []string
		hint       string
		other      func(i int) bool
		set        func(i int)
	}{
		{"features", "keep", in.Job.Features.Keep, features, "features.csv declares the features",
			nil, func(i int) {
				p.keepFeature[i] = true
			}},
		{"features", "drop", in.Job.Features.Drop, features, "features.csv declares the features",
			func(i int) bool {
				return p.keepFeature[i]
			}, func(i int) { p.dropFeature[i] = true }},
		{"units", "keep", in.Job.Units.Keep, unitNames, "kerf rank lists the units", nil,
			func(i int) {
				p.keepUnit[units[i]] = true
			}},
		{"units", "drop", in.Job.Units.Drop, unitNames, "kerf rank lists the units",
			func(i int) bool {
				return p.keepUnit[units[i]]
			}, func(i int) { p.dropUnit[units[i]] = true }},
	} {
		for at, name := range list.names {
			i := slices.Index(list.known, name)
			if i < 0 {
				return in.Job.at(fault.DidYouMeanOr(name, list.known, list.hint),
					fmt.Sprintf("unknown %s %q", list.table[:len(list.table)-1], name), list.table,
					list.key, at)
			}
			if list.other != nil && list.other(i) {
				return in.Job.at("remove it from one of the two lists",
					fmt.Sprintf("%q is to be kept and to be dropped", name), list.table, list.key,
					at)
			}
			list.set(i)
		}
	}
	in.pins = p
	start := in.start(quant.Formats{})
	if len(start.Features) == 0 {
		return in.Job.at("a network needs a feature", "every feature is to be dropped", "features",
			"drop")
	}
	for l, kept := range start.Units {
		if len(kept) == 0 {
			return in.Job.at("every recurrent layer needs a unit",
				fmt.Sprintf("every unit of layer %d is to be dropped", l), "units", "drop")
		}
	}
	return in.checkCount()
}

// start is the whole network less what the job drops: where the search begins.
func (in *Inputs) start(formats quant.Formats) Candidate {
	c := in.Whole(formats)
	c.Features = slices.DeleteFunc(c.Features, func(k int) bool { return in.pins.dropFeature[k] })
	for l := range c.Units {
		c.Units[l] = slices.DeleteFunc(c.Units[l], func(j int) bool {
			return in.pins.dropUnit[prune.Unit{Layer: l, Index: j}]
		})
	}
	return c
}
