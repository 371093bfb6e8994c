package budget

import (
	"crypto/sha256"
	"fmt"
	"io"
	"slices"

	"kerf/dataset"
	"kerf/fault"
)

func (in loader) loadRecordings() (err error) {
	if in.Selection, err = in.readAll(SelectionRole, in.Job.Recordings.Selection); err != nil {
		return err
	}
	if in.Signoff, err = in.readAll(SignoffRole, in.Job.Recordings.Signoff); err != nil {
		return err
	}
	for _, set := range []struct {
		name RecordingSet
		rec  **dataset.Recordings
	}{{SelectionSet, &in.Selection}, {SignoffSet, &in.Signoff}} {
		all := *set.rec
		var dropped int
		if *set.rec, dropped = dataset.Unique(all); dropped > 0 {
			in.noteLeftOut(all, *set.rec)
			in.Warnings = append(in.Warnings, fmt.Sprintf("%d %s sequences repeat more than "+
				"half of an earlier one, value for value, and are left out", dropped, set.name))
		}
	}
	if shared := dataset.Shared(in.Selection, in.Signoff); len(shared) > 0 {
		in.Shared = len(shared)
		in.Warnings = append(in.Warnings, fmt.Sprintf("%d of %d sign-off sequences are also "+
			"selection recordings, or more than half of them is (first: %s of %s): figures on "+
			"them are no independent judgement", len(shared), len(in.Signoff.Sequences),
			shared[0].Name, shared[0].File))
	}
	if err := in.loadFurther(); err != nil {
		return err
	}
	selection, signoff := in.Selection.Scenarios(), in.Signoff.Scenarios()
	for _, s := range selection {
		if !slices.Contains(signoff, s) {
			in.Warnings = append(in.Warnings, fmt.Sprintf("scenario %s has selection recordings "+
				"but no sign-off recordings: nothing is judged there%s", s, otherCase(s, signoff)))
		}
	}
	for _, s := range signoff {
		if !slices.Contains(selection, s) {
			in.Warnings = append(in.Warnings, fmt.Sprintf("scenario %s has sign-off recordings "+
				"but no selection recordings: nothing was chosen or calibrated there%s", s,
				otherCase(s, selection)))
		}
	}
	if err := in.applySettle(); err != nil {
		return err
	}
	if err := in.checkExplained(); err != nil {
		return err
	}
	for _, rec := range []*dataset.Recordings{in.Selection, in.Signoff} {
		if in.hasFew(rec) {
			rec.Memory = in.Float.Memory(rec)
		}
	}
	in.sequences = in.countSequences()
	in.warnOneStep()
	in.warnConstants()
	in.warnGlitches()
	return nil
}

// hasFew reports whether any row is about so few sequences that their blocks are looked at, see
// [dataset.Compare].
func (in *Inputs) hasFew(rec *dataset.Recordings) bool {
	score := dataset.Measure(in.constant(), rec, in.Regions)
	for o := range in.judged() {
		for _, p := range in.places(rec, o) {
			if n := score.Sequences(p.slice); n > 0 && n < dataset.BootstrapSequences {
				return true
			}
		}
	}
	return false
}

func (in loader) readAll(role Role, names FileList) (*dataset.Recordings, error) {
	return in.readFiles(role, names, false, "recordings", string(role))
}

// reference names the columns with reference values.
func (in *Inputs) reference() dataset.Reference {
	return dataset.Reference{Outputs: dataset.OutputNames(in.Float.Outputs),
		Column: in.Job.Outputs.Column}
}

// readFiles reads the recordings that a key of the job names.
func (in loader) readFiles(role Role, names FileList, optional bool,
	key ...any) (*dataset.Recordings, error) {
	features := dataset.FeatureNames(in.Float.Features)
	reference := in.reference()
	reference.Optional = optional
	var recordings []*dataset.Recordings
	for _, name := range names {
		rec, err := in.readRecording(role, name, features, reference, key...)
		if err != nil {
			return nil, err
		}
		recordings = append(recordings, rec)
	}
	return dataset.Join(recordings...), nil
}

// readRecording reads one recording.
func (in loader) readRecording(role Role, name string, features []string,
	reference dataset.Reference, key ...any) (rec *dataset.Recordings, err error) {
	err = in.readHashed(role, name, func(file io.ReaderAt, size int64) (err error) {
		rec, err = dataset.ReadRecording(file, size, name, features, reference)
		return err
	}, key...)
	return rec, err
}

// readHashed notes the hash of a file and has it read, without having it in memory.
func (in loader) readHashed(role Role, name string, read func(file io.ReaderAt, size int64) error,
	key ...any) error {
	file, _, err := in.open(name, key...)
	if err != nil {
		return err
	}
	defer file.Close()
	sum := sha256.New()
	size, err := io.Copy(sum, file)
	if err != nil {
		return in.unreadable(name, err, key...)
	}
	in.note(role, name, sum.Sum(nil))
	return read(file, size)
}

// otherCase asks whether a scenario that one set of recordings lacks is another spelling of one
// that the set has: in upper or lower case, or with a blank for an underscore or a hyphen. Other
// differences are no slip, since names of scenarios often differ by a digit.
func otherCase(name string, there []string) string {
	for _, t := range there {
		if fault.Folded(t) == fault.Folded(name) {
			return fmt.Sprintf("; did you mean %q?", t)
		}
	}
	return ""
}
