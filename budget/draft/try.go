package draft

import (
	"cmp"
	"math"
	"os"
	"slices"

	"kerf/dataset"
	"kerf/model"
)

// triedSteps is the number of recorded steps that a guess is tried on, at most. Our choice: it
// takes some seconds for the largest networks.
const triedSteps = 20_000

// triedDraft is a draft with the mean share that it explains.
type triedDraft struct {
	draft   Draft
	quality float64
}

// fewestTried is the least number of steps that each of many readings is tried on at first. Our
// choice.
const fewestTried = 500

// finalists is the number of readings that are tried on all steps. Our choice: with so few or fewer
// readings there is no first round.
const finalists = 8

// try runs the network on the recording with one guess of columns, for every reading of the model
// file and every usual normalisation. Of many readings all are tried on some steps, and the best on
// all.
func (d *Draft) try(readings []reading, g columnGuess) ([]triedDraft, error) {
	reference := dataset.Reference{Outputs: g.outputs, Column: g.column}
	if g.column != "" {
		reference.Outputs = g.classes
	}
	all, err := withFile(d.Selection, func(f *os.File, size int64) (*dataset.Recordings, error) {
		return dataset.ReadRecording(f, size, d.Selection, g.features, reference)
	})
	if err != nil {
		return nil, err
	}
	features, outputs := describeFeatures(g.features, all), describeOutputs(g.outputs, all)
	few := firstSteps(all, triedSteps)
	if len(readings) > finalists {
		some := firstSteps(all, max(fewestTried, triedSteps/len(readings)))
		var heats []triedDraft
		for _, r := range readings {
			heats = append(heats,
				*slices.MaxFunc(pointers(d.tryReading(r, g, features, outputs, some)), byQuality))
		}
		order := make([]int, len(readings))
		for i := range order {
			order[i] = i
		}
		slices.SortStableFunc(order, func(a, b int) int {
			return cmp.Compare(heats[b].quality, heats[a].quality)
		})
		best := make([]reading, finalists)
		for i := range best {
			best[i] = readings[order[i]]
		}
		readings = best
	}
	var tried []triedDraft
	for _, r := range readings {
		tried = append(tried, d.tryReading(r, g, features, outputs, few)...)
	}
	return tried, nil
}

func pointers(drafts []triedDraft) []*triedDraft {
	all := make([]*triedDraft, len(drafts))
	for i := range drafts {
		all[i] = &drafts[i]
	}
	return all
}

func byQuality(a, b *triedDraft) int { return cmp.Compare(a.quality, b.quality) }

// tryReading tries one reading of the model file with every usual normalisation.
func (d *Draft) tryReading(r reading, g columnGuess, features []dataset.Feature,
	outputs []dataset.Output, few *dataset.Recordings) []triedDraft {
	var tried []triedDraft
	for _, in := range inputGuesses(r.imported, features) {
		for _, out := range outputGuesses(outputs, g.classes) {
			t := triedDraft{draft: *d}
			t.draft.Layers = r.spec.Layers
			t.draft.Features, t.draft.Outputs, t.draft.Classes, t.draft.Column = in.features,
				out.outputs, g.classes, g.column
			t.draft.Normalised, t.draft.Scaled, t.draft.Steps = in.words, out.words, few.Steps()
			scores := out.outputs
			if g.column != "" {
				scores = nil
				for _, c := range g.classes {
					scores = append(scores, dataset.Output{Name: c, Std: 1})
				}
			}
			p := dataset.NewFloat(in.net, in.features, scores)
			p.Classes = g.column != ""
			t.draft.Fit = fitOf(p, few, g.column)
			for _, f := range t.draft.Fit {
				t.quality += math.Max(f.Share, -1) / float64(len(t.draft.Fit)) // far off is far off
			}
			if math.IsNaN(t.quality) {
				t.quality = -1
			}
			tried = append(tried, t)
		}
	}
	return tried
}

// firstSteps keeps the first sequences with at most so many steps, one sequence at least.
func firstSteps(all *dataset.Recordings, steps int) *dataset.Recordings {
	few := *all
	few.Sequences = nil
	for _, s := range all.Sequences {
		if len(few.Sequences) > 0 && few.Steps()+s.Steps > steps {
			break
		}
		few.Sequences = append(few.Sequences, s)
	}
	return &few
}

// fitOf compares a network with what was recorded.
func fitOf(p *dataset.Float, rec *dataset.Recordings, column string) []Fit {
	score := dataset.Measure(p, rec, nil)
	if column != "" {
		return []Fit{{column, score.Value(score, dataset.Slice{Region: -1}, dataset.Accuracy)}}
	}
	var fits []Fit
	for o, out := range p.Outputs {
		values := dataset.Column(rec.Outputs, o, rec, func(s *dataset.Sequence) []float64 {
			return s.Y
		})
		if slices.Min(values) == slices.Max(values) {
			fits = append(fits, Fit{out.Name, 0}) // of what stands still nothing is explained
			continue
		}
		_, std := dataset.MeanStd(values)
		e := score.Value(score, dataset.Slice{Output: o, Region: -1}, dataset.RMSE)
		fits = append(fits, Fit{out.Name, 1 - e*e/(std*std)})
	}
	return fits
}

// inputGuess is one normalisation of the features.
type inputGuess struct {
	net      *model.Network
	features []dataset.Feature
	words    string
}

// inputGuesses are the usual ones: that of the model file, if it has one; mean and std of the
// recording; none.
func inputGuesses(imported *model.Import, features []dataset.Feature) []inputGuess {
	none := make([]dataset.Feature, len(features))
	for i, f := range features {
		f.Mean, f.Std = 0, 1
		none[i] = f
	}
	if imported.Mean != nil {
		return []inputGuess{{imported.Folded(), none, "0 and 1: the model file normalises the " +
			"features itself"}}
	}
	return []inputGuess{
		{imported.Network, features, "mean and std of the selection recording, each feature by " +
			"itself; those of the training are better"},
		{imported.Network, none, "0 and 1: the network takes physical values"},
	}
}

// outputGuess is one scale of the outputs.
type outputGuess struct {
	outputs []dataset.Output
	words   string
}

func outputGuesses(outputs []dataset.Output, classes []string) []outputGuess {
	if len(classes) > 0 {
		return []outputGuess{{nil, ""}}
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
