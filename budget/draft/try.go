package draft

import (
	"cmp"
	"context"
	"errors"
	"math"
	"os"
	"reflect"
	"slices"

	"kerf/dataset"
	"kerf/model"
	"kerf/model/lanes"
)

// The work of trying is bounded by multiply-accumulates, of which a step takes about one per
// parameter. All limits are our choice.
const (
	// roundWork bounds a round in which many readings are tried on few steps: about a second on
	// two cores.
	roundWork = 1e10
	// fewestTried is the least number of steps that a reading is tried on, whatever the work.
	fewestTried = 500
	// finalists is how many usual readings, and as many of the others, are tried on most steps.
	finalists = 8
	// finalWork bounds that round.
	finalWork = 4e10
	// finalSteps is the number of steps that they are tried on at least, where there are so many.
	finalSteps = 5_000
)

// departureHalves is the share of the error of the best usual reading that another one must take
// away, by the lower end of its interval. Our choice: behind any network an activation that holds
// outputs above 0 takes up to half of the squared error where they are 0, because half of the
// errors there are below 0.
const departureHalves = 0.5

// departureOpens is the share of the error of the winner that a reading which is not usual must
// take away, by the lower end of its interval, so that the choice is left to the user. Our choice:
// less is what an activation that clips some outputs wins behind any network.
const departureOpens = 0.1

// contest finds the reading and the normalisation that explain most with one guess of columns.
type contest struct {
	columns  columnGuess
	readings []model.Reading // of networks of one size

	settings []setting
	rec      *dataset.Recordings // that the finalists were tried on
	usual    []*entrant          // finalists, the best first
	others   []*entrant
}

// setting is one normalisation of features and outputs.
type setting struct {
	features           []dataset.Feature
	outputs            []dataset.Output
	normalised, scaled string // in words
}

// entrant is a reading with the settings that it was last tried with, the best first.
type entrant struct {
	model.Reading
	tries []*trial
}

type trial struct {
	setting int // index
	score   *dataset.Score
	fits    []Fit
}

func (e *entrant) best() *trial { return e.tries[0] }

func (e *entrant) quality() float64 { return quality(e.best().fits) }

// hold holds every contest for which the recording can be read, and returns the one whose best
// reading explains most.
func (d *Draft) hold(ctx context.Context, contests []*contest,
	progress func(done, all int)) (*contest, error) {
	var best *contest
	var failed error
	for i, c := range contests {
		rec, err := c.read(d.Selection)
		if err != nil {
			failed = errors.Join(failed, err)
			continue
		}
		found := math.Inf(-1)
		if best != nil {
			found = best.quality()
		}
		err = c.run(ctx, rec, found, func(share float64) {
			const all = 100 // percent
			if progress != nil {
				progress(int(all*(float64(i)+share))/len(contests), all)
			}
		})
		if err != nil {
			return nil, err
		}
		if best == nil || c.quality() > best.quality() {
			best = c
		} else {
			c.rec = nil
		}
	}
	if best == nil {
		return nil, failed
	}
	return best, nil
}

// quality is that of the best reading.
func (c *contest) quality() float64 {
	q := c.usual[0].quality()
	if len(c.others) > 0 {
		q = max(q, c.others[0].quality())
	}
	return q
}

// read reads the recording by the guess of columns, and describes features and outputs with it.
func (c *contest) read(path string) (*dataset.Recordings, error) {
	g := c.columns
	reference := dataset.Reference{Outputs: g.outputs, Column: g.column}
	if g.column != "" {
		reference.Outputs = g.classes
	}
	rec, err := withFile(path, func(f *os.File, size int64) (*dataset.Recordings, error) {
		return dataset.ReadRecording(f, size, path, g.features, reference)
	})
	if err != nil {
		return nil, err
	}
	c.settings = nil
	for _, in := range inputGuesses(c.readings[0], describeFeatures(g.features, rec)) {
		for _, out := range outputGuesses(describeOutputs(g.outputs, rec), g.classes) {
			c.settings = append(c.settings, setting{in.features, out.outputs, in.words, out.words})
		}
	}
	return rec, nil
}

// round is how many usual and other readings with how many settings are tried on so many steps.
type round struct{ usual, others, settings, steps int }

func (r round) runs() int { return (r.usual + r.others) * r.settings }

func (r round) work() float64 { return float64(r.runs() * r.steps) }

// rounds plans the rounds for so many readings and settings of networks with so many parameters:
// all are tried on few steps, a quarter of them on more, until the finalists are left. What remains
// keeps its two best settings. steps are those of the whole recording.
func rounds(usual, others, settings, parameters, steps int) []round {
	var all []round
	with := func(work float64, least int) round {
		r := round{usual, others, settings, 0}
		affordable := int(work / (float64(r.runs()) * float64(parameters)))
		r.steps = min(steps, max(least, affordable))
		return r
	}
	for len(all) == 0 || usual > finalists || others > finalists {
		r := with(roundWork, fewestTried)
		all = append(all, r)
		share := 4
		if r.steps == steps {
			share = max(usual, others) // a further round would see nothing more
		}
		usual = min(usual, max(finalists, usual/share))
		others = min(others, max(finalists, others/share))
		settings = min(settings, 2)
	}
	return append(all, with(finalWork, finalSteps))
}

// run tries the readings on the recording, round by round, and stops where all are hopeless beside
// the quality that was found with other columns. report is called with the share of the work that
// is done. The error is that of ctx.
func (c *contest) run(ctx context.Context, rec *dataset.Recordings, found float64,
	report func(share float64)) error {
	for _, r := range c.readings {
		if c.columns.column != "" && r.ActivatesOutputs() {
			continue // the largest score stays the largest
		}
		e := &entrant{Reading: r}
		for i := range c.settings {
			e.tries = append(e.tries, &trial{setting: i})
		}
		if r.Usual {
			c.usual = append(c.usual, e)
		} else {
			c.others = append(c.others, e)
		}
	}
	plan := rounds(len(c.usual), len(c.others), len(c.settings), c.parameters(), rec.Steps())
	all, done := 0.0, 0.0
	for _, r := range plan {
		all += r.work()
	}
	for i, r := range plan {
		c.rec = beginnings(rec, r.steps)
		if i == len(plan)-1 {
			c.rec = spreadOut(rec, r.steps)
		}
		if i > 0 {
			found = max(found, c.quality())
			c.usual = leading(c.usual, r.usual, r.settings, found)
			c.others = leading(c.others, r.others, r.settings, found)
		}
		if err := c.try(ctx, slices.Concat(c.usual, c.others), func(share float64) {
			report((done + float64(share*r.work())) / all)
		}); err != nil {
			return err
		}
		c.sort()
		if isHopeless(c.quality(), found) {
			return nil
		}
		done += r.work()
	}
	return c.remember(ctx)
}

// parameters returns the number of parameters of the networks.
func (c *contest) parameters() int { return c.readings[0].Import().Network.Parameters() }

// leading returns the first entrants with their first settings, without those that are hopeless
// beside the quality that was found, but two: the best ones are compared.
func leading(entrants []*entrant, most, settings int, found float64) []*entrant {
	var left []*entrant
	for i, e := range entrants[:min(len(entrants), most)] {
		if i > 1 && isHopeless(e.quality(), found) {
			break
		}
		e.tries = e.tries[:min(len(e.tries), settings)]
		for i, t := range e.tries {
			if i > 0 && isHopeless(quality(t.fits), found) {
				e.tries = e.tries[:i]
				break
			}
		}
		left = append(left, e)
	}
	return left
}

// isHopeless reports whether a reading explains nothing at all, while another one explains half, or
// whether it alone gives no numbers.
func isHopeless(quality, found float64) bool {
	return quality < 0 && found >= goodFit || math.IsInf(quality, -1) && !math.IsInf(found, -1)
}

// sort puts the best entrants first.
func (c *contest) sort() {
	slices.SortStableFunc(c.usual, byQuality)
	slices.SortStableFunc(c.others, byQuality)
}

// byQuality puts the best first.
func byQuality(a, b *entrant) int { return cmp.Compare(b.quality(), a.quality()) }

// remember tries the finalists once more where there are few sequences: then intervals rest on
// blocks of steps too, and for these the memory of the network must be known.
func (c *contest) remember(ctx context.Context) error {
	if len(c.rec.Sequences) >= dataset.BootstrapSequences || len(c.usual)+len(c.others) < 2 {
		return ctx.Err()
	}
	e := c.usual[0]
	c.rec.Memory = c.float(e.Reading, e.best().setting).Memory(c.rec)
	return c.try(ctx, slices.Concat(c.usual, c.others), func(float64) {})
}

// batchWork bounds the multiply-accumulates between two reports, well below a second on two cores,
// and mostTogether the networks that are in memory at a time. Both are our choice.
const (
	batchWork    = 2e9
	mostTogether = 64
)

// try runs entrants with all their settings, and sorts the settings of each. report is called with
// the share that is done. The error is that of ctx.
func (c *contest) try(ctx context.Context, entrants []*entrant, report func(share float64)) error {
	work := float64(c.rec.Steps()) * float64(c.parameters())
	size := max(1, min(mostTogether, int(batchWork/work)))
	done, all := 0, 0
	with := make([][]*entrant, len(c.settings))
	for _, e := range entrants {
		for _, t := range e.tries {
			with[t.setting] = append(with[t.setting], e)
			all++
		}
	}
	for i, s := range c.settings {
		if len(with[i]) == 0 {
			continue
		}
		prepared := dataset.Prepare(&dataset.Float{Features: s.features, Outputs: s.outputs}, c.rec,
			nil)
		for some := range slices.Chunk(with[i], size) {
			var floats []*dataset.Float
			for _, e := range some {
				floats = append(floats, c.float(e.Reading, i))
			}
			scores, err := prepared.ScoreAll(ctx, floats)
			if err != nil {
				return err
			}
			for k, e := range some {
				at := slices.IndexFunc(e.tries, func(t *trial) bool { return t.setting == i })
				e.tries[at].score, e.tries[at].fits = scores[k],
					fitOf(scores[k], s.outputs, c.rec, c.columns.column)
			}
			done += len(some)
			report(float64(done) / float64(all))
		}
	}
	for _, e := range entrants {
		slices.SortStableFunc(e.tries, func(a, b *trial) int {
			return cmp.Compare(quality(b.fits), quality(a.fits))
		})
	}
	return nil
}

// float returns the network of a reading with a setting.
func (c *contest) float(r model.Reading, setting int) *dataset.Float {
	s := c.settings[setting]
	f := dataset.NewFloat(r.Import().Folded(), s.features, s.outputs)
	f.Classes = c.columns.column != ""
	return f
}

// beginnings returns the beginnings of sequences, evenly spread, with so many steps together: of
// as many as run side by side, which takes no longer than one. Where an output stands still there
// they are longer.
func beginnings(rec *dataset.Recordings, steps int) *dataset.Recordings {
	for ; ; steps *= 2 {
		n := min(lanes.Width, len(rec.Sequences))
		some := cut(rec, n, max(1, steps/n))
		if steps >= rec.Steps() || !anyStandsStill(some) {
			return some
		}
	}
}

// spreadOut returns whole sequences, evenly spread, with so many steps together. It cuts sequences
// only where few of them have more steps: intervals rest on their number.
func spreadOut(rec *dataset.Recordings, steps int) *dataset.Recordings {
	n := len(rec.Sequences)
	for {
		some := cut(rec, n, rec.Steps()) // whole ones
		if some.Steps() <= steps {
			return some
		}
		if n <= dataset.BootstrapSequences {
			return cut(rec, n, steps/n)
		}
		n = max(dataset.BootstrapSequences, n*steps/some.Steps())
	}
}

// cut returns so many sequences, evenly spread, each with its first steps, longest at most.
func cut(rec *dataset.Recordings, sequences, longest int) *dataset.Recordings {
	some := *rec
	some.Sequences = nil
	for i := range sequences {
		s := *rec.Sequences[i*len(rec.Sequences)/sequences]
		s.Steps = min(s.Steps, longest)
		s.X, s.Y = s.X[:s.Steps*rec.Features], s.Y[:s.Steps*rec.Outputs]
		some.Sequences = append(some.Sequences, &s)
	}
	return &some
}

// anyStandsStill reports whether an output has one value throughout.
func anyStandsStill(rec *dataset.Recordings) bool {
	for o := range rec.Outputs {
		values := referenceOf(rec, o)
		if slices.Min(values) == slices.Max(values) {
			return true
		}
	}
	return false
}

// referenceOf lists the recorded values of an output.
func referenceOf(rec *dataset.Recordings, output int) []float64 {
	return dataset.Column(rec.Outputs, output, rec, func(s *dataset.Sequence) []float64 {
		return s.Y
	})
}

// fitOf says what a score explains of what was recorded.
func fitOf(score *dataset.Score, outputs []dataset.Output, rec *dataset.Recordings,
	column string) []Fit {
	if column != "" {
		return []Fit{{column, score.Value(score, dataset.Slice{Region: -1}, dataset.Accuracy)}}
	}
	var fits []Fit
	for o, out := range outputs {
		values := referenceOf(rec, o)
		if slices.Min(values) == slices.Max(values) {
			fits = append(fits, Fit{out.Name, 0}) // of what stands still nothing is explained
			continue
		}
		_, std := dataset.MeanStd(values)
		e := score.Value(score, dataset.Slice{Output: o, Region: -1}, dataset.RMSE)
		fits = append(fits, Fit{out.Name, 1 - float64(e*e)/float64(std*std)})
	}
	return fits
}

// take puts what a contest found into the draft. The error is that of ctx.
func (d *Draft) take(ctx context.Context, c *contest) error {
	usual, others := c.distinct()
	group := c.group(usual, others)
	winner := group[0]
	at := winner.best().setting
	equal := []*entrant{winner}
	for _, e := range group[1:] {
		same := &entrant{e.Reading, []*trial{{setting: at}}}
		if err := c.try(ctx, []*entrant{same}, func(float64) {}); err != nil {
			return err
		}
		least := 0.0
		if e.Usual && !winner.Usual {
			least = departureHalves
		}
		if !beats(winner.best(), same.best(), least) {
			equal = append(equal, e)
		}
	}
	for _, e := range slices.Concat(usual, others) {
		if !slices.Contains(equal, e) && beats(e.best(), winner.best(), departureOpens) {
			equal = append(equal, e)
		}
	}
	// A reading that would leave less than half of the error, if outputs had the mean and std that
	// fit each best, is no worse than the winner by what the recording says.
	rescaled := map[*entrant][]Rescaled{}
	for _, e := range slices.Concat(usual, others) {
		if err := ctx.Err(); err != nil {
			return err
		}
		rescaled[e] = c.rescaled(e, at)
	}
	for _, e := range slices.Concat(usual, others) {
		if !slices.Contains(equal, e) && halves(rescaled[e], rescaled[winner]) {
			equal = append(equal, e)
		}
	}
	d.Choices = nil
	for _, e := range equal {
		score := dataset.Measure(c.float(e.Reading, at), c.rec, nil)
		fits := fitOf(score, c.settings[at].outputs, c.rec, c.columns.column)
		d.Choices = append(d.Choices, Choice{e.Spec.Layers, e.Inferred, fits,
			farOff(rescaled[e], fits)})
	}
	rest := slices.DeleteFunc(slices.Concat(usual, others), func(e *entrant) bool {
		return slices.Contains(equal, e)
	})
	if len(rest) > 0 {
		next := slices.MinFunc(rest, byQuality)
		d.Next = &Choice{Layers: next.Spec.Layers, Inferred: next.Inferred,
			Fit: next.best().fits}
		d.NextIsBetter = beats(next.best(), winner.best(), 0)
	}
	s := c.settings[at]
	d.Features, d.Outputs, d.Normalised, d.Scaled = s.features, s.outputs, s.normalised, s.scaled
	d.Classes, d.Column, d.Steps = c.columns.classes, c.columns.column, c.rec.Steps()
	if d.Column != "" {
		d.Outputs = nil // classes have no table
	}
	return nil
}

// group returns the readings among which the recording decides, the best first: those that are not
// usual where any of them takes away so much of the error of the best usual one; else the usual
// ones, with those of the others that do so by the figures, but not by the whole interval.
func (c *contest) group(usual, others []*entrant) []*entrant {
	var strong, open []*entrant
	for _, e := range others {
		if beats(e.best(), usual[0].best(), departureHalves) {
			strong = append(strong, e)
		}
		if mayBeat(e.best(), usual[0].best(), departureHalves) {
			open = append(open, e)
		}
	}
	if len(strong) > 0 {
		return strong
	}
	all := slices.Concat(usual, open)
	slices.SortStableFunc(all, byQuality)
	return all
}

// distinct returns the finalists without those whose network is that of a better one, such as two
// orders of layers with the same weights.
func (c *contest) distinct() (usual, others []*entrant) {
	var seen []*model.Network
	isNew := func(e *entrant) bool {
		n := e.Import().Network
		same := slices.ContainsFunc(seen, func(s *model.Network) bool {
			return reflect.DeepEqual(s, n)
		})
		seen = append(seen, n)
		return !same
	}
	for _, e := range c.usual {
		if isNew(e) {
			usual = append(usual, e)
		}
	}
	for _, e := range c.others {
		if isNew(e) {
			others = append(others, e)
		}
	}
	return usual, others
}

// beats reports whether a trial takes away more than the given share of the error that another one
// leaves, of one output at least, and adds to that of no other: by the 95 % intervals over the same
// sequences ([dataset.Compare]). Beside a trial that explains half, one that explains nothing is
// beaten without an interval, which a single sequence does not have.
func beats(a, b *trial, share float64) bool {
	if isHopeless(quality(b.fits), quality(a.fits)) {
		return true
	}
	better := false
	for _, taken := range errorsTaken(a, b) {
		if taken.OtherHigh < 0 {
			return false
		}
		better = better || taken.OtherLow > share
	}
	return better
}

// mayBeat reports whether a trial does by the figures what [beats] wants of the interval.
func mayBeat(a, b *trial, share float64) bool {
	better := false
	for _, taken := range errorsTaken(a, b) {
		if taken.Other < 0 {
			return false
		}
		better = better || taken.Other > share
	}
	return better
}

// errorsTaken compares two trials, output by output: what share of the error that b leaves a takes
// away.
func errorsTaken(a, b *trial) []dataset.Comparison {
	var all []dataset.Comparison
	for o := range a.fits {
		all = append(all, dataset.Compare(b.score, a.score, dataset.Slice{Output: o, Region: -1},
			dataset.Explained))
	}
	return all
}

// inputGuess is one normalisation of the features.
type inputGuess struct {
	features []dataset.Feature
	words    string
}

// inputGuesses are the usual ones: that of the model file, if it has one; mean and std of the
// recording; none.
func inputGuesses(r model.Reading, features []dataset.Feature) []inputGuess {
	none := make([]dataset.Feature, len(features))
	for i, f := range features {
		f.Mean, f.Std = 0, 1
		none[i] = f
	}
	if r.Import().Mean != nil {
		return []inputGuess{{none, "0 and 1: the model file normalises the features itself"}}
	}
	return []inputGuess{
		{features, "mean and std of the selection recording, each feature by itself; those of " +
			"the training are better"},
		{none, "0 and 1: the network takes physical values"},
	}
}

// outputGuess is one scale of the outputs.
type outputGuess struct {
	outputs []dataset.Output
	words   string
}

// outputGuesses are the usual ones: none, and mean and std of the recording. The scores of classes
// have none.
func outputGuesses(outputs []dataset.Output, classes []string) []outputGuess {
	if len(classes) > 0 {
		var scores []dataset.Output
		for _, c := range classes {
			scores = append(scores, dataset.Output{Name: c, Std: 1})
		}
		return []outputGuess{{scores, ""}}
	}
	plain := make([]dataset.Output, len(outputs))
	for i, o := range outputs {
		o.Mean, o.Std = 0, 1
		plain[i] = o
	}
	return []outputGuess{
		{plain, "0 and 1: the network gives physical values"},
		{outputs, "mean and std of the selection recording, each output by itself; those of the " +
			"training are better"},
	}
}

// describeFeatures gives the features their mean and std, and channel and kind by their names.
func describeFeatures(names []string, rec *dataset.Recordings) []dataset.Feature {
	features := make([]dataset.Feature, len(names))
	for i, name := range names {
		channel, kind := channelAndKind(name, names)
		mean, std := dataset.MeanStd(dataset.Column(rec.Features, i, rec,
			func(s *dataset.Sequence) []float64 {
				return s.X
			}))
		features[i] = dataset.Feature{Name: name, Channel: channel, Kind: kind, Mean: mean,
			Std: std}
	}
	return features
}

func describeOutputs(names []string, rec *dataset.Recordings) []dataset.Output {
	outputs := make([]dataset.Output, len(names))
	for i, name := range names {
		mean, std := dataset.MeanStd(dataset.Column(rec.Outputs, i, rec,
			func(s *dataset.Sequence) []float64 {
				return s.Y
			}))
		outputs[i] = dataset.Output{Name: name, Mean: mean, Std: std}
	}
	return outputs
}
