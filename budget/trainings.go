package budget

import (
	"context"
	"fmt"
	"math"
	"slices"
	"sync"
	"sync/atomic"

	"kerf/dataset"
	"kerf/prune"
	"kerf/quant"
	"kerf/recovery"
)

// piece is one training: a recipe, and the sequences that it is followed on.
type piece struct {
	recipe recipe
	fold   int // of the selection sequences that is left out, or noFold
}

// noFold is the fold of a training on all selection recordings.
const noFold = -1

// key stands for a piece in a map and in a checkpoint.
func (p piece) key() string { return fmt.Sprintf("%s, fold %d", p.recipe.key(), p.fold) }

// trainings trains the pieces of a search, each once, several side by side.
type trainings struct {
	pl       *Planner
	settings recovery.Settings
	fold     []int // of every selection sequence
	rests    []*dataset.Recordings
	first    *dataset.Recordings // the sequences of the first fold: without the second one

	// the score of the network as given on first as it was recorded, measured once
	firstScore func() *dataset.Score

	like    *dataset.Float    // the network as given, standardised
	answers *recovery.Answers // of the network as given
	done    map[string]*recovery.Result

	checkpoint *recovery.Checkpoint // by key of the piece; nil: none
	tell       TrainingProgress
	cheapest   *price // of the networks that [TrainingProgress.Holds] was told of
}

// newTrainings returns what trains for a job with [recovery]. The job has selection sequences for
// two folds.
func (pl *Planner) newTrainings(checkpoint *recovery.Checkpoint,
	tell TrainingProgress) *trainings {
	t := &trainings{pl: pl, settings: pl.in.trainingSettings(),
		answers: &recovery.Answers{}, done: map[string]*recovery.Result{}, checkpoint: checkpoint,
		tell: tell}
	t.fold, t.rests = pl.folds()
	t.first = t.rests[1]
	given := pl.in.Float
	t.firstScore = sync.OnceValue(func() *dataset.Score {
		_, rests := foldsOf(pl.in.Selection)
		return dataset.Measure(given, rests[1], pl.in.Regions)
	})
	t.like = quant.Standardise(given, quant.Calibrate(given, pl.sampled))
	return t
}

// Shares of the epochs of the first training that a lesson has: after features went the network has
// little to learn, since what they told is predicted from the others; words take more. Its rate is
// laterRate of that of the first training, once for every lesson in which no feature goes, and its
// segments are laterLength times as long: what is nearly learned needs small steps, and an error
// that is small by then may go back far (our choice, docs/recovery.md).
const (
	epochsWithout = 4 // one in so many
	epochsRounded = 2
	laterRate     = 0.3
	laterLength   = 4
)

// gentleRate is the share of the rate of a gentle training. Where a cut lost little, the first
// steps at the full rate lose more than the later ones win back from few recordings
// (docs/recovery.md).
const gentleRate = 0.1

// settingsOf returns the settings of the last training of a recipe.
func (t *trainings) settingsOf(r recipe) recovery.Settings {
	s := t.settings
	s.Seed += uint64(r.seed)
	if len(r.lessons) == 0 {
		if r.gentle {
			s.Rate *= gentleRate
		}
		return s
	}
	switch {
	case r.formats() != nil:
		s.Epochs = (s.Epochs + epochsRounded - 1) / epochsRounded
	case r.isShorter():
		s.Epochs = (s.Epochs + epochsWithout - 1) / epochsWithout
		s.Rate, s.Length = laterRate*s.Rate, laterLength*s.Length
		return s
	}
	s.Length *= laterLength
	for ; len(r.lessons) > 0; r, _ = r.before() {
		if !r.isShorter() {
			s.Rate *= laterRate
		}
	}
	return s
}

// follow follows recipes on folds. what says what is looked for. The error is that of ctx or of
// [recovery.Train].
func (t *trainings) follow(ctx context.Context, what string, folds []int,
	recipes ...recipe) error {
	levels := map[int][]piece{} // by number of lessons
	deepest := 0
	for _, r := range recipes {
		for {
			for _, fold := range folds {
				levels[len(r.lessons)] = append(levels[len(r.lessons)], piece{r, fold})
			}
			deepest = max(deepest, len(r.lessons))
			if len(r.lessons) == 0 {
				break
			}
			r, _ = r.before()
		}
	}
	for level := range deepest + 1 {
		if err := t.train(ctx, what, levels[level]); err != nil {
			return err
		}
	}
	return nil
}

// train trains those of some pieces that are not done. The pieces before their last lessons are.
func (t *trainings) train(ctx context.Context, what string, pieces []piece) error {
	var fresh []piece
	listed := map[string]bool{}
	for _, p := range pieces {
		if key := p.key(); t.done[key] == nil && !listed[key] {
			listed[key] = true
			fresh = append(fresh, p)
		}
	}
	tasks, all := make([]*recovery.Task, len(fresh)), 0
	for i, p := range fresh {
		var err error
		if tasks[i], err = t.task(ctx, p); err != nil {
			return err
		}
		all += t.settingsOf(p.recipe).Epochs
	}
	results, errs := make([]*recovery.Result, len(fresh)), make([]error, len(fresh))
	var epochs atomic.Int64
	if err := dataset.InParallelUntil(ctx, len(fresh), func(i int) {
		settings, told := t.settingsOf(fresh[i].recipe), 0
		tell := func(n int) {
			told += n
			if done := int(epochs.Add(int64(n))); t.tell.Epochs != nil {
				t.tell.Epochs(what, done, all)
			}
		}
		results[i], errs[i] = recovery.Train(ctx, tasks[i], settings, t.checkpoint,
			func(*recovery.Result) { tell(1) })
		tell(settings.Epochs - told) // those that were done before, or need not be done
	}); err != nil {
		return err
	}
	for i, p := range fresh {
		if errs[i] != nil {
			return errs[i]
		}
		t.done[p.key()] = results[i]
	}
	return nil
}

// task says what the last training of a piece does.
func (t *trainings) task(ctx context.Context, p piece) (*recovery.Task, error) {
	selection := t.pl.sampled
	if p.fold != noFold {
		selection = t.rests[p.fold]
	}
	training, heldBack := t.pl.in.trainedOn(selection)
	task := &recovery.Task{Name: p.key(), Teacher: t.pl.in.Float, Answers: t.answers,
		Training: training, HeldBack: heldBack}
	switch r := p.recipe; {
	case len(r.lessons) > 0:
		before, l := r.before()
		task.Start = t.done[piece{before, p.fold}.key()].Net
		task.Formats = l.formats
		if len(l.features) < len(task.Start.Kept) {
			task.Start = withoutFeatures(task.Start, training, l.features)
		}
	case r.scratch:
		task.Start = recovery.Scratch(t.like, training, r.features, r.counts(),
			t.settingsOf(r).Seed)
	default:
		prepared, err := t.pl.prepare(ctx, r.candidate())
		if err != nil {
			return nil, err
		}
		task.Start = prepared.scaled
	}
	return task, ctx.Err()
}

// withoutFeatures takes features out of a trained network: features are left, and those that go are
// predicted from these on the recordings.
func withoutFeatures(p *dataset.Float, rec *dataset.Recordings, features []int) *dataset.Float {
	return prune.MeasureStatistics(p, rec).Cut(places(p, features), prune.AllUnits(p.Net),
		prune.Reconstruction)
}

// places returns where features, which are those of the recordings, stand among those that a
// network takes.
func places(p *dataset.Float, features []int) []int {
	at := make([]int, len(features))
	for i, k := range features {
		at[i] = slices.Index(p.Kept, k)
	}
	return at
}

// judge compares a recipe that was followed on every fold with the tolerances: every selection
// sequence is run by the network that was trained without it.
func (t *trainings) judge(r recipe) judgement {
	return t.pl.assess(t.pl.in.measured(t.predicted(func(fold int) *dataset.Float {
		return t.done[piece{r, fold}.key()].Net
	})))
}

// heldBack returns the loss of a recipe that was followed on the first fold, on the sequences that
// its training held back.
func (t *trainings) heldBack(r recipe) float64 {
	result := t.done[piece{r, 0}.key()]
	if result.Best == 0 {
		if math.IsNaN(result.Start) {
			return math.Inf(1)
		}
		return result.Start
	}
	return result.Epochs[result.Best-1].HeldBack
}

// glance compares what a recipe shows on the sequences of the first fold with the tolerances: the
// share of a tolerance is that of the figure itself, without an interval.
func (t *trainings) glance(r recipe) judgement {
	in := t.pl.in
	base := t.firstScore()
	score := dataset.Measure(t.done[piece{r, 0}.key()].Net, t.first, in.Regions)
	var j judgement
	for i, row := range t.pl.lossRows(t.first, scores{float: base, cut: score, fixed: score},
		true) {
		value, _ := row.JudgedValue()
		if share := value / allowance(row, t.pl.floatReach()[i]); row.Sequences > 0 &&
			share > j.used {
			j.used, j.tightest = share, row
		}
	}
	return j
}

// predicted runs every selection sequence by the network that net returns for its fold.
func (t *trainings) predicted(net func(fold int) *dataset.Float) [][]float64 {
	nets := make([]*dataset.Float, len(t.rests))
	for fold := range nets {
		nets[fold] = net(fold)
	}
	selection := t.pl.sampled
	all := make([][]float64, len(selection.Sequences))
	dataset.EachSequence(selection, func(i int, s *dataset.Sequence) {
		all[i] = make([]float64, s.Steps*selection.Outputs)
		nets[t.fold[i]].Predict(s, all[i])
	})
	return all
}

// everyFold lists the folds.
func (t *trainings) everyFold() []int {
	folds := make([]int, len(t.rests))
	for k := range folds {
		folds[k] = k
	}
	return folds
}

// candidate returns what became of a recipe that was followed on every fold and on all recordings.
func (t *trainings) candidate(r recipe) Candidate {
	result := t.done[piece{r, noFold}.key()]
	recovered := &Recovered{Net: result.Net, Result: result, Settings: t.settingsOf(r),
		Scratch: r.scratch, Trainings: 1 + len(r.lessons)}
	if f := r.formats(); f != nil {
		recovered.Formats = f.Clone()
	}
	for at := r; ; at, _ = at.before() {
		recovered.isChanged = recovered.isChanged || t.done[piece{at, noFold}.key()].Best > 0
		if len(at.lessons) == 0 {
			break
		}
	}
	for fold := range t.rests {
		recovered.withoutFold = append(recovered.withoutFold, t.done[piece{r, fold}.key()].Net)
	}
	c := r.candidate()
	c.Recovered = recovered
	return c
}
