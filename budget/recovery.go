package budget

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"kerf/dataset"
	"kerf/quant"
	"kerf/recovery"
)

// RecoveryRule asks for recovery training; what is left out has the value of [recovery.Defaults].
type RecoveryRule struct {
	// The training runs this often over the recordings, at most. Default: as often as makes some
	// ten million steps, from 20 to 400 times.
	Epochs *int `toml:"epochs"`

	// This share, from 0 to 1, is how much the network as given counts against the recorded
	// outputs. Whatever it is, the errors of that network against the recorded outputs weigh the
	// outputs against each other. Default: 1.
	Teacher *float64 `toml:"teacher"`

	// Back-propagation of a first training is cut off after this many steps, later ones have longer
	// segments. Default: 100.
	Length *int `toml:"length"`

	// This is the learning rate of the optimiser at its highest in a first training; gentle and
	// later ones have less. Default: 0.01.
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

// check returns an error, one sentence, if the rule cannot be followed, with the key that is to
// blame and a line that would do.
func (r *RecoveryRule) check() (key, example string, err error) {
	if r.Epochs != nil && *r.Epochs == 0 {
		return "epochs", "epochs = 20", errors.New("0 epochs are no training")
	}
	for _, one := range []struct {
		example string
		RecoveryRule
	}{
		{"epochs = 20", RecoveryRule{Epochs: r.Epochs}},
		{"teacher = 0.5", RecoveryRule{Teacher: r.Teacher}},
		{"length = 100", RecoveryRule{Length: r.Length}},
		{"rate = 0.01", RecoveryRule{Rate: r.Rate}},
		{"decay = 0.0001", RecoveryRule{Decay: r.Decay}},
	} {
		if err := one.Settings().Check(); err != nil {
			key, _, _ := strings.Cut(one.example, " ")
			return key, one.example, err
		}
	}
	return "", "", nil
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
	further, repeated := dataset.Unique(further)
	if repeated > 0 {
		in.Warnings = append(in.Warnings, fmt.Sprintf("%d sequences for recovery training repeat "+
			"more than half of an earlier one, value for value, and are left out", repeated))
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
	Formats  quant.Formats // that it was trained in; none: as a float network
	Scratch  bool          // it began with drawn weights, and has none of the given units

	Trainings int // one after the other, of which Result and Settings are those of the last

	isChanged   bool             // some training found weights better than those it began with
	withoutFold []*dataset.Float // per fold of the selection recordings: trained without it
}

// TrainingProgress is told how far a search with training is. Either may be nil.
type TrainingProgress struct {
	// Epochs is called while networks are trained, with what is looked for and the number of epochs
	// that are done and that there are at most.
	Epochs func(what string, done, all int)
	// Holds is called with every network that holds and costs less than all before it.
	Holds func(Holding)
}

// Holding is a network within every tolerance on selection recordings.
type Holding struct {
	Candidate Candidate
	Fixed     bool    // it is in fixed point; else it is not rounded yet
	Used      float64 // the largest share of any tolerance that the sign-off recordings may show
	Share     float64 // what the search minimises, see [Inputs.Objective]
}

// Recover looks for a smaller network that holds once it is trained, see trainedSearch, beside what
// the search without training chose. The cheaper of the two is taken. What is judged on selection
// recordings was trained without them: for every fold there is a training of its own. Where the
// selection recordings are too few for two folds, or for the interval of a judged row, nothing is
// trained. Without a tolerance the choice itself is trained in its words. The checkpoint keeps the
// trainings; it may be nil, and belongs to the files of the job, but for the sign-off recordings,
// and to the settings of the training. The error is that of ctx, of [recovery.Train] or of
// [quant.Quantize].
func (pl *Planner) Recover(ctx context.Context, cut *Cut, chosen *Chosen,
	checkpoint *recovery.Checkpoint, tell TrainingProgress) (*Chosen, error) {
	if !pl.isTrainable() {
		return chosen, ctx.Err()
	}
	s := &trainedSearch{pl: pl, cut: cut, chosen: chosen,
		trainings: pl.newTrainings(checkpoint, tell),
		known:     map[string]judgement{}, best: chosen, features: chosen.Candidate.Features}
	if pl.table != nil {
		s.features = pl.table.best.chosen.Candidate.Features
	}
	if chosen.Within {
		s.chosenHolds(chosen)
	}
	pl.trained = s
	run := s.run
	if len(cut.Points) == 0 {
		run = s.asGiven
	}
	if err := run(ctx); err != nil {
		return nil, err
	}
	return s.best, nil
}

// isTrainable reports whether the selection recordings are enough to judge a trained network by.
func (pl *Planner) isTrainable() bool {
	_, rests := pl.folds()
	return rests != nil && pl.isJudgeable()
}

// trainedOn deals selection recordings into those that are trained on, with the further ones of the
// job, and those that are held back.
func (in *Inputs) trainedOn(selection *dataset.Recordings) (training,
	heldBack *dataset.Recordings) {
	training, heldBack = recovery.Split(selection)
	if in.Further != nil {
		training = dataset.Join(training, in.Further)
	}
	return training, heldBack
}

// trainingSettings returns the settings of the first training of every network.
func (in *Inputs) trainingSettings() recovery.Settings {
	training, _ := in.trainedOn(in.Selection)
	return in.Job.Recovery.Settings().On(training.Steps())
}

// warnRecovery says what a reader should know of the training.
func (r *Result) warnRecovery(pl *Planner) {
	if further := r.Inputs.unlikeSelection(); len(further) > 0 {
		r.Warnings = append(r.Warnings, fmt.Sprintf("in the recordings of [recovery] %s differ "+
			"from the selection recordings by far: if the unit or the machine is another one, the "+
			"training learned that", strings.Join(further, ", ")))
	}
	switch c := r.Chosen.Candidate.Recovered; {
	case r.Inputs.Job.Recovery == nil:
	case c == nil && !pl.isTrainable():
		r.Warnings = append(r.Warnings, "the selection recordings are too few to judge a trained "+
			"network by, so nothing was trained")
	case c == nil:
		note := "recovery training led to no better choice on the selection recordings: the " +
			"network goes to sign-off as cut"
		if r.Inputs.Further == nil {
			note += "; recordings in [recovery] can name those that the network as given was " +
				"trained on, since few are soon learned by heart"
		}
		r.Warnings = append(r.Warnings, note)
	case !c.isChanged:
		r.Warnings = append(r.Warnings, "no epoch of the recovery training was better on the "+
			"recordings held back: the weights are those of the cut")
	}
	isOpen := func(l Loss) bool { // another network may be met there
		return l.Verdict == Fail || l.Verdict == NotEnough && l.Sequences >= l.Metric.Fewest()
	}
	if r.Chosen.Candidate.Recovered == nil || pl.table == nil || r.Inputs.Job.Units.Count != nil ||
		!slices.ContainsFunc(r.Loss, isOpen) {
		return
	}
	if untrained := pl.table.best.chosen; untrained.Within {
		c := untrained.Candidate
		r.Warnings = append(r.Warnings, fmt.Sprintf("the choice without training, %d units and "+
			"%d features, holds on the selection recordings too; the job without [recovery] "+
			"judges it, as a second look at the same sign-off recordings", c.UnitCount(),
			len(c.Features)))
	}
}
