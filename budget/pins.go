package budget

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

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

	// These features stay, whatever is measured: names, and "channel:NAME" for all features of a
	// channel. Default: none.
	Keep []string `toml:"keep"`

	// These features go, whatever is measured: names, and "channel:NAME" for all features of a
	// channel, such as those of a sensor that shall be left out. Default: none.
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

// fewestUnits is how many units of a recurrent layer stay at least: those that are kept, and one.
func (p *pins) fewestUnits(layer int) int {
	kept := 0
	for u := range p.keepUnit {
		if u.Layer == layer {
			kept++
		}
	}
	return max(1, kept)
}

// countFault says why so many units per recurrent layer cannot stay; empty where they can.
func (in *Inputs) countFault(counts []int) (msg, hint string) {
	start := in.start(quant.Formats{})
	if len(counts) != len(start.Units) {
		return fmt.Sprintf("numbers of units: %d, recurrent layers of the network: %d",
				len(counts), len(start.Units)),
			"a number for each layer, as a row of kerf units has them"
	}
	for l, n := range counts {
		if least, most := in.pins.fewestUnits(l), len(start.Units[l]); n < least || n > most {
			return fmt.Sprintf("%d units cannot stay of recurrent layer %d", n, l),
				fmt.Sprintf("%d to %d", least, most)
		}
	}
	return "", ""
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
	units := prune.Units(in.Float.Net)
	var unitNames []string
	for _, u := range units {
		unitNames = append(unitNames, prune.UnitName(in.Float.Net, u))
	}
	unitNamed := func(name string) ([]int, *fault.Error) {
		if i := slices.Index(unitNames, name); i >= 0 {
			return []int{i}, nil
		}
		return nil, fault.New(fmt.Sprintf("unknown unit %q", name),
			fault.DidYouMeanOr(name, unitNames, "kerf rank lists the units"))
	}
	never := func(int) bool { return false }
	for _, list := range []struct {
		table, key string
		names      []string
		named      func(name string) ([]int, *fault.Error)
		isKept     func(i int) bool
		nameOf     func(i int) string
		set        func(i int)
	}{
		{"features", "keep", in.Job.Features.Keep, in.featuresNamed, never, nil,
			func(i int) { p.keepFeature[i] = true }},
		{"features", "drop", in.Job.Features.Drop, in.featuresNamed,
			func(i int) bool { return p.keepFeature[i] },
			func(i int) string { return in.Float.Features[i].Name },
			func(i int) { p.dropFeature[i] = true }},
		{"units", "keep", in.Job.Units.Keep, unitNamed, never, nil,
			func(i int) { p.keepUnit[units[i]] = true }},
		{"units", "drop", in.Job.Units.Drop, unitNamed,
			func(i int) bool { return p.keepUnit[units[i]] },
			func(i int) string { return unitNames[i] },
			func(i int) { p.dropUnit[units[i]] = true }},
	} {
		for at, name := range list.names {
			items, err := list.named(name)
			if err != nil {
				return in.Job.at(err.Hint, err.Msg, list.table, list.key, at)
			}
			for _, i := range items {
				if list.isKept(i) {
					return in.Job.at("remove it from one of the two lists",
						fmt.Sprintf("%q is to be kept and to be dropped", list.nameOf(i)),
						list.table, list.key, at)
				}
				list.set(i)
			}
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
	if counts := in.Job.Units.Count; counts != nil {
		if msg, hint := in.countFault(counts); msg != "" {
			return in.Job.at(hint, msg, "units", "count")
		}
	}
	return nil
}

// ChannelPrefix stands before the name of a channel where the job names features.
const ChannelPrefix = "channel:"

// featuresNamed returns the feature of a name, or all features of a channel.
func (in *Inputs) featuresNamed(name string) ([]int, *fault.Error) {
	names := dataset.FeatureNames(in.Float.Features)
	channel, isChannel := strings.CutPrefix(name, ChannelPrefix)
	var members []int
	if isChannel {
		members = in.channel(channel)
	}
	i := slices.Index(names, name)
	switch {
	case i >= 0 && len(members) > 0:
		return nil, fault.New(fmt.Sprintf("%q is a feature, and means all of channel %q as well",
			name, channel), "give the feature another name in features.csv, and in the recordings")
	case i >= 0:
		return []int{i}, nil
	case len(members) > 0:
		return members, nil
	case isChannel:
		return nil, fault.New(fmt.Sprintf("unknown channel %q", channel),
			fault.DidYouMeanOr(name, in.channels(ChannelPrefix), channelHint))
	}
	return nil, fault.New(fmt.Sprintf("unknown feature %q", name),
		fault.DidYouMeanOr(name, append(names, in.channels(ChannelPrefix)...),
			"features.csv declares the features"))
}

const channelHint = "features.csv declares the channels"

// channel lists the features of a channel.
func (in *Inputs) channel(name string) []int {
	var members []int
	for i, f := range in.Float.Features {
		if f.Channel == name && name != "" {
			members = append(members, i)
		}
	}
	return members
}

// channels lists the channels of the features, each behind a prefix.
func (in *Inputs) channels(prefix string) []string {
	var all []string
	for _, f := range in.Float.Features {
		if f.Channel != "" && !slices.Contains(all, prefix+f.Channel) {
			all = append(all, prefix+f.Channel)
		}
	}
	return all
}

// WithoutChannels returns the same inputs with all features of the named channels dropped.
func (in *Inputs) WithoutChannels(channels []string) (*Inputs, error) {
	changed := *in
	changed.pins.dropFeature = maps.Clone(in.pins.dropFeature)
	for _, name := range channels {
		members := in.channel(name)
		if len(members) == 0 {
			return nil, fault.New(fmt.Sprintf("unknown channel %q", name),
				fault.DidYouMeanOr(name, in.channels(""), channelHint))
		}
		for _, i := range members {
			if in.pins.keepFeature[i] {
				return nil, in.Job.at("take it out of keep to see what goes with the channel",
					fmt.Sprintf("feature %q of channel %q is to be kept",
						in.Float.Features[i].Name, name), "features", "keep")
			}
			changed.pins.dropFeature[i] = true
		}
	}
	if len(changed.pins.dropFeature) == len(in.Float.Features) {
		return nil, fault.New("no feature is left without "+dataset.ListNames(channels),
			"a network needs a feature")
	}
	return &changed, nil
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
