package budget

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"kerf/fault"
	"kerf/portable"
)

// SearchRule says what the search minimises, and how long it may look.
type SearchRule struct {
	// The search minimises this cost: "flash", "ram", "cycles" or "energy", on the target where it
	// is tightest. Default: flash, RAM, cycles and energy on all targets together, and first what
	// takes more than 80 % of a limit.
	Objective Resource `toml:"objective"`

	// No further cut is tried after this time; the result then depends on the machine. Default: the
	// search goes on until nothing more can go.
	Time *Seconds `toml:"time"`
}

// objectives are the resources that a job may name.
var objectives = []Resource{Flash, RAM, Cycles, Energy}

func (in *Inputs) checkSearch() error {
	s := in.Job.Search
	if s.Time != nil && *s.Time <= 0 {
		return in.Job.at(`for example time = "30 s"`, "a search of no time finds nothing", "search",
			"time")
	}
	if s.Objective != "" && !slices.Contains(objectives, s.Objective) {
		known := make([]string, len(objectives))
		for i, o := range objectives {
			known[i] = string(o)
		}
		return in.Job.at(fault.DidYouMeanOr(string(s.Objective), known,
			"flash, ram, cycles or energy; left out, all of them together"),
			fmt.Sprintf("%q is no objective", s.Objective), "search", "objective")
	}
	known := func(c Cost) bool { return c.Resource == s.Objective }
	if s.Objective == Energy && !slices.ContainsFunc(in.Costs(in.widest()), known) {
		return in.Job.at("a target has energy figures with active_current and voltage",
			"no target says what a step takes of energy", "search", "objective")
	}
	return nil
}

// comfortable is the share of a limit up to which room is room: a choice does not get dearer
// elsewhere to leave more of it. Our choice: what grows by a quarter still fits.
const comfortable = 0.8

// price is what a candidate costs by the objective of the job. Prices compare field by field, from
// the first to the last.
type price struct {
	broken int     // limits, over all targets
	excess float64 // how far they are broken, as shares of them, added up
	// The largest share of any limit, at least comfortable; of flash in the form that takes least,
	// see [Inputs.leastFlash]. Of a named objective the share of that resource, on the target that
	// takes the largest, see [pricing.share].
	share float64
	// in how many resources of targets it is above the uncut network in the same words; of a named
	// objective 0
	grown int
	// The geometric mean of cost/uncut cost over targets and resources, of which it knows all of
	// objectives; in a job without targets that of the bytes. Of a named objective the share. It is
	// what tables show.
	mean  float64
	bytes float64 // flash of weights and front ends, and RAM of the state
}

func (p price) compare(q price) int {
	return cmp.Or(cmp.Compare(p.broken, q.broken), cmp.Compare(p.excess, q.excess),
		cmp.Compare(p.share, q.share), cmp.Compare(p.grown, q.grown),
		cmp.Compare(p.mean, q.mean), cmp.Compare(p.bytes, q.bytes))
}

// pricing turns costs into a price.
type pricing struct {
	resource Resource // the objective that the job names, or empty
	// what the whole network in its widest formats takes, by target and resource
	uncut map[quantity]float64
	bytes float64 // of that network, as of price
	costs []Cost  // totals of that network, in the fast form where the job names none
	words string  // the objective in words
}

// quantity is a resource of a target.
type quantity struct {
	target   string
	resource Resource
}

func (c *Cost) quantity() quantity { return quantity{c.Target, c.Resource} }

// pricing says what candidates of the job are priced by.
func (in *Inputs) pricing() *pricing {
	widest := in.widest()
	var costs []Cost
	for _, t := range in.Targets {
		costs = append(costs, in.costsWith(widest, t, nil)...)
	}
	p := &pricing{resource: in.Job.Search.Objective, uncut: map[quantity]float64{},
		bytes: in.bytes(widest), costs: totals(costs)}
	limited := false
	var names []string
	for _, c := range p.costs {
		p.uncut[c.quantity()] = c.Value
		limited = limited || !math.IsNaN(c.Limit)
		if name := resourceWords[c.Resource]; name != "" && !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	switch {
	case p.resource != "":
		p.words = resourceWords[p.resource]
		if len(in.Targets) > 1 {
			p.words += ", on the target where it is tightest"
		}
		return p
	case len(names) == 0:
		p.words = "flash of the weights and RAM of the state, as a share of the uncut network"
	default:
		last := len(names) - 1
		p.words = "the geometric mean of " + strings.Join(names[:last], ", ") + " and " +
			names[last] + ", each as a share of the uncut network"
	}
	if limited {
		p.words += fmt.Sprintf("; what takes more than %.0f %% of a limit comes first",
			100*comfortable)
	}
	return p
}

// resourceWords are the names of objectives in sentences.
var resourceWords = map[Resource]string{Flash: "flash", RAM: "RAM", Cycles: "cycles",
	Energy: "energy"}

// Objective says in words what the search minimises.
func (in *Inputs) Objective() string { return in.pricing().words }

// priceOf is what a candidate costs.
func (pl *Planner) priceOf(candidate Candidate) price {
	return pl.price(candidate, pl.in.Costs(candidate))
}

// bytes are the flash of weights and front ends and the RAM of the state of a candidate.
func (in *Inputs) bytes(c Candidate) float64 {
	bytes := in.flash(c) + float64(in.Shape(c).StateBytes())
	if n := in.integers(c); n != nil {
		bytes += float64(n.StateBytes())
	}
	return bytes
}

// price is [Planner.priceOf] for costs that are known.
func (pl *Planner) price(candidate Candidate, costs []Cost) price {
	p := pl.prices
	sum := brokenPart(costs)
	sum.bytes = pl.in.bytes(candidate)
	if p.resource == "" {
		sum.share = comfortable
		sum.grown = len(pl.in.aboveUncut(candidate, costs))
	}
	logs, terms := 0.0, 0
	for _, c := range totals(costs) {
		if share, ok := p.share(c); ok {
			if share > comfortable {
				share, _ = pl.counted(candidate, c)
			}
			sum.share = math.Max(sum.share, share)
		}
		if p.resource == "" && slices.Contains(objectives, c.Resource) {
			logs += portable.Log(c.Value / p.uncut[c.quantity()])
			terms++
		}
	}
	switch {
	case p.resource != "":
		sum.mean = sum.share
	case terms == 0:
		sum.mean = sum.bytes / p.bytes
	default:
		sum.mean = portable.Exp(logs / float64(terms))
	}
	return sum
}

// share is what a total counts as by itself: of a limit its share, of a named objective without a
// limit the share of the uncut network. It is not ok if it does not count.
func (p *pricing) share(c Cost) (share float64, ok bool) {
	if p.resource != "" && c.Resource != p.resource || p.resource == "" && math.IsNaN(c.Limit) {
		return 0, false
	}
	if share = c.Used(); math.IsNaN(share) {
		share = c.Value / p.uncut[c.quantity()]
	}
	return share, true
}

// aboveUncut lists what a candidate takes more of than the whole network in the same words and
// forms: another number of columns needs another copy of a kernel. Front ends are in both.
func (in *Inputs) aboveUncut(c Candidate, costs []Cost) []Growth {
	whole := in.Whole(c.Formats)
	whole.shifts = c.shifts // for want of its own
	var all []Growth
	uncut := totals(in.costsLike(whole, costs))
	for i, row := range totals(costs) {
		if before := uncut[i].Value; slices.Contains(objectives, row.Resource) &&
			row.Value > before {
			all = append(all, Growth{row.Resource, row.Target, row.Value/before - 1})
		}
	}
	return all
}

// counted is [pricing.share] of a total of a candidate, of flash in the form that takes least.
func (pl *Planner) counted(candidate Candidate, c Cost) (share float64, ok bool) {
	share, ok = pl.prices.share(c)
	if ok && pl.prices.resource == "" && c.Resource == Flash {
		least := pl.in.leastFlash(candidate, c)
		share = least.Used()
	}
	return share, ok
}

// decisive is the total whose share is the price, the first of equals, and its share; there is none
// where no total counts.
func (pl *Planner) decisive(p *Point) (most Cost, share float64) {
	share = math.Inf(-1)
	for _, c := range totals(p.Costs) {
		if one, counts := pl.counted(p.Candidate, c); counts && one > share {
			most, share = c, one
		}
	}
	return most, share
}

// limitsUsed is the largest share of any limit of one target; NaN without limits.
func limitsUsed(costs []Cost, target string) float64 {
	most := math.NaN()
	for _, c := range totals(costs) {
		if s := c.Used(); c.Target == target && !math.IsNaN(s) && !(s <= most) {
			most = s
		}
	}
	return most
}
