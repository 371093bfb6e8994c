package budget

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"time"

	"kerf/dataset"
	"kerf/quant"
	"kerf/recovery"
)

// RecoveryRule asks for recovery training; what is left out has the value of [recovery.Defaults].
type RecoveryRule struct {
	// The training runs this often over the recordings, at most. Default: 20.
	Epochs *int `toml:"epochs"`

	// The training ends with the epoch in which this time runs out. Default: no end in time.
	Time *Seconds `toml:"time"`

	// This share, from 0 to 1, is how much the network as given counts against the recorded
	// outputs. Default: 1.
	Teacher *float64 `toml:"teacher"`

	// Back-propagation is cut off after this many steps. Default: 30.
	Length *int `toml:"length"`

	// This is the learning rate of the optimiser at its highest. Default: 0.001.
	Rate *float64 `toml:"rate"`

	// This is the weight decay of the optimiser. Default: 0.
	Decay *float64 `toml:"decay"`

	// The seed draws the order of sequences and the invented ones. Default: 1.
	Seed *int `toml:"seed"`

	// These recordings are trained on beside the selection recordings; they may lack the outputs.
	// Default: none.
	Recordings FileList `toml:"recordings"`
}

// Settings are those of the training.
func (r *RecoveryRule) Settings() recovery.Settings {
	s := recovery.Defaults()
	if r.Time != nil {
		s.Time = time.Duration(float64(*r.Time) * float64(time.Second))
	}
	set(&s.Epochs, r.Epochs)
	set(&s.Share, r.Teacher)
	set(&s.Length, r.Length)
	set(&s.Rate, r.Rate)
	set(&s.Decay, r.Decay)
	if r.Seed != nil {
		s.Seed = uint64(*r.Seed) // any number will do
	}
	return s
}

func set[T any](to, given *T) {
	if given != nil {
		*to = *given
	}
}

// loadFurther reads the recordings that are only trained on. Those that repeat selection recordings
// are left out: a network is judged on selection recordings that it was not trained on.
func (in loader) loadFurther() error {
	if in.Job.Recovery == nil || len(in.Job.Recovery.Recordings) == 0 {
		return nil
	}
	further, err := in.readFiles("recovery", in.Job.Recovery.Recordings, true, "recovery",
		"recordings")
	if err != nil {
		return err
	}
	if shared := dataset.Shared(in.Selection, further); len(shared) > 0 {
		in.Warnings = append(in.Warnings, fmt.Sprintf("%d of %d sequences for recovery training "+
			"are selection recordings and are left out", len(shared), len(further.Sequences)))
		further.Sequences = slices.DeleteFunc(further.Sequences, func(s *dataset.Sequence) bool {
			return slices.Contains(shared, s)
		})
	}
	if shared := dataset.Shared(further, in.Signoff); len(shared) > 0 {
		in.Shared += len(shared)
		in.Warnings = append(in.Warnings, fmt.Sprintf("%d of %d sign-off sequences are also "+
			"trained on (first: %s of %s): figures on them are no independent judgement",
			len(shared), len(in.Signoff.Sequences), shared[0].Name, shared[0].File))
	}
	in.Further = further
	return nil
}

// Recovered is what recovery training made of a cut.
type Recovered struct {
	// trained on all selection recordings; features as [quant.Standardise] normalises them
	Net      *dataset.Float
	Result   *recovery.Result
	Settings recovery.Settings
	Formats  quant.Formats // that it was trained in

	withoutFold []*dataset.Float // per fold of the selection recordings: trained without it
}

// Progress is called after every epoch with the number done and the number of all at most, and the
// loss on held-back recordings, see [recovery.Epoch].
type Progress func(done, all int, loss float64)

// neighbours are how many more items than the recommended cut the further ones take away; each
// needs trainings of its own, so they grow fast.
var neighbours = []int{1, 2, 4, 8}

// Recover trains the recommended candidate in its formats, and then smaller ones: from the items
// that the tolerances refused it takes away those that broke them least, more and more of them
// while the recovered network is within every tolerance. Then the choice of words is made again
// among these, and taken if it is cheaper, or the same cut with more room. A training during which
// stop is closed counts with its best epoch, and is the last; stop may be nil. The recommended
// candidate stays as cut if that leaves more room.
//
// What is judged on selection recordings was trained without them: for every fold there is a
// training of its own. The error is that of ctx, of [recovery.Train] or of [quant.Quantize].
func (pl *Planner) Recover(ctx context.Context, stop <-chan struct{}, cut *Cut, chosen *Chosen,
	progress Progress) (*Chosen, error) {
	var candidates []Candidate
	smaller := pl.in.smaller(cut, chosen.Candidate)
	for i, c := range append([]Candidate{chosen.Candidate}, smaller...) {
		trained := c
		var err error
		if trained.Recovered, err = pl.trainFolds(ctx, stop, c, progress); err != nil {
			return nil, err
		}
		tried, err := pl.try(ctx, trained)
		if err != nil {
			return nil, err
		}
		better := tried.Within
		if i == 0 {
			better = tried.used < chosen.used // it is there without training as well
			if !pl.in.JudgesLoss() {
				better = trained.Recovered.Result.Best > 0
			}
		}
		if better {
			candidates = append(candidates, trained)
		} else if i == 0 {
			candidates = append(candidates, c)
		}
		if !(tried.Within || (i == 0 && chosen.Within)) || isClosed(stop) {
			break
		}
	}
	again, err := pl.choose(ctx, unsearched(candidates...), nil)
	if err != nil {
		return nil, err
	}
	if chosen.Within && !again.Within {
		return chosen, nil
	}
	again.NotRounded = chosen.NotRounded // of the search, whose points are listed
	if chosen.Within && pl.in.JudgesLoss() {
		before, after := pl.priceOf(chosen.Candidate), pl.priceOf(again.Candidate)
		moreRoom := again.Candidate.isSameCut(chosen.Candidate) && again.used < chosen.used &&
			after.broken <= before.broken
		if dearer := after.compare(before); dearer >= 0 && !moreRoom {
			return chosen, nil
		} else if dearer > 0 {
			again.NotRounded = DearerByTraining
		}
	}
	return again, nil
}

// isClosed reports whether a channel is closed; one that is nil is open.
func isClosed(c <-chan struct{}) bool {
	select {
	case <-c:
		return true
	default:
		return false
	}
}

// smaller lists candidates below one, each with more items gone, in its formats.
func (in *Inputs) smaller(cut *Cut, c Candidate) []Candidate {
	var refused []PathStep
	for _, step := range cut.Path {
		if !step.Taken {
			refused = append(refused, step)
		}
	}
	slices.SortStableFunc(refused, func(a, b PathStep) int {
		return cmp.Compare(a.Tightest.used(), b.Tightest.used())
	})
	var all []Candidate
	gone := 0
	for _, step := range refused {
		next, ok := without(c, step)
		if !ok {
			continue
		}
		c = next
		gone++
		if slices.Contains(neighbours, gone) {
			all = append(all, c)
		}
	}
	return all
}

// trainFolds trains one candidate: on all selection recordings, and without each fold.
func (pl *Planner) trainFolds(ctx context.Context, stop <-chan struct{}, c Candidate,
	progress Progress) (*Recovered, error) {
	settings := pl.in.Job.Recovery.Settings()
	_, rests := pl.in.folds()
	r := &Recovered{Settings: settings, Formats: c.Formats.Clone()}
	for i, selection := range append([]*dataset.Recordings{pl.in.Selection}, rests...) {
		result, err := pl.train(ctx, stop, c, selection, settings, nil,
			func(t *recovery.Result) {
				progress(i*settings.Epochs+len(t.Epochs), (1+len(rests))*settings.Epochs,
					t.Epochs[len(t.Epochs)-1].HeldBack)
			})
		if err != nil {
			return nil, err
		}
		if i == 0 {
			r.Net, r.Result = result.Net, result
		} else {
			r.withoutFold = append(r.withoutFold, result.Net)
		}
	}
	return r, nil
}

// RecoverOnce trains one candidate on all selection recordings, judges nothing else, and may go on
// from a checkpoint. When stop is closed the training counts with its best epoch; it may be nil.
// The error is that of ctx or of [recovery.Train].
func (pl *Planner) RecoverOnce(ctx context.Context, stop <-chan struct{}, c Candidate,
	checkpoint *recovery.Checkpoint, progress Progress) (*Recovered, error) {
	settings := pl.in.Job.Recovery.Settings()
	result, err := pl.train(ctx, stop, c, pl.in.Selection, settings, checkpoint,
		func(t *recovery.Result) {
			progress(len(t.Epochs), settings.Epochs, t.Epochs[len(t.Epochs)-1].HeldBack)
		})
	if err != nil {
		return nil, err
	}
	return &Recovered{Net: result.Net, Result: result, Settings: settings,
		Formats: c.Formats.Clone()}, nil
}

// train starts from the network as cut. The training ends when stop is closed, and fails when ctx
// ends.
func (pl *Planner) train(ctx context.Context, stop <-chan struct{}, c Candidate,
	selection *dataset.Recordings, s recovery.Settings, checkpoint *recovery.Checkpoint,
	after func(*recovery.Result)) (*recovery.Result, error) {
	training, heldBack := recovery.Split(selection)
	if pl.in.Further != nil {
		training = dataset.Join(training, pl.in.Further)
	}
	c.Recovered = nil
	p, err := pl.prepare(ctx, c)
	if err != nil {
		return nil, err
	}
	task := &recovery.Task{Start: p.scaled, Teacher: pl.in.Float,
		Formats: &c.Formats, Training: training, HeldBack: heldBack}
	untilStop, cancel := context.WithCancel(ctx)
	defer cancel()
	go func() {
		select {
		case <-stop:
			cancel()
		case <-untilStop.Done():
		}
	}()
	result, err := recovery.Train(untilStop, task, s, checkpoint, after)
	if err == nil && ctx.Err() != nil {
		err = ctx.Err()
	}
	return result, err
}

// HeldBackLoss compares the network as given, as cut and as recovered, all as float networks, on
// the selection sequences that the training held back. The best epoch was chosen on these.
func (pl *Planner) HeldBackLoss(cut *dataset.Float, r *Recovered) []Loss {
	_, heldBack := recovery.Split(pl.in.Selection)
	measure := func(p dataset.Predictor) *dataset.Score {
		return dataset.Measure(p, heldBack, pl.in.Regions)
	}
	recovered := measure(r.Net)
	return pl.lossRows(heldBack, scores{float: measure(pl.in.Float), cut: measure(cut),
		recovered: recovered, fixed: recovered}, false)
}

// warnRecovery says what a reader should know of the training.
func (r *Result) warnRecovery() {
	switch c := r.Chosen.Candidate.Recovered; {
	case r.Inputs.Job.Recovery == nil:
	case c == nil:
		r.Warnings = append(r.Warnings, "recovery training led to no better choice on the "+
			"selection recordings: the network goes to sign-off as cut")
	case c.Result.Best == 0:
		r.Warnings = append(r.Warnings, "no epoch of the recovery training was better on the "+
			"recordings held back: the weights are those of the cut")
	case c.Result.Stopped == recovery.Interrupted || c.Result.Stopped == recovery.OutOfTime:
		r.Warnings = append(r.Warnings, fmt.Sprintf("the recovery training ended before its "+
			"last epoch (%s): another run gives other weights", c.Result.Stopped))
	}
}
