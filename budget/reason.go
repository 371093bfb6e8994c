package budget

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"kerf/dataset"
)

// Reason says why a candidate was not chosen: a kind, and the figures that its sentence gives.
type Reason struct {
	Kind   string
	Row    Loss     // of BreaksRow: the tightest row
	Limits []string // of MoreLimits: those that it breaks
	Of     string   // of NearerLimit: the resource whose limit it comes nearest to
	More   float64  // of what the choice costs, as a share; less than 0 is a saving
	Bytes  float64  // of SameCost: more than the choice takes
	// Of Untrained the largest share of any tolerance, of NearerLimit that of any limit, of
	// FurtherOver by how much limits are broken, as shares of them, added up.
	Used   float64
	Choice float64 // the same of the choice
	// of CostsMore: what grew although less is left; nil where nothing can be said; of AboveUncut:
	// what grew most
	Grown   *Growth
	Other   int    // the candidate that it names
	Trained bool   // of CutOfChoice: the choice was trained
	Ways    int    // of RoundingBreaks: how many ways of rounding were compared
	Cause   string // of NotRounded: why nothing more is brought to fixed point
}

// The kinds of reason, as signoff.json names them.
const (
	BreaksRow      = "breaks_tolerance"
	MoreLimits     = "breaks_more_limits"
	FurtherOver    = "breaks_limits_further"
	NearerLimit    = "takes_more_of_a_limit"
	AboveUncut     = "above_uncut"
	RoundingBreaks = "rounding_breaks_tolerance"
	RoundedLimits  = "rounded_breaks_more_limits"
	RoundedFurther = "rounded_breaks_limits_further"
	RoundedNearer  = "rounded_takes_more_of_a_limit"
	RoundedAbove   = "rounded_above_uncut"
	RoundedMore    = "rounded_costs_more"
	RoundedSame    = "rounded_costs_same"
	NotRounded     = "not_rounded"
	CutOfChoice    = "cut_of_choice"
	CostsMore      = "costs_more"
	SameCost       = "costs_same"
	FoundLater     = "found_later"
	Untrained      = "untrained"
	OtherCount     = "other_count"
	Unexplained    = "unexplained"
)

// Why nothing more is brought to fixed point.
const (
	OutOfTime = "the time that the job gives was over"
)

// EnoughRounded is the cause where mostRounded ends the work.
var EnoughRounded = fmt.Sprintf("after %d roundings with one number of units "+
	"no more are tried", mostRounded)

// Growth is a resource of a target that a smaller network takes more of.
type Growth struct {
	Resource Resource
	Target   string
	Share    float64 // of what the choice takes
}

// roundedReasons are the kinds that a comparison of costs has when it is about the rounded form of
// a candidate.
var roundedReasons = map[string]string{
	MoreLimits: RoundedLimits, FurtherOver: RoundedFurther, NearerLimit: RoundedNearer,
	AboveUncut: RoundedAbove, CostsMore: RoundedMore, SameCost: RoundedSame,
}

// reason compares a candidate with the choice. What is cheaper than the choice, as listed, must
// have been brought to fixed point, or notRounded says why not.
func (pl *Planner) reason(points []*Point, p, choice *Point, notRounded string) Reason {
	if !p.Within() {
		return Reason{Kind: BreaksRow, Row: p.Tightest}
	}
	if counts := pl.in.Job.Units.Count; counts != nil &&
		!slices.Equal(counts, countsOf(p.Candidate)) {
		return Reason{Kind: OtherCount}
	}
	price := p.price.compare(choice.price)
	own := !p.Fixed && p.Candidate.isSameCut(choice.Candidate)
	if !p.Fixed && price <= 0 {
		after := roundedAs(points, p)
		switch {
		case after != nil && !after.Within():
			return Reason{Kind: RoundingBreaks, Other: after.ID, Ways: after.Ways}
		case after != nil && !own && after.price.compare(choice.price) >= 0:
			r := pl.dearer(after, choice)
			if r.Kind == CostsMore {
				r.Grown = nil // which is about the words of the choice
			}
			r.Kind, r.Other = roundedReasons[r.Kind], after.ID
			return r
		case after != nil && !own && choice.isTrained():
			r := untrained(after, choice)
			r.Other = after.ID
			return r
		case after == nil && price < 0 && notRounded != "":
			return Reason{Kind: NotRounded, Cause: notRounded}
		}
	}
	switch {
	case own:
		return Reason{Kind: CutOfChoice, Other: choice.ID, Trained: choice.isTrained()}
	case p.Fixed && price == 0 && p.ID > choice.ID:
		return Reason{Kind: FoundLater}
	case p.Fixed && price <= 0 && choice.isTrained():
		return untrained(p, choice)
	case price > 0 || !p.Fixed && price == 0:
		return pl.dearer(p, choice)
	}
	return Reason{Kind: Unexplained}
}

// untrained compares with a choice that was trained what costs no more, but was not trained.
func untrained(p, choice *Point) Reason {
	more := p.price.mean/choice.price.mean - 1
	return Reason{Kind: Untrained, More: more, Used: p.Used, Choice: choice.Used}
}

// roundedAs is a cut in fixed point, in the words that the cut is listed with; nil if that was not
// measured.
func roundedAs(points []*Point, p *Point) *Point {
	words := p.Candidate.Formats.String()
	at := slices.IndexFunc(points, func(q *Point) bool {
		return q.Fixed && q.From == p && !q.isTrained() && q.Candidate.Formats.String() == words
	})
	if at < 0 {
		return nil
	}
	return points[at]
}

// dearer says by what a candidate costs more than the choice, or as much.
func (pl *Planner) dearer(p, choice *Point) Reason {
	switch {
	case p.price.broken > choice.price.broken:
		r := Reason{Kind: MoreLimits}
		for _, limit := range brokenLimits(p.Costs) {
			r.Limits = append(r.Limits, CostText(limit.Target, limit.Resource))
		}
		return r
	case p.price.excess > choice.price.excess:
		return Reason{Kind: FurtherOver, Used: p.price.excess, Choice: choice.price.excess}
	case p.price.share > choice.price.share && pl.prices.resource == "":
		most, share := pl.decisive(p)
		_, other := pl.decisive(choice)
		return Reason{Kind: NearerLimit, Of: CostText(most.Target, most.Resource),
			Used: share, Choice: other}
	case p.price.grown > choice.price.grown:
		most := slices.MaxFunc(pl.in.aboveUncut(p.Candidate, p.Costs), func(a, b Growth) int {
			return cmp.Compare(a.Share, b.Share)
		})
		return Reason{Kind: AboveUncut, Grown: &most}
	case p.price.mean > choice.price.mean:
		more := p.price.mean/choice.price.mean - 1
		return Reason{Kind: CostsMore, More: more, Grown: pl.grown(p, choice)}
	}
	return Reason{Kind: SameCost, Bytes: p.price.bytes - choice.price.bytes}
}

// grown is what a candidate takes more of than the choice although it is the choice with less: of
// what its price counts, the resource that grows most: another number of columns needs another copy
// of a kernel, and another form other code.
func (pl *Planner) grown(p, choice *Point) *Growth {
	within := func(few, many []int) bool {
		return !slices.ContainsFunc(few, func(i int) bool { return !slices.Contains(many, i) })
	}
	few, many := p.Candidate, choice.Candidate
	less := within(few.Features, many.Features) && !few.isSameCut(many)
	for l, units := range few.Units {
		less = less && within(units, many.Units[l])
	}
	if !less || few.Formats.String() != many.Formats.String() {
		return nil
	}
	var most *Growth
	before := totals(choice.Costs)
	for i, c := range totals(p.Costs) {
		if !slices.Contains(objectives, c.Resource) ||
			pl.prices.resource != "" && c.Resource != pl.prices.resource {
			continue
		}
		more := c.Value/before[i].Value - 1
		if more > 0 && (most == nil || more > most.Share) {
			most = &Growth{c.Resource, c.Target, more}
		}
	}
	return most
}

// brokenLimits are the totals that break their limits.
func brokenLimits(costs []Cost) []Cost {
	return slices.DeleteFunc(totals(costs), func(c Cost) bool { return c.Verdict != Fail })
}

// String is the reason in a sentence.
func (r *Reason) String() string {
	switch r.Kind {
	case BreaksRow:
		return "It breaks a tolerance: " + r.Row.reaches() + "."
	case RoundingBreaks:
		return fmt.Sprintf("Rounding breaks a tolerance, see number %d, the nearest of %d ways.",
			r.Other, r.Ways)
	case NotRounded:
		return fmt.Sprintf("It was not rounded: %s.", r.Cause)
	case CutOfChoice:
		before := "rounding"
		if r.Trained {
			before = "training and rounding"
		}
		return fmt.Sprintf("It is the cut of the choice before %s, see number %d.", before, r.Other)
	case FoundLater:
		return "It costs the same and was found later."
	case Untrained:
		costs, number := "the same", ""
		switch {
		case r.More < 0:
			costs = percentOf(-r.More, 2) + " less"
		case r.More > 0: // which limits, or the uncut network, make up for
			costs = percentOf(r.More, 2) + " more"
		}
		if r.Other > 0 {
			number = fmt.Sprintf(", see number %d", r.Other)
		}
		return fmt.Sprintf("It was not trained: in fixed point it costs %s and may use %s of a "+
			"tolerance, the choice after its training %s%s.",
			costs, shareOfTolerance(r.Used), shareOfTolerance(r.Choice), number)
	case OtherCount:
		return "The job asks for another number of units."
	case MoreLimits, FurtherOver, NearerLimit, AboveUncut, CostsMore, SameCost:
		return "It " + r.costs() + "."
	case RoundedLimits, RoundedFurther, RoundedNearer, RoundedAbove, RoundedMore, RoundedSame:
		return fmt.Sprintf("In fixed point it %s, see number %d.", r.costs(), r.Other)
	}
	return "No reason is known."
}

// costs says what the costs are beside those of the choice.
func (r *Reason) costs() string {
	switch {
	case r.Kind == MoreLimits || r.Kind == RoundedLimits:
		return fmt.Sprintf("breaks more limits than the choice (%s)", strings.Join(r.Limits, ", "))
	case r.Kind == FurtherOver || r.Kind == RoundedFurther:
		text := tellApart(percentOf, r.Used, r.Choice)
		return fmt.Sprintf("goes %s beyond limits, the choice %s", text[0],
			text[1])
	case r.Kind == NearerLimit || r.Kind == RoundedNearer:
		text := tellApart(percentOf, r.Used, r.Choice)
		return fmt.Sprintf("takes %s of the limit of %s, the choice %s of any", text[0], r.Of,
			text[1])
	case r.Kind == AboveUncut || r.Kind == RoundedAbove:
		return fmt.Sprintf("takes %s more %s than the uncut network in the same words",
			percentOf(r.Grown.Share, 2), CostText(r.Grown.Target, r.Grown.Resource))
	case r.Kind == CostsMore && r.Grown != nil:
		return fmt.Sprintf("costs %s more although less is left: %s grows by %s",
			percentOf(r.More, 2), CostText(r.Grown.Target, r.Grown.Resource),
			percentOf(r.Grown.Share, 2))
	case r.Kind == CostsMore || r.Kind == RoundedMore:
		return "costs " + percentOf(r.More, 2) + " more"
	case r.Bytes > 0:
		return fmt.Sprintf("costs the same, but %.0f B more", r.Bytes)
	case r.Kind == RoundedSame:
		return "costs the same"
	}
	return "costs the same, and only what costs less is rounded"
}

// reaches says what a row may reach beside its tolerance, and where the network as given does not
// keep that, what it reaches itself. Figures that differ are told apart.
func (l *Loss) reaches() string {
	what := l.figure()
	switch {
	case math.IsNaN(l.MayReach) && l.Float == 0:
		return what + " has no rise, since the network as given makes no error there"
	case math.IsNaN(l.MayReach):
		return "what " + what + " may reach cannot be told"
	case math.IsInf(l.MayReach, 1):
		return what + " cannot be told from one selection sequence"
	case l.GivenBreaks():
		text := l.apart(l.MayReach, l.Allowed(), l.FloatMayReach)
		return fmt.Sprintf("%s may reach %s, tolerance %s, where the network as given reaches %s",
			what, text[0], text[1], text[2])
	}
	text := l.apart(l.MayReach, l.Allowed())
	return fmt.Sprintf("%s may reach %s, tolerance %s", what, text[0], text[1])
}

// ReachText prints what a row may reach and its tolerance.
func (l *Loss) ReachText() (reach, tolerance string) {
	text := l.apart(l.MayReach, l.Allowed())
	return text[0], text[1]
}

// figure names what a tolerance is compared with: the row, or of a share that is explained the
// share that the row leaves.
func (l *Loss) figure() string {
	if l.Metric == dataset.Explained {
		return "the share that " + l.Text() + " leaves"
	}
	return l.Text()
}

// apart prints values that are compared with the tolerance of a row, with three digits, or as many
// as tell unlike values apart.
func (l *Loss) apart(values ...float64) []string { return tellApart(l.show, values...) }

// tellApart prints values by show, as [Loss.apart] says.
func tellApart(show func(v float64, digits int) string, values ...float64) []string {
	text := make([]string, len(values))
	for digits := 3; ; digits++ {
		alike := false
		for i, v := range values {
			text[i] = show(v, digits)
			for k := range i {
				alike = alike || text[k] == text[i] && values[k] != v
			}
		}
		if !alike || digits == 17 {
			return text
		}
	}
}

// show prints a value that is compared with the tolerance of a row.
func (l *Loss) show(v float64, digits int) string {
	if l.Relative && l.Metric.IsShare() {
		return plainFigure(100*v, digits) + " points"
	}
	if l.Relative || l.Metric == dataset.Explained {
		return percentOf(v, digits)
	}
	return plainFigure(v, digits)
}

// plainFigure prints a value with so many digits; a large one as a whole number without a power of
// ten.
func plainFigure(v float64, digits int) string {
	text := strconv.FormatFloat(v, 'g', digits, 64)
	if strings.Contains(text, "e+") && math.Abs(v) < 1e9 {
		return strconv.FormatFloat(v, 'f', 0, 64)
	}
	return text
}

// shareOfTolerance prints which share of a tolerance is used, so that what is broken is seen to be.
func shareOfTolerance(used float64) string {
	return tellApart(percentOf, used, 1)[0]
}

// percentOf prints a share in percent.
func percentOf(v float64, digits int) string { return plainFigure(100*v, digits) + " %" }
