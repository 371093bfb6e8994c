package budget

import (
	"math"
	"slices"
	"testing"

	"kerf/dataset"
	"kerf/prune"
)

// The cheapest point is one that stays within every tolerance, and of equals the first.
func TestCheapestOfTheSearch(t *testing.T) {
	point := func(share, used float64) *Point { return &Point{Used: used, price: price{share: share}} }
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
	before := &Point{
		refused: map[string]bool{feature(1).key(): true},
		bundles: map[string]int{UnitItem: 3, FeatureItem: 4},
	}
	p := &Point{From: before}
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
		if got := p.refuses(c.item); got != c.want {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}

// Why a candidate was not chosen, by what it costs beside the choice.
func TestWhyInWords(t *testing.T) {
	choice := &Point{ID: 9, Fixed: true, price: price{share: 0.5, bytes: 100}, Candidate: Candidate{Features: []int{0}}}
	tried := &Point{ID: 1, price: price{share: 0.5, bytes: 100}}
	broken := &Point{ID: 2, Fixed: true, From: tried, Used: 2}
	cut := &Cut{Points: []*Point{tried, broken, choice}}
	for _, c := range []struct {
		name  string
		price price
		fixed bool
		cut   []int
		want  string
	}{
		{"the same price", choice.price, true, nil, "It costs the same; the choice was found first."},
		{"more bytes", price{share: 0.5, bytes: 130}, true, nil, "It costs the same, but 30 B more."},
		{"a larger share", price{share: 0.6}, true, nil, "It costs 20 % more."},
		{"cheaper, not rounded", price{share: 0.4}, false, nil, "It leaves less of the tolerances than rounding has cost on its neighbours."},
		{"the cut of the choice", price{share: 0.5, bytes: 100}, false, []int{0}, "It is the cut of the choice before rounding, see number 9."},
		{"broken limits", price{broken: 1}, true, nil, "It breaks more limits than the choice ()."},
	} {
		p := &Point{ID: 3, price: c.price, Fixed: c.fixed, Candidate: Candidate{Features: c.cut}}
		if got := cut.why(p, choice); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
	// Its rounded form broke a tolerance. That explains why it was not chosen only where it is cheaper.
	if got, want := cut.why(tried, choice), "It costs the same; the choice was found first."; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	tried.price.share = 0.4
	if got, want := cut.why(tried, choice), "Rounding breaks a tolerance, see number 2."; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}

// A column is named when no step of any sequence differs.
func TestColumnsThatStandStill(t *testing.T) {
	rec := &dataset.Recordings{Sequences: []*dataset.Sequence{
		{X: []float64{1, 5, 2, 1, 5, 2}},
		{X: []float64{1, 5, 2, 1, 6, 2}}, // the second column moves at the end
		{X: []float64{1, 5, 3, 1, 5, 3}}, // the third between sequences
	}}
	got := constants(rec, []string{"a", "b", "c"}, func(s *dataset.Sequence) []float64 { return s.X })
	if !slices.Equal(got, []string{"a (1)"}) {
		t.Errorf("constant: %q", got)
	}
	if rest := constants(rec, []string{"a", "b", "c"}, func(*dataset.Sequence) []float64 { return []float64{math.Pi, 0, 0} }); len(rest) != 3 {
		t.Errorf("constant: %q", rest)
	}
}

// The only unit of a layer is nothing that a search may take out.
func TestTheOnlyUnitIsNoItem(t *testing.T) {
	in := mustCity(t, "epochs = 1")
	for units, want := range map[int]int{1: 0, 2: 2} {
		kept := prune.Without(units)
		p := prune.CutPredictor(in.Float, prune.Without(len(in.Float.Features)), [][]int{kept}, prune.MeasureMeans(in.Float, in.Selection))
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
