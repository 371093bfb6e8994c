package budget

import (
	"math"
	"slices"
	"testing"

	"kerf/budget/cost"
	"kerf/dataset"
	"kerf/prune"
	"kerf/quant"
)

// The cheapest point is one that stays within every tolerance, and of equals the first.
func TestCheapestOfTheSearch(t *testing.T) {
	point := func(share, used float64) *Point {
		return &Point{Used: used, price: price{share: share}}
	}
	start := point(0.9, 0)
	for _, c := range []struct {
		name   string
		points []*Point
		want   int
	}{
		{"nothing else", nil, 0},
		{"the cheapest is not the last", []*Point{point(0.5, 0.5), point(0.7, 0.5)}, 1},
		{"the cheapest is the last", []*Point{point(0.7, 0.5), point(0.5, 1)}, 2},
		{"it breaks a tolerance", []*Point{point(0.7, 0.5), point(0.5, 1.01)}, 1},
		{"no limit of its own", []*Point{point(0.7, 0.5), point(0.7, 0.2)}, 1},
		{"dearer than the start", []*Point{point(1, 0)}, 0},
	} {
		s := &search{cut: &Cut{Points: append([]*Point{start}, c.points...)}}
		if got := slices.Index(s.cut.Points, s.cheapest()); got != c.want {
			t.Errorf("%s: point %d, want %d", c.name, got, c.want)
		}
	}
}

func TestChangesInWords(t *testing.T) {
	unit := func(n int) []prune.Unit { return make([]prune.Unit, n) }
	for want, i := range map[string]item{
		"front end one out": {sort: FrontEndItem, names: []string{"one"}},
		"unit 3 out":        {sort: UnitItem, names: []string{"3"}, units: unit(1)},
		"units 3, 4 out":    {sort: UnitItem, names: []string{"3", "4"}, units: unit(2)},
		"ripple out":        {sort: FeatureItem, names: []string{"ripple"}},
		`"return, slope", "5"" bore" out`: {sort: FeatureItem,
			names: []string{"return, slope", `5" bore`}},
		`front end "spectrum, return; case" out`: {sort: FrontEndItem,
			names: []string{"spectrum, return; case"}},
	} {
		if got := i.change("out"); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

// What a candidate could not lose, none made of it can: an item, or as many of a sort together.
func TestWhatARefusalCovers(t *testing.T) {
	feature := func(n int) item {
		return item{sort: FeatureItem, names: []string{"a", "b", "c", "d", "e"}[:n],
			features: make([]int, n)}
	}
	units := item{sort: UnitItem, names: []string{"0", "1", "2"}, units: make([]prune.Unit, 3)}
	before := &Point{}
	p := &Point{From: before}
	s := &search{lost: map[*Point]*losses{p: {}, before: {
		refused: map[string]bool{feature(1).key(): true},
		bundles: map[string]int{UnitItem: 3, FeatureItem: 4},
	}}}
	for _, c := range []struct {
		name string
		item item
		want bool
	}{
		{"the item itself", feature(1), true},
		{"another item", item{sort: FeatureItem, names: []string{"b"}, features: []int{1}}, false},
		{"a unit of the same name", item{sort: UnitItem, names: []string{"a"},
			units: make([]prune.Unit, 1)}, false},
		{"as many units", units, true},
		{"fewer units", item{sort: UnitItem, names: []string{"0", "1"},
			units: make([]prune.Unit, 2)}, false},
		{"as many features", feature(4), true},
		{"fewer features", feature(3), false},
		{"many units of one item", item{sort: UnitItem, names: []string{"9"},
			units: make([]prune.Unit, 5)}, false},
	} {
		if got := s.refuses(p, c.item); got != c.want {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}

// weightsOf are the words of one layer.
func weightsOf(bits int) quant.Formats {
	layer := quant.LayerFormats{InputBits: bits, RecurrentBits: bits, StateBits: 16}
	return quant.Formats{Layers: []quant.LayerFormats{layer}}
}

// Why a candidate was not chosen, by what it costs beside the choice and what became of it in fixed
// point.
func TestReasonsInWords(t *testing.T) {
	in := &Inputs{Job: &Job{}, Targets: []Target{{TargetRule: TargetRule{Name: "small",
		Code: cost.Fast}}}}
	pl := &Planner{in: in, prices: &pricing{}}
	words := weightsOf(8)
	costs := func(flash float64) []Cost {
		return []Cost{{Target: "small", Resource: Flash, Part: Total, Value: flash, Limit: 1000}}
	}
	point := func(id int, share float64, features ...int) *Point {
		c := Candidate{Features: features, Formats: words}
		return &Point{ID: id, price: price{mean: share, bytes: 100}, Candidate: c}
	}
	fixed := func(p *Point, from *Point, used float64) *Point {
		p.Fixed, p.From, p.Ways, p.Used = true, from, 5, used
		return p
	}
	choice := fixed(point(9, 0.5, 0, 1), nil, 0.8)
	choice.Costs = costs(500)
	same, cheaper, dearer := point(1, 0.5, 1, 2), point(2, 0.4, 1, 2), point(3, 0.6, 1, 2)
	own := point(4, 0.4, 0, 1)
	fewer := point(5, 0.51, 0)
	fewer.Costs = costs(510)
	bytes, limits := point(6, 0.5, 1, 2), point(7, 0.4, 1, 2)
	bytes.price.bytes, limits.price.broken = 130, 1
	further, nearer := point(30, 0.4, 1, 2), point(31, 0.4, 1, 2)
	further.price.excess, nearer.price.share, nearer.Costs = 0.12, 0.9, costs(900)
	limits.Costs = []Cost{
		{Target: "small", Resource: StepTime, Part: Total, Verdict: Fail},
		{Target: "small", Resource: Flash, Part: Total, Verdict: Pass},
	}
	broken := &Point{ID: 8, Used: 1.0001, Tightest: Loss{
		RowName: RowName{"y", Scope{"all", ""}, "rmse"}, Relative: true, Tolerance: 0.05,
		MayReach: 0.050004}}
	after := func(p *Point, share, used float64, features ...int) []*Point {
		return []*Point{fixed(point(20, share, features...), p, used)}
	}
	unlike := fixed(point(20, 0.4, 1, 2), cheaper, 2)
	unlike.Candidate.Formats = quant.Formats{}
	const breaks = "Rounding breaks a tolerance, see number 20, the nearest of 5 ways."
	const enough = "It was not rounded: after 24 roundings with one number of units no more " +
		"are tried."
	for _, c := range []struct {
		p    *Point
		with []*Point
		stop string
		want string
	}{
		{broken, nil, "",
			"It breaks a tolerance: y/all/rmse may reach 5.0004 %, tolerance 5 %."},
		{same, nil, "", "It costs the same, and only what costs less is rounded."},
		{same, after(same, 0.5, 2, 1, 2), "", breaks},
		{bytes, nil, "", "It costs the same, but 30 B more."},
		{dearer, nil, "", "It costs 20 % more."},
		{dearer, after(dearer, 0.6, 2, 1, 2), "", "It costs 20 % more."},
		{fewer, nil, "", "It costs 2 % more although less is left: small/flash grows by 2 %."},
		{limits, nil, "", "It breaks more limits than the choice (small/step_time)."},
		{further, nil, "",
			"It goes 12 % beyond limits, the choice 0 %."},
		{nearer, nil, "", "It takes 90 % of the limit of small/flash, the choice 50 % of any."},
		{own, nil, "", "It is the cut of the choice before rounding, see number 9."},
		{own, after(own, 0.4, 2, 0, 1), "", breaks},
		{cheaper, after(cheaper, 0.55, 0.9, 1, 2), "",
			"In fixed point it costs 10 % more, see number 20."},
		{cheaper, after(cheaper, 0.5, 0.9, 1, 2), "", "In fixed point it costs the same, see " +
			"number 20."},
		{cheaper, nil, OutOfTime, "It was not rounded: the time that the job gives was over."},
		{cheaper, nil, EnoughRounded, enough},
		{cheaper, []*Point{unlike}, EnoughRounded, enough}, // in other words it was
		{fixed(point(11, 0.5, 1, 2), nil, 0.5), nil, "", "It costs the same and was found later."},
		{cheaper, nil, "", "No reason is known."}, // which must not happen
	} {
		points := append([]*Point{c.p, choice}, c.with...)
		reason := pl.reason(points, c.p, choice, c.stop)
		if got := reason.String(); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
	choice.Candidate.Recovered = &Recovered{}
	for want, p := range map[string]*Point{
		"It is the cut of the choice before training and rounding, see number 9.": own,
		"It was not trained: in fixed point it costs the same and may use 90 % of a tolerance, " +
			"the choice after its training 80 %.": fixed(point(8, 0.5, 0, 1), nil, 0.9),
		"It was not trained: in fixed point it costs 2 % less and may use 90 % of a tolerance, " +
			"the choice after its training 80 %.": fixed(point(8, 0.49, 0, 1), nil, 0.9),
	} {
		reason := pl.reason([]*Point{p, choice}, p, choice, "")
		if got := reason.String(); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
	choice.Candidate.Recovered = nil
	choice.Candidate.Units, cheaper.Candidate.Units = [][]int{{0, 1}}, [][]int{{0, 1, 2}}
	pl.in.Job.Units.Count = []int{2}
	reason := pl.reason([]*Point{cheaper, choice}, cheaper, choice, "")
	if got := reason.String(); got != "The job asks for another number of units." {
		t.Errorf("%q", got)
	}
}

// What is tried next: the likely ones first, the cheapest of them, and nothing that costs what the
// choice costs. Rounding to other words says nothing of an option. When the work must end, the
// start alone is left, and only while there is no choice.
func TestWhatIsRoundedNext(t *testing.T) {
	start, cut := &Point{}, &Point{Used: 0.6}
	words := func(bits int) Candidate { return Candidate{Formats: weightsOf(bits)} }
	chosen := func(share float64) *trial {
		return &trial{point: &Point{price: price{share: share}}}
	}
	for _, c := range []struct {
		name    string
		best    *trial
		rounded int
		cost    float64 // of int8
		tried   int     // of the options
		want    int     // of the options; -1: none
		cause   string
	}{
		{"the cheapest", nil, 0, 0, -1, 0, ""},
		{"the next one", nil, 1, 0.5, 0, 1, ""},
		{"int8 has cost too much", nil, 1, 0.9, -1, 1, ""},
		{"that says nothing of int16", nil, 1, 0.9, 1, 2, ""},
		{"the unlikely ones in the end", chosen(0.3), 2, 0.9, 1, 0, ""},
		{"nothing is cheaper", chosen(0.1), 2, 0, -1, -1, ""},
		{"enough, without a choice", nil, mostRounded, 0, -1, 1, EnoughRounded},
		{"enough, with a choice", chosen(0.35), mostRounded, 0, -1, -1, EnoughRounded},
	} {
		s := &chooser{first: start, best: c.best, rounded: c.rounded}
		s.cost = map[string]float64{weightsOf(8).String(): c.cost}
		s.options = []option{
			{from: cut, candidate: words(8), price: price{share: 0.1}},
			{from: start, candidate: words(8), price: price{share: 0.2}},
			{from: cut, candidate: words(16), price: price{share: 0.3}},
			{from: start, candidate: words(16), price: price{share: 0.4}},
		}
		if c.tried >= 0 {
			s.options[c.tried].tried = true
		}
		got := -1
		next := s.next()
		for i := range s.options {
			if next == &s.options[i] {
				got = i
			}
		}
		if got != c.want || s.notRounded != c.cause {
			t.Errorf("%s: option %d, want %d; %q", c.name, got, c.want, s.notRounded)
		}
	}
}

// A column is named when no step of any sequence differs.
func TestColumnsThatStandStill(t *testing.T) {
	rec := &dataset.Recordings{Sequences: []*dataset.Sequence{
		{X: []float64{1, 5, 2, 1, 5, 2}},
		{X: []float64{1, 5, 2, 1, 6, 2}}, // the second column moves at the end
		{X: []float64{1, 5, 3, 1, 5, 3}}, // the third between sequences
	}}
	got := constants(rec, []string{"a", "b", "c"}, func(s *dataset.Sequence) []float64 {
		return s.X
	})
	if !slices.Equal(got, []string{"a (1)"}) {
		t.Errorf("constant: %q", got)
	}
	if rest := constants(rec, []string{"a", "b", "c"}, func(*dataset.Sequence) []float64 {
		return []float64{math.Pi, 0, 0}
	}); len(rest) != 3 {
		t.Errorf("constant: %q", rest)
	}
}

// The only unit of a layer is nothing that a search may take out.
func TestTheOnlyUnitIsNoItem(t *testing.T) {
	in := mustCity(t, "epochs = 1")
	for units, want := range map[int]int{1: 0, 2: 2} {
		kept := prune.Without(units)
		p := prune.CutPredictor(in.Float, prune.Without(len(in.Float.Features)), [][]int{kept},
			prune.MeasureMeans(in.Float, in.Selection))
		one := *in
		one.Float = p
		cut := &Cut{}
		for _, j := range kept {
			cut.UnitRank = append(cut.UnitRank, prune.Ranked{Item: j})
		}
		count := 0
		for _, i := range one.items(cut) {
			count += len(i.units)
		}
		if count != want {
			t.Errorf("%d units: %d of them are items, want %d", units, count, want)
		}
	}
}
