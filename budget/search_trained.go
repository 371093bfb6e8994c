package budget

import (
	"cmp"
	"context"
	"math"
	"slices"

	"kerf/dataset"
	"kerf/prune"
	"kerf/quant"
	"kerf/recovery"
)

// Attempt is a network that was trained by the search, judged on the selection recordings: every
// sequence by the network that was trained without it. It is not rounded yet.
type Attempt struct {
	Units    []int          // per recurrent layer
	Features []int          // of the network as given
	Scratch  bool           // it was trained from drawn weights, else from the cut
	Formats  *quant.Formats // that its forward pass was rounded to; nil: none

	// It was trained for one fold alone, and Used is what the figure itself takes there.
	Half      bool
	Trainings int // one after the other, of which Settings are those of the last
	Settings  recovery.Settings
	// the largest share of any tolerance that the sign-off recordings may show
	Used     float64
	Tightest Loss
}

// Within reports whether every tolerance is kept, with the reserve for the sign-off.
func (a *Attempt) Within() bool { return a.Used <= 1 }

// hopelessTrained is the share of a tolerance that a figure itself takes on the sequences of one
// fold beyond which the network is not trained for the others (our choice).
const hopelessTrained = 2

// trainedSearch looks for the smallest network that holds once it is trained. It works in stages;
// the trainings of a stage follow from the job and from the results of the stages before it.
//
//   - Units: the least number with which a network holds that is trained with every feature, by
//     bisection between one unit and what the search without training came to. Each number is tried
//     from the cut with so many units or from drawn weights, whichever is better on one fold.
//   - Layers: of several recurrent layers each is then made smaller by itself.
//   - Features: from there features and front ends go, in the order of what is saved per tolerance
//     used, with a short training after each.
//   - Words: what holds is brought to fixed point as a cut is; narrower words that do not hold so,
//     of all tensors and of single ones, are trained in, with the rounding in the forward pass.
//
// Numbers of units above the least are then taken through the last two stages as long as they can
// be cheaper: more units in narrower words may cost less.
type trainedSearch struct {
	pl        *Planner
	cut       *Cut
	chosen    *Chosen // without training
	features  []int   // of the cheapest network without training
	trainings *trainings
	known     map[string]judgement // by key of the recipe
	best      *Chosen
}

// try follows a recipe on every fold and reports how it is judged.
func (s *trainedSearch) try(ctx context.Context, what string, r recipe) (judgement, error) {
	key := r.key()
	if j, ok := s.known[key]; ok {
		return j, nil
	}
	if err := s.trainings.follow(ctx, what, []int{0}, r); err != nil {
		return judgement{}, err
	}
	j := s.trainings.glance(r)
	if j.half = j.used > hopelessTrained; !j.half {
		if err := s.trainings.follow(ctx, what, s.trainings.everyFold(), r); err != nil {
			return judgement{}, err
		}
		j = s.trainings.judge(r)
	}
	s.known[key] = j
	s.cut.Trained = append(s.cut.Trained, Attempt{Units: r.counts(), Features: r.kept(),
		Scratch: r.scratch, Formats: r.formats(), Half: j.half,
		Trainings: 1 + len(r.lessons),
		Settings:  s.trainings.settingsOf(r), Used: j.used, Tightest: j.tightest})
	if c := r.candidate(); j.used <= 1 {
		c.Formats = s.best.Candidate.Formats
		s.holds(c, j.used, false)
	}
	return j, nil
}

// chosenHolds is holds for a choice.
func (s *trainedSearch) chosenHolds(c *Chosen) {
	row := c.Tightest()
	s.holds(c.Candidate, row.ReachUsed(), true)
}

// holds tells of a network that holds, if it costs less than all that were told of.
func (s *trainedSearch) holds(c Candidate, used float64, isFixed bool) {
	t, price := s.trainings, s.pl.priceOf(c)
	if t.tell.Holds != nil && (t.cheapest == nil || price.compare(*t.cheapest) < 0) {
		t.cheapest = &price
		t.tell.Holds(Holding{Candidate: c, Fixed: isFixed, Used: used, Share: price.mean})
	}
}

// least returns the place of the smallest of some sizes that holds, by bisection; their number
// where none does. It is taken that the network without training holds with more units.
func (s *trainedSearch) least(ctx context.Context, sizes [][]int) (int, error) {
	fails, holds := -1, len(sizes)
	for holds-fails > 1 && !s.over() {
		middle := s.middle(sizes, fails, holds)
		_, ok, err := s.withCounts(ctx, sizes[middle])
		if err != nil {
			return 0, err
		}
		if ok {
			holds = middle
		} else {
			fails = middle
		}
	}
	return holds, nil
}

// middle returns the next size to try: the geometric mean of the numbers of units that fail and
// hold, since small networks are trained quickly, and most networks are several times too large.
func (s *trainedSearch) middle(sizes [][]int, fails, holds int) int {
	low, high := 1, s.chosen.Candidate.UnitCount()
	if fails >= 0 {
		low = sum(sizes[fails])
	}
	if holds < len(sizes) {
		high = sum(sizes[holds])
	}
	wanted := int(math.Round(math.Sqrt(float64(low) * float64(high))))
	at := fails + 1
	for at < holds-1 && sum(sizes[at]) < wanted {
		at++
	}
	return at
}

func sum(counts []int) int {
	n := 0
	for _, c := range counts {
		n += c
	}
	return n
}

// A number of units with which up to nearlyHolds times a tolerance may be used is trained longer,
// mostRepeats times at most, as long as each time brings that down to at most gained of what it
// was. Up to mayHold times a tolerance it is tried with another seed, mostSeeds in all (our choice:
// two longer trainings halve what is used; of three seeds on the open data one holds with a unit
// less than the other two, and trainings of 9 and 13 units of the job cooling, from cuts that look
// alike, ended at 2 and 5 times a tolerance).
const (
	nearlyHolds = 2.5
	mostRepeats = 2
	gained      = 0.9
	mayHold     = 5
	mostSeeds   = 2
)

// size tries a number of units, from the better start of those on the first fold, and if it does
// not hold but may, with another seed. Where neither holds ok is false, and the recipe is that
// which uses least of the tolerances.
//
// The first seed also starts gently. Where that is the better start it stays near the cut, and what
// is left is out of reach at its rate, so another seed starts at the full rate alone.
func (s *trainedSearch) size(ctx context.Context, c Candidate) (least recipe, ok bool, err error) {
	for seed := range mostSeeds {
		cut := recipe{features: c.Features, units: c.Units, seed: seed}
		starts := []recipe{cut}
		if len(s.pl.in.pins.keepUnit) == 0 { // which a network from scratch has none of
			starts = append(starts, cut.fromScratch())
		}
		if seed == 0 {
			starts = append(starts, cut.gently())
		}
		r, err := s.longer(ctx, starts)
		if err != nil {
			return r, false, err
		}
		j := s.known[r.key()]
		if seed == 0 || j.isLess(s.known[least.key()]) {
			least = r
		}
		if j.used <= 1 || j.used > mayHold || s.over() {
			break
		}
	}
	return least, s.known[least.key()].used <= 1, nil
}

// longer tries the best of some starts, and as long as that nearly holds trains it longer. It
// returns the recipe that uses least of the tolerances.
func (s *trainedSearch) longer(ctx context.Context, starts []recipe) (recipe, error) {
	const what = "looking for the least units"
	r, err := s.better(ctx, what, starts)
	if err != nil {
		return r, err
	}
	j, err := s.try(ctx, what, r)
	for range mostRepeats {
		if err != nil || j.used <= 1 || j.used > nearlyHolds {
			break
		}
		longer, before := r.then(lesson{features: r.kept()}), j
		if j, err = s.try(ctx, what, longer); err != nil || !j.isLess(before) {
			break
		}
		if r = longer; j.half == before.half && j.used > gained*before.used {
			break
		}
	}
	return r, err
}

// better follows starts on the first fold, and returns the one that comes nearest to the teacher
// and the recorded outputs of the sequences held back.
func (s *trainedSearch) better(ctx context.Context, what string, starts []recipe) (recipe, error) {
	if err := s.trainings.follow(ctx, what, []int{0}, starts...); err != nil {
		return recipe{}, err
	}
	return slices.MinFunc(starts, func(a, b recipe) int {
		return cmp.Compare(s.trainings.heldBack(a), s.trainings.heldBack(b))
	}), nil
}

// layers makes each of several recurrent layers smaller by itself.
func (s *trainedSearch) layers(ctx context.Context, r recipe) (recipe, error) {
	if len(r.units) == 1 {
		return r, nil
	}
	for l := range r.units {
		fails, holds := 0, len(r.units[l])
		for holds-fails > 1 && !s.over() {
			middle := int(math.Round(math.Sqrt(float64(max(fails, 1)) * float64(holds))))
			counts := r.counts()
			counts[l] = min(max(middle, fails+1), holds-1)
			found, ok, err := s.withCounts(ctx, counts)
			if err != nil {
				return r, err
			}
			if ok {
				holds, r = counts[l], found
			} else {
				fails = counts[l]
			}
		}
	}
	return r, nil
}

// withCounts tries numbers of units, with every feature that the job does not drop.
func (s *trainedSearch) withCounts(ctx context.Context, counts []int) (recipe, bool, error) {
	c, err := s.pl.withUnits(s.cut.Given.Features, counts, s.cut)
	if err != nil {
		return recipe{}, false, err
	}
	return s.size(ctx, c)
}

// withoutFeatures takes features and front ends out of what a recipe makes, as long as it holds:
// first what the search without training took, then what saves most per tolerance used, several at
// a time.
func (s *trainedSearch) withoutFeatures(ctx context.Context, r recipe) (recipe, error) {
	refused := map[string]bool{}
	first := item{sort: FeatureItem, features: prune.Without(len(s.pl.in.Float.Features),
		s.features...)}
	r, _, err := s.tryWithout(ctx, r, first, refused)
	if err != nil {
		return r, err
	}
	for len(refused) < mostRefused && !s.over() {
		items, err := s.removable(ctx, r, refused)
		if err != nil {
			return r, err
		}
		taken := false
		for _, i := range items {
			if r, taken, err = s.tryWithout(ctx, r, i, refused); err != nil {
				return r, err
			}
			if taken || len(refused) >= mostRefused {
				break
			}
		}
		if !taken {
			break
		}
	}
	return r, nil
}

// mostRefused is how many sets of features may turn out to be needed before no more are tried (our
// choice).
const mostRefused = 12

// tryWithout trains what a recipe makes once more without an item. The recipe stays if that does
// not hold.
func (s *trainedSearch) tryWithout(ctx context.Context, r recipe, gone item,
	refused map[string]bool) (then recipe, taken bool, err error) {
	left := withoutThese(r.kept(), gone.features)
	if len(left) == 0 || len(left) == len(r.kept()) {
		return r, false, nil
	}
	next := r.then(lesson{features: left})
	j, err := s.try(ctx, "looking for features that can go", next)
	if err != nil || j.used > 1 {
		refused[gone.key()] = true
		return r, false, err
	}
	return next, true, nil
}

// withoutThese returns the features that stay.
func withoutThese(features, gone []int) []int {
	return slices.DeleteFunc(slices.Clone(features), func(k int) bool {
		return slices.Contains(gone, k)
	})
}

// hopelessUntrained is the estimated share of a tolerance beyond which features are not taken out
// and trained. Our choice: training wins back half of it at times.
const hopelessUntrained = 2

// removable lists what may go from what a recipe makes: features and front ends alone, the first 2,
// 4, 8 and so on of the features together. The one that saves most per tolerance used stands first.
// What it uses is estimated without another training; estimates beyond hopelessUntrained are left
// out.
func (s *trainedSearch) removable(ctx context.Context, r recipe,
	refused map[string]bool) ([]item, error) {
	in := s.pl.in
	statistics := make([]*prune.Statistics, len(s.trainings.rests))
	nets := make([]*dataset.Float, len(s.trainings.rests))
	for fold, rest := range s.trainings.rests {
		nets[fold] = s.trainings.done[piece{r, fold}.key()].Net
		statistics[fold] = prune.MeasureStatistics(nets[fold], rest)
	}
	before, start := s.known[r.key()].used, s.pl.cheapestListed(r.candidate())
	merits := map[string]float64{}
	judge := func(i item) bool {
		left := withoutThese(r.kept(), i.features)
		if len(left) == 0 || refused[i.key()] {
			return false
		}
		used := s.pl.assess(in.measured(s.trainings.predicted(func(fold int) *dataset.Float {
			return statistics[fold].Sketch(places(nets[fold], left),
				prune.AllUnits(nets[fold].Net))
		}))).used
		smaller := r.candidate()
		smaller.Features = left
		merits[i.key()] = saving(start, s.pl.cheapestListed(smaller)) /
			math.Max(used-before, leastUsed/float64(len(r.kept())))
		return used <= hopelessUntrained
	}
	byMerit := func(a, b item) int { return cmp.Compare(merits[b.key()], merits[a.key()]) }
	var single, all []item
	for _, i := range in.items(s.cut) {
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		i.features = slices.DeleteFunc(slices.Clone(i.features), func(k int) bool {
			return !slices.Contains(r.kept(), k)
		})
		if i.sort == UnitItem || len(i.features) == 0 || !judge(i) {
			continue
		}
		all = append(all, i)
		if i.sort == FeatureItem {
			single = append(single, i)
		}
	}
	slices.SortStableFunc(single, byMerit)
	for n := 2; n <= len(single); n *= 2 {
		if joint := several(single[:n]); judge(joint) {
			all = append(all, joint)
		}
	}
	slices.SortStableFunc(all, byMerit)
	return all, ctx.Err()
}

// saving is what a price saves of another one: of broken limits, of the largest share, and of the
// mean of all shares. Bytes count a thousandth: they decide between equals.
func saving(from, to price) float64 {
	return from.share + from.excess + from.mean - to.share - to.excess - to.mean +
		(from.bytes-to.bytes)/from.bytes/1000
}

// mostWords is how many times narrower words of a single tensor or state are trained in (our
// choice).
const mostWords = 12

// words brings what a recipe makes to fixed point. Uniform words that are cheaper than what holds
// so are tried once more, with a network that is trained in them, and then the next narrower words
// of single tensors and states, as long as one of them makes something cheaper.
func (s *trainedSearch) words(ctx context.Context, r recipe) (*Chosen, error) {
	best, err := s.finish(ctx, r)
	if err != nil {
		return nil, err
	}
	formats, _ := s.pl.in.Job.Formats.candidates(s.pl.in.Float.Net) // checked before
	for _, f := range formats {
		if best, _, err = s.trainedIn(ctx, r, f, best); err != nil {
			return nil, err
		}
	}
	tried := map[string]bool{}
	for found := true; found && best.Within; {
		found = false
		for _, w := range s.pl.in.widths(s.pl.in.Job.Formats) {
			c, ok := s.pl.in.withWord(best.Candidate, w, -1)
			words := c.Formats.String()
			if !ok || tried[words] || len(tried) == mostWords || s.over() {
				continue
			}
			tried[words] = true
			var taken bool
			if best, taken, err = s.trainedIn(ctx, r, c.Formats, best); err != nil {
				return nil, err
			}
			found = found || taken
		}
	}
	return best, nil
}

// finish trains what a recipe makes on all selection recordings, and brings it to fixed point.
func (s *trainedSearch) finish(ctx context.Context, r recipe) (*Chosen, error) {
	if err := s.trainings.follow(ctx, "training the choice on all selection recordings",
		append(s.trainings.everyFold(), noFold), r); err != nil {
		return nil, err
	}
	return s.pl.chooseFrom(ctx, unsearched(s.trainings.candidate(r)))
}

// trainedIn trains what a recipe makes in words, if these are cheaper than the best so far, and
// returns the better of both.
func (s *trainedSearch) trainedIn(ctx context.Context, r recipe, formats quant.Formats,
	best *Chosen) (chosen *Chosen, taken bool, err error) {
	isCheaper := func(c Candidate) bool {
		return !best.Within || s.pl.priceOf(c).compare(s.pl.priceOf(best.Candidate)) < 0
	}
	c := r.candidate()
	c.Formats = formats
	isBest := best.Within && formats.String() == best.Candidate.Formats.String()
	if isBest || !isCheaper(c) {
		return best, false, nil
	}
	r = r.then(lesson{features: r.kept(), formats: &formats})
	j, err := s.try(ctx, "training in narrower words", r)
	if err != nil || j.used > 1 {
		return best, false, err
	}
	if chosen, err = s.finish(ctx, r); err != nil || !chosen.Within ||
		!isCheaper(chosen.Candidate) {
		return best, false, err
	}
	return chosen, true, nil
}

// complete takes what a recipe makes through features and words, and keeps it if it is the
// cheapest.
func (s *trainedSearch) complete(ctx context.Context, r recipe) error {
	r, err := s.withoutFeatures(ctx, r)
	if err != nil {
		return err
	}
	chosen, err := s.words(ctx, r)
	if err != nil {
		return err
	}
	s.take(chosen)
	return nil
}

// take keeps a choice if it holds and is cheaper than the best, or costs the same and leaves more
// room.
func (s *trainedSearch) take(c *Chosen) {
	price := s.pl.priceOf(c.Candidate).compare(s.pl.priceOf(s.best.Candidate))
	if c.Within && (!s.best.Within || price < 0 || price == 0 && c.used < s.best.used) {
		// of the search without training, whose points are listed
		c.NotRounded = s.chosen.NotRounded
		s.best = c
		s.chosenHolds(c)
	}
}

// asGiven trains the network that the user chose, or that nothing judges, with its features and
// units.
func (s *trainedSearch) asGiven(ctx context.Context) error {
	c := s.chosen.Candidate
	const what = "training"
	cut := recipe{features: c.Features, units: c.Units}
	r, err := s.better(ctx, what, []recipe{cut, cut.gently()})
	if err != nil {
		return err
	}
	if _, err := s.try(ctx, what, r); err != nil {
		return err
	}
	chosen, err := s.words(ctx, r)
	if err != nil {
		return err
	}
	if !s.pl.in.JudgesLoss() && chosen.Candidate.Recovered.isChanged {
		s.best = chosen
	} else if s.pl.in.JudgesLoss() && !s.best.Within && chosen.used < s.best.used {
		s.best = chosen
	} else {
		s.take(chosen)
	}
	return nil
}

// over reports whether the time that the job gives is over.
func (s *trainedSearch) over() bool { return s.pl.search.over() }

// run goes through the stages. Where the job says how many units there are to be, only so many are
// tried.
func (s *trainedSearch) run(ctx context.Context) error {
	if counts := s.pl.in.Job.Units.Count; counts != nil {
		var err error
		s.best, err = s.row(ctx, counts, s.chosen)
		return err
	}
	sizes := s.sizes()
	least, err := s.least(ctx, sizes)
	if err != nil {
		return err
	}
	if s.chosen.Within {
		sizes = append(sizes, countsOf(s.chosen.Candidate))
	}
	for at := least; at < len(sizes) && !s.over(); at++ {
		// The number of units of the choice without training is the last: that is tried as well
		// where nothing else was cheaper.
		if isLast := at == len(sizes)-1; at > least && !s.mayBeCheaper(sizes[at]) &&
			!(isLast && s.best == s.chosen) {
			continue
		}
		r, ok, err := s.withCounts(ctx, sizes[at])
		if err != nil {
			return err
		}
		if !ok {
			continue
		}
		if r, err = s.layers(ctx, r); err != nil {
			return err
		}
		if err := s.complete(ctx, r); err != nil {
			return err
		}
	}
	return nil
}

// sizes lists numbers of units below those of the choice without training, the fewest first; where
// that does not hold, all numbers.
func (s *trainedSearch) sizes() [][]int {
	return slices.DeleteFunc(s.pl.in.inProportion(), func(counts []int) bool {
		return s.chosen.Within && sum(counts) >= s.chosen.Candidate.UnitCount()
	})
}

// row returns the cheapest network with given numbers of units, trained or not, and where none
// holds the one that uses less of the tolerances; chosen is that without training.
func (s *trainedSearch) row(ctx context.Context, counts []int, chosen *Chosen) (*Chosen, error) {
	of := *s
	of.chosen, of.best = chosen, chosen
	r, ok, err := of.withCounts(ctx, counts)
	if err != nil {
		return nil, err
	}
	if ok {
		err = of.complete(ctx, r)
	}
	if ok || chosen.Within {
		return of.best, err
	}
	trained, err := of.words(ctx, r)
	if err == nil && trained.used < chosen.used {
		return trained, nil
	}
	return chosen, err
}

// mayBeCheaper reports whether a network with more units may cost less than the best so far, if it
// could do with the same features: in words that are narrower than those of the best.
func (s *trainedSearch) mayBeCheaper(counts []int) bool {
	c := Candidate{Features: s.best.Candidate.Features}
	for _, n := range counts {
		c.Units = append(c.Units, make([]int, n))
	}
	return s.pl.cheapestListed(c).compare(s.pl.priceOf(s.best.Candidate)) < 0
}
