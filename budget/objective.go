package budget

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"kerf/fault"
)

// SearchRule says what the search minimises, and how long it may look.
type SearchRule struct {
	// The search minimises this cost: "flash", "ram", "cycles" or "energy". Default: the largest
	// share of any limit.
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
			"flash, ram, cycles or energy; left out, the largest share of any limit"),
			fmt.Sprintf("%q is no objective", s.Objective), "search", "objective")
	}
	known := func(c Cost) bool { return c.Resource == s.Objective }
	if s.Objective == Energy && !slices.ContainsFunc(in.Costs(in.widest()), known) {
		return in.Job.at("a target has energy figures with active_current and voltage",
			"no target says what a step takes of energy", "search", "objective")
	}
	return nil
}

// price is what a candidate costs by the objective of the job. Prices compare by broken limits,
// then by share, then by bytes.
type price struct {
	broken int     // limits, over all targets
	excess float64 // how far they are broken, as shares of them, added up
	share  float64 // of the objective, on the target that takes the largest, see pricing
	bytes  float64 // flash of weights and front ends, and RAM of the state
}

func (p price) compare(q price) int {
	return cmp.Or(cmp.Compare(p.broken, q.broken), cmp.Compare(p.share, q.share),
		cmp.Compare(p.bytes, q.bytes))
}

// pricing turns costs into a price.
type pricing struct {
	resource Resource // the objective; empty: every resource that has a limit
	// what the whole network in its widest formats takes, by target and resource
	uncut map[string]float64
	words string // the objective in words
}

// pricing says what candidates of the job are priced by. Without a limit and an objective flash is
// what counts.
func (in *Inputs) pricing() *pricing {
	p := &pricing{resource: in.Job.Search.Objective, uncut: map[string]float64{}}
	limited := false
	for _, c := range totals(in.Costs(in.widest())) {
		p.uncut[c.Target+" "+string(c.Resource)] = c.Value
		limited = limited || !math.IsNaN(c.Limit)
	}
	switch {
	case p.resource == "" && limited:
		p.words = "the largest share of any limit"
	case p.resource == "":
		p.resource = Flash
		fallthrough
	default:
		p.words = map[Resource]string{Flash: "flash", RAM: "RAM", Cycles: "cycles",
			Energy: "energy"}[p.resource]
		if len(in.Targets) > 1 {
			p.words += ", on the target where it is tightest"
		}
	}
	return p
}

// Objective says in words what the search minimises.
func (in *Inputs) Objective() string { return in.pricing().words }

// priceOf is what a candidate costs. A share is that of the limit, or where a target has none
// that of the whole network.
func (pl *Planner) priceOf(candidate Candidate) price {
	return pl.price(candidate, pl.in.Costs(candidate))
}

// price is [Inputs.priceOf] for costs that are known.
func (pl *Planner) price(candidate Candidate, costs []Cost) price {
	p := pl.prices
	sum := price{bytes: pl.in.flash(candidate) + float64(pl.in.Shape(candidate).StateBytes())}
	for _, c := range totals(costs) {
		if c.Verdict == Fail {
			sum.broken++
			sum.excess += c.Used() - 1
		}
		if share, ok := p.share(c); ok {
			sum.share = math.Max(sum.share, share)
		}
	}
	return sum
}

// share is what a total counts as; not ok if the objective is about something else.
func (p *pricing) share(c Cost) (share float64, ok bool) {
	if p.resource != "" && c.Resource != p.resource || p.resource == "" && math.IsNaN(c.Limit) {
		return 0, false
	}
	if share = c.Used(); math.IsNaN(share) {
		share = c.Value / p.uncut[c.Target+" "+string(c.Resource)]
	}
	return share, true
}

// decisive is the total whose share is the price, the first of equals; not ok where no total
// counts.
func (pl *Planner) decisive(costs []Cost) (most Cost, ok bool) {
	largest := math.Inf(-1)
	for _, c := range totals(costs) {
		if share, counts := pl.prices.share(c); counts && share > largest {
			most, largest, ok = c, share, true
		}
	}
	return most, ok
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
