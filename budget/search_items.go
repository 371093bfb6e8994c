package budget

import (
	"slices"
	"sort"
	"strings"

	"kerf/prune"
)

// The sorts of item that a cut takes away. A front end is a cost group with all
// its features: its code often takes more than the weights that go with it.
const (
	FrontEndItem = "front_end"
	FeatureItem  = "feature"
	UnitItem     = "unit"
)

// item is one thing that can be taken away.
type item struct {
	sort     string // FrontEndItem, FeatureItem or UnitItem
	name     string
	share    float64 // of the score, in its worst case; of a front end the sum over its features
	features []int   // of the trained network
	units    []prune.Unit
	several  bool // items that go together, see several
}

// items lists what the pins of the job leave to be cut, the least needed first within each sort. The only unit of a layer stays.
func (in *Inputs) items(cut *Cut) []item {
	var all []item
	for _, g := range in.Job.FrontEnds {
		group := item{sort: FrontEndItem, name: g.Name}
		pinned := false
		for _, r := range cut.FeatureRank {
			if in.Float.Features[r.Item].FrontEnd == g.Name {
				group.features = append(group.features, r.Item)
				group.share += r.Share
				pinned = pinned || in.pins.keepFeature[r.Item]
			}
		}
		if !pinned {
			all = append(all, group)
		}
	}
	sort.SliceStable(all, func(a, b int) bool { return all[a].share < all[b].share })
	for _, r := range cut.FeatureRank {
		if !in.pins.keepFeature[r.Item] {
			all = append(all, item{sort: FeatureItem, name: r.Name, share: r.Share, features: []int{r.Item}})
		}
	}
	units := prune.Units(in.Float.Net)
	for _, r := range cut.UnitRank {
		if u := units[r.Item]; !in.pins.keepUnit[u] && in.Float.Net.Recurrent[u.Layer].Units > 1 {
			all = append(all, item{sort: UnitItem, name: r.Name, share: r.Share, units: []prune.Unit{u}})
		}
	}
	return all
}

// several joins items of one sort into one that goes in a single step.
func several(items []item) item {
	joint := item{sort: items[0].sort, several: true}
	var names []string
	for _, i := range items {
		names = append(names, i.name)
		joint.share += i.share
		joint.features = append(joint.features, i.features...)
		joint.units = append(joint.units, i.units...)
	}
	joint.name = strings.Join(names, ", ")
	return joint
}

// change says in words what happens with an item.
func (i item) change(what string) string {
	switch {
	case i.sort == FrontEndItem:
		return "front end " + i.name + " " + what
	case i.sort == UnitItem && len(i.units) > 1:
		return "units " + i.name + " " + what
	case i.sort == UnitItem:
		return "unit " + i.name + " " + what
	}
	return i.name + " " + what
}

// without takes an item out of a candidate. It is no attempt if the item is gone
// already, or if it is the last feature or the last unit of a layer.
func (i item) without(c Candidate) (smaller Candidate, ok bool) {
	smaller = c
	smaller.Features = slices.DeleteFunc(slices.Clone(c.Features), func(k int) bool { return slices.Contains(i.features, k) })
	ok = len(smaller.Features) > 0
	smaller.Units = nil
	for l, units := range c.Units {
		kept := slices.DeleteFunc(slices.Clone(units), func(j int) bool { return slices.Contains(i.units, prune.Unit{Layer: l, Index: j}) })
		smaller.Units = append(smaller.Units, kept)
		ok = ok && len(kept) > 0
	}
	gone := len(smaller.Features) < len(c.Features) || smaller.UnitCount() < c.UnitCount()
	return smaller, ok && gone
}
