package budget

import (
	"slices"
	"sort"
	"strings"

	"kerf/dataset"
	"kerf/prune"
)

// The sorts of item that a cut takes away. A front end is a cost group with all its features: its
// code often takes more than the weights that go with it. A channel is what is computed of its
// samples: with the last of these features it is no longer sampled.
const (
	FrontEndItem = "front_end"
	ChannelItem  = "channel"
	FeatureItem  = "feature"
	UnitItem     = "unit"
)

// item is one thing that can be taken away.
type item struct {
	sort     string   // FrontEndItem, ChannelItem, FeatureItem or UnitItem
	names    []string // of what goes together, see several; else one
	share    float64  // of the score, in its worst case; of several features the sum over them
	features []int    // of the trained network
	units    []prune.Unit
}

// key stands for the item in a map: names of one sort differ, and no name holds a control character
// ([dataset.NameFault]).
func (i item) key() string { return itemKey(i.sort, i.names) }

func itemKey(sort string, names []string) string {
	return sort + "\x00" + strings.Join(names, "\x00")
}

// items lists what the pins of the job leave to be cut, the least needed first within each sort.
// The only unit of a layer stays.
func (in *Inputs) items(cut *Cut) []item {
	var all []item
	add := func(sort, name string, least int, has func(feature int) bool) {
		group := item{sort: sort, names: []string{name}}
		pinned := false
		for _, r := range cut.FeatureRank {
			if has(r.Item) {
				group.features = append(group.features, r.Item)
				group.share += r.Share
				pinned = pinned || in.pins.keepFeature[r.Item]
			}
		}
		if !pinned && len(group.features) >= least {
			all = append(all, group)
		}
	}
	for _, g := range in.Job.FrontEnds {
		add(FrontEndItem, g.Name, 0, func(i int) bool {
			return in.Float.Features[i].FrontEnd == g.Name
		})
	}
	for c, name := range in.Raw.ChannelNames() {
		add(ChannelItem, name, 2, func(i int) bool { return in.isComputedFrom(i, c) })
	}
	sort.SliceStable(all, func(a, b int) bool { return all[a].share < all[b].share })
	for _, r := range cut.FeatureRank {
		if !in.pins.keepFeature[r.Item] {
			all = append(all, item{sort: FeatureItem, names: []string{r.Name}, share: r.Share,
				features: []int{r.Item}})
		}
	}
	units := prune.Units(in.Float.Net)
	for _, r := range cut.UnitRank {
		if u := units[r.Item]; !in.pins.keepUnit[u] && in.Float.Net.Recurrent[u.Layer].Units > 1 {
			all = append(all, item{sort: UnitItem, names: []string{r.Name}, share: r.Share,
				units: []prune.Unit{u}})
		}
	}
	return all
}

// several joins items of one sort into one that goes in a single step.
func several(items []item) item {
	joint := item{sort: items[0].sort}
	for _, i := range items {
		joint.names = append(joint.names, i.names...)
		joint.share += i.share
		joint.features = append(joint.features, i.features...)
		joint.units = append(joint.units, i.units...)
	}
	return joint
}

// change says in words what happens with an item.
func (i item) change(what string) string {
	names := dataset.ListNames(i.names)
	switch {
	case i.sort == FrontEndItem:
		return "front end " + names + " " + what
	case i.sort == ChannelItem:
		return "all that is computed of channel " + names + " " + what
	case i.sort == UnitItem && len(i.names) > 1:
		return "units " + names + " " + what
	case i.sort == UnitItem:
		return "unit " + names + " " + what
	}
	return names + " " + what
}

// without takes an item out of a candidate. It is no attempt if the item is gone
// already, or if it is the last feature or the last unit of a layer.
func (i item) without(c Candidate) (smaller Candidate, ok bool) {
	smaller = c
	smaller.Recovered = nil // a smaller network was not trained
	smaller.Features = withoutThese(c.Features, i.features)
	ok = len(smaller.Features) > 0
	smaller.Units = nil
	for l, units := range c.Units {
		kept := slices.DeleteFunc(slices.Clone(units), func(j int) bool {
			return slices.Contains(i.units, prune.Unit{Layer: l, Index: j})
		})
		smaller.Units = append(smaller.Units, kept)
		ok = ok && len(kept) > 0
	}
	gone := len(smaller.Features) < len(c.Features) || smaller.UnitCount() < c.UnitCount()
	return smaller, ok && gone
}
